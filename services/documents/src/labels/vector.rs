//! The label as an SVG. Its unit is a dot of the printer, so that the modules of a code are whole units.

use std::collections::BTreeMap;
use std::fmt::Write;

use krilla::text::Glyph;

use super::content::{LabelContent, LabelSettings};
use super::error::LabelError;
use super::layout::{Layout, PlacedLine};
use super::outlines::outline;
use crate::cell::plain;
use crate::pdf::font::{Face, Fonts, Style};

/// Writes the SVG. Writing to a text cannot fail.
pub(super) fn write(
    content: &LabelContent,
    settings: LabelSettings,
    fonts: &Fonts,
    layout: &Layout,
) -> Result<String, LabelError> {
    let dots = settings.resolution.per_millimetre();
    let (width, height) = settings.size.millimetres();
    let mut letters = Letters { fonts, dots, outlines: BTreeMap::new(), placed: String::new() };
    for line in &layout.lines {
        letters.place(line)?;
    }
    let mut svg = String::new();
    let _ = write!(
        svg,
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {} {}""#,
        f32::from(width) * dots,
        f32::from(height) * dots,
    );
    svg.push_str(r#" role="img""#);
    if !content.language.is_empty() {
        let _ = write!(svg, r#" xml:lang="{}""#, escaped(&content.language));
    }
    let _ =
        write!(svg, "><title>{}</title><desc>{}</desc>", escaped(&content.name), escaped(&content.lines().join("\n")));
    svg.push_str(r##"<rect width="100%" height="100%" fill="#fff"/><defs>"##);
    for ((face, glyph), outline) in &letters.outlines {
        let _ = write!(svg, r#"<path id="{face}{glyph}" d="{outline}"/>"#);
    }
    svg.push_str("</defs>");
    svg.push_str(&letters.placed);
    svg.push_str(r#"<path shape-rendering="crispEdges" d=""#);
    for area in &layout.boxes {
        let (left, top) = ((area.left * dots).round(), (area.top * dots).round());
        let (across, down) = ((area.width * dots).round(), (area.height * dots).round());
        let _ = write!(svg, "M{left} {top}h{across}v{down}h-{across}z");
    }
    for placed in &layout.symbols {
        for (column, row, length) in placed.symbol.runs() {
            let (left, top) = (placed.left + column * placed.module, placed.top + row * placed.module);
            let (across, down) = (length * placed.module, placed.module);
            let _ = write!(svg, "M{left} {top}h{across}v{down}h-{across}z");
        }
    }
    svg.push_str("\"/></svg>\n");
    Ok(svg)
}

/// The letters that are used, each outline once.
struct Letters<'a> {
    fonts: &'a Fonts,
    /// In a millimetre.
    dots: f32,
    /// By cut and glyph.
    outlines: BTreeMap<(char, u32), String>,
    placed: String,
}

impl Letters<'_> {
    /// Puts a line, its base line on a whole dot.
    fn place(&mut self, line: &PlacedLine) -> Result<(), LabelError> {
        let base = (line.base * self.dots).round();
        let mut left = line.left;
        for (face, text) in &line.line {
            let scale = self.write_run(*face, text)?;
            let group = format!(
                r#"<g transform="translate({:.3} {base}) scale({:.6})">{}</g>"#,
                left * self.dots,
                line.size * self.dots / scale.0,
                scale.1
            );
            self.placed.push_str(&group);
            left += self.fonts.width(Style::new(*face, line.size), text);
        }
        Ok(())
    }

    /// The letters of a run, in units of the font, and how many of these are the size of the letters.
    fn write_run(&mut self, face: Face, text: &str) -> Result<(f32, String), LabelError> {
        let cut = if face == Face::Bold { 'b' } else { 'r' };
        let (mut units, mut uses, mut pen) = (1.0, String::new(), 0.0);
        for glyph in self.fonts.glyphs(face, text) {
            let id = glyph.glyph_id().to_u32();
            let (path, per_em) = outline(face, id)?;
            units = per_em;
            if !path.is_empty() {
                self.outlines.entry((cut, id)).or_insert(path);
                let _ = write!(uses, r##"<use href="#{cut}{id}" x="{}"/>"##, pen * per_em);
            }
            pen += glyph.x_advance(1.0);
        }
        Ok((units, uses))
    }
}

fn escaped(text: &str) -> String {
    plain(text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
