//! The label as a PDF of one page.

use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Rect};
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;

use super::content::{LabelContent, LabelSettings};
use super::error::LabelError;
use super::layout::{Area, Layout, PlacedLine};
use crate::cell::one_line;
use crate::error::DocumentError;
use crate::pdf::font::{Fonts, Style};

/// Points in a millimetre.
const POINTS: f32 = 72.0 / 25.4;

pub(super) fn write(
    content: &LabelContent,
    settings: LabelSettings,
    fonts: &Fonts,
    layout: &Layout,
) -> Result<Vec<u8>, LabelError> {
    let mut document = Document::new();
    let mut metadata = Metadata::new().title(one_line(&content.name)).creator("Tubtrail".to_owned());
    if !content.language.is_empty() {
        metadata = metadata.language(content.language.clone());
    }
    document.set_metadata(metadata);
    let (width, height) = settings.size.millimetres();
    let (width, height) = (f32::from(width) * POINTS, f32::from(height) * POINTS);
    let size = PageSettings::from_wh(width, height)
        .ok_or_else(|| DocumentError::Pdf(format!("a page cannot be {width} by {height} points")))?;
    let mut page = document.start_page_with(size);
    let mut surface = page.surface();
    surface.set_fill(Some(Fill { paint: rgb::Color::new(0, 0, 0).into(), ..Fill::default() }));
    for line in &layout.lines {
        put_line(&mut surface, fonts, line);
    }
    put_areas(&mut surface, &layout.boxes);
    put_areas(&mut surface, &modules(layout, settings));
    surface.finish();
    page.finish();
    document.finish().map_err(|error| DocumentError::Pdf(format!("{error:?}")).into())
}

fn put_line(surface: &mut Surface<'_>, fonts: &Fonts, line: &PlacedLine) {
    let size = line.size * POINTS;
    let mut left = line.left * POINTS;
    for (face, text) in &line.line {
        let glyphs = fonts.glyphs(*face, text);
        let from = Point::from_xy(left, line.base * POINTS);
        surface.draw_glyphs(from, &glyphs, fonts.font(*face), text, size, false);
        left += fonts.width(Style::new(*face, size), text);
    }
}

/// The black of all codes, in millimetres.
fn modules(layout: &Layout, settings: LabelSettings) -> Vec<Area> {
    #[expect(clippy::cast_precision_loss, reason = "a few hundred")]
    let length = |dots: u32| dots as f32 / settings.resolution.per_millimetre();
    let of_symbol = layout.symbols.iter().flat_map(|placed| {
        placed.symbol.runs().into_iter().map(|(column, row, across)| Area {
            left: length(placed.left + column * placed.module),
            top: length(placed.top + row * placed.module),
            width: length(across * placed.module),
            height: length(placed.module),
        })
    });
    of_symbol.collect()
}

/// All in one path: there is no seam between neighbours.
fn put_areas(surface: &mut Surface<'_>, areas: &[Area]) {
    let mut path = PathBuilder::new();
    for area in areas {
        let [left, top, width, height] = [area.left, area.top, area.width, area.height].map(|length| length * POINTS);
        if let Some(rect) = Rect::from_xywh(left, top, width, height) {
            path.push_rect(rect);
        }
    }
    if let Some(path) = path.finish() {
        surface.draw_path(&path);
    }
}
