//! Pages, as a list of what is drawn on each: how many there are is known before the first is written.

use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Rect, Transform};
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;

use super::font::{Fonts, Style};
use crate::cell::one_line;
use crate::error::{DocumentError, Result};

/// A colour: red, green, blue.
pub(crate) type Ink = (u8, u8, u8);

pub(crate) const BLACK: Ink = (0x1c, 0x1a, 0x17);
pub(crate) const GREY: Ink = (0x5b, 0x57, 0x50);
pub(crate) const WHITE: Ink = (0xff, 0xff, 0xff);

/// A rectangle in points, from the upper left corner of the page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Area {
    pub(crate) left: f32,
    pub(crate) top: f32,
    pub(crate) width: f32,
    pub(crate) height: f32,
}

/// Something that is drawn.
enum Drawn {
    /// Text from a point on its base line; upwards if it is turned.
    Text {
        left: f32,
        base: f32,
        text: String,
        style: Style,
        ink: Ink,
        turned: bool,
    },
    Filled {
        area: Area,
        ink: Ink,
    },
    Outlined {
        area: Area,
        ink: Ink,
        thick: f32,
    },
    Line {
        from: (f32, f32),
        to: (f32, f32),
        ink: Ink,
        thick: f32,
    },
}

/// The pages of a document, all of one size.
pub(crate) struct Pages {
    pub(crate) fonts: Fonts,
    /// In points.
    pub(crate) width: f32,
    /// In points.
    pub(crate) height: f32,
    drawn: Vec<Vec<Drawn>>,
}

impl Pages {
    /// One empty page.
    pub(crate) fn new(fonts: Fonts, (width, height): (f32, f32)) -> Self {
        Self { fonts, width, height, drawn: vec![Vec::new()] }
    }

    pub(crate) fn add_page(&mut self) {
        self.drawn.push(Vec::new());
    }

    pub(crate) fn count(&self) -> usize {
        self.drawn.len()
    }

    /// Text on the last page.
    pub(crate) fn text(&mut self, left: f32, base: f32, text: &str, style: Style, ink: Ink) {
        self.text_on(self.drawn.len() - 1, left, base, text, style, ink);
    }

    /// Text on a page, which is counted from 0.
    pub(crate) fn text_on(&mut self, page: usize, left: f32, base: f32, text: &str, style: Style, ink: Ink) {
        if !text.is_empty() {
            let text = text.to_owned();
            self.drawn[page].push(Drawn::Text { left, base, text, style, ink, turned: false });
        }
    }

    /// Text that reads upwards, on the last page.
    pub(crate) fn turned_text(&mut self, left: f32, base: f32, text: &str, style: Style, ink: Ink) {
        let text = text.to_owned();
        self.draw(Drawn::Text { left, base, text, style, ink, turned: true });
    }

    /// A filled rectangle on the last page.
    pub(crate) fn fill(&mut self, area: Area, ink: Ink) {
        self.draw(Drawn::Filled { area, ink });
    }

    /// The edges of a rectangle on the last page.
    pub(crate) fn outline(&mut self, area: Area, ink: Ink, thick: f32) {
        self.draw(Drawn::Outlined { area, ink, thick });
    }

    /// A line on the last page.
    pub(crate) fn line(&mut self, from: (f32, f32), to: (f32, f32), ink: Ink, thick: f32) {
        self.draw(Drawn::Line { from, to, ink, thick });
    }

    fn draw(&mut self, drawn: Drawn) {
        if let Some(page) = self.drawn.last_mut() {
            page.push(drawn);
        }
    }

    /// The file.
    pub(crate) fn finish(self, title: &str, language: &str) -> Result<Vec<u8>> {
        let mut document = Document::new();
        let mut metadata = Metadata::new().title(one_line(title)).creator("Tubtrail".to_owned());
        if !language.is_empty() {
            metadata = metadata.language(language.to_owned());
        }
        document.set_metadata(metadata);
        for page_drawn in &self.drawn {
            let size =
                PageSettings::from_wh(self.width, self.height).ok_or_else(|| no_such_size(self.width, self.height))?;
            let mut page = document.start_page_with(size);
            let mut surface = page.surface();
            for drawn in page_drawn {
                put(&mut surface, &self.fonts, drawn);
            }
            surface.finish();
            page.finish();
        }
        document.finish().map_err(|error| DocumentError::Pdf(format!("{error:?}")))
    }
}

fn no_such_size(width: f32, height: f32) -> DocumentError {
    DocumentError::Pdf(format!("a page cannot be {width} by {height} points"))
}

fn put(surface: &mut Surface<'_>, fonts: &Fonts, drawn: &Drawn) {
    match drawn {
        Drawn::Text { left, base, text, style, ink, turned } => {
            surface.set_stroke(None);
            surface.set_fill(Some(filled(*ink)));
            let glyphs = fonts.glyphs(style.face, text);
            let font = fonts.font(style.face);
            if *turned {
                surface.push_transform(&Transform::from_rotate_at(-90.0, *left, *base));
            }
            surface.draw_glyphs(Point::from_xy(*left, *base), &glyphs, font, text, style.size, false);
            if *turned {
                surface.pop();
            }
        }
        Drawn::Filled { area, ink } => {
            surface.set_stroke(None);
            surface.set_fill(Some(filled(*ink)));
            draw_path(surface, rectangle(*area));
        }
        Drawn::Outlined { area, ink, thick } => {
            surface.set_fill(None);
            surface.set_stroke(Some(stroke(*ink, *thick)));
            draw_path(surface, rectangle(*area));
        }
        Drawn::Line { from, to, ink, thick } => {
            let mut path = PathBuilder::new();
            path.move_to(from.0, from.1);
            path.line_to(to.0, to.1);
            surface.set_fill(None);
            surface.set_stroke(Some(stroke(*ink, *thick)));
            draw_path(surface, path);
        }
    }
}

/// A path of no extent draws nothing.
fn draw_path(surface: &mut Surface<'_>, path: PathBuilder) {
    if let Some(path) = path.finish() {
        surface.draw_path(&path);
    }
}

/// Empty if the area is.
fn rectangle(area: Area) -> PathBuilder {
    let mut path = PathBuilder::new();
    if let Some(rect) = Rect::from_xywh(area.left, area.top, area.width, area.height) {
        path.push_rect(rect);
    }
    path
}

fn colour((red, green, blue): Ink) -> rgb::Color {
    rgb::Color::new(red, green, blue)
}

fn filled(ink: Ink) -> Fill {
    Fill { paint: colour(ink).into(), ..Fill::default() }
}

fn stroke(ink: Ink, thick: f32) -> Stroke {
    Stroke { paint: colour(ink).into(), width: thick, ..Stroke::default() }
}
