//! The outlines of letters.

use std::fmt::Write;

use skrifa::instance::{LocationRef, Size};
use skrifa::outline::{DrawSettings, OutlinePen};
use skrifa::{FontRef, GlyphId, MetadataProvider};

use super::error::LabelError;
use crate::error::DocumentError;
use crate::pdf::font::Face;

/// The outline of a glyph as the data of an SVG path, in units of the font, downwards; and how many of them are the
/// size of the letters.
pub(super) fn outline(face: Face, glyph: u32) -> Result<(String, f32), LabelError> {
    let unreadable = || LabelError::Document(DocumentError::Font("DejaVu Sans Condensed"));
    let font = FontRef::new(face.data()).map_err(|_| unreadable())?;
    let units = font.metrics(Size::unscaled(), LocationRef::default()).units_per_em;
    let mut pen = Pen(String::new());
    let outline = font.outline_glyphs().get(GlyphId::new(glyph)).ok_or_else(unreadable)?;
    outline
        .draw(DrawSettings::unhinted(Size::unscaled(), LocationRef::default()), &mut pen)
        .map_err(|_| unreadable())?;
    Ok((pen.0, f32::from(units)))
}

/// Writes the data of a path.
struct Pen(String);

impl Pen {
    /// Writing to a text cannot fail.
    fn write(&mut self, command: char, points: &[(f32, f32)]) {
        self.0.push(command);
        for (place, (x, y)) in points.iter().enumerate() {
            let blank = if place == 0 { "" } else { " " };
            let _ = write!(self.0, "{blank}{x} {}", 0.0 - y);
        }
    }
}

impl OutlinePen for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.write('M', &[(x, y)]);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.write('L', &[(x, y)]);
    }

    fn quad_to(&mut self, cx: f32, cy: f32, x: f32, y: f32) {
        self.write('Q', &[(cx, cy), (x, y)]);
    }

    fn curve_to(&mut self, cx: f32, cy: f32, dx: f32, dy: f32, x: f32, y: f32) {
        self.write('C', &[(cx, cy), (dx, dy), (x, y)]);
    }

    fn close(&mut self) {
        self.0.push('Z');
    }
}
