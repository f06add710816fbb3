//! The fonts that travel in the program, how wide text is in them, and where it breaks.

use std::collections::HashMap;

use krilla::text::{Font, GlyphId, KrillaGlyph};
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider};

use crate::cell::REPLACEMENT;
use crate::error::{DocumentError, Result};

const REGULAR: &[u8] = include_bytes!("../../fonts/DejaVuSansCondensed.ttf");
const BOLD: &[u8] = include_bytes!("../../fonts/DejaVuSansCondensed-Bold.ttf");
const OBLIQUE: &[u8] = include_bytes!("../../fonts/DejaVuSansCondensed-Oblique.ttf");

/// From one line to the next, by the size of the letters.
const LINE: f32 = 1.25;
/// From the top of a line to its base line, by the size of the letters.
const BASE: f32 = 0.97;

/// A cut of the font.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Face {
    Regular,
    Bold,
    /// Has the letters of English only.
    Oblique,
}

/// A cut of the font in a size, in points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Style {
    pub(crate) face: Face,
    pub(crate) size: f32,
}

impl Style {
    pub(crate) const fn new(face: Face, size: f32) -> Self {
        Self { face, size }
    }

    /// The height of a line.
    pub(crate) fn line(self) -> f32 {
        self.size * LINE
    }

    /// From the top of a line to its base line.
    pub(crate) fn base(self) -> f32 {
        self.size * BASE
    }
}

/// All cuts.
pub(crate) struct Fonts {
    regular: Cut,
    bold: Cut,
    oblique: Cut,
}

struct Cut {
    font: Font,
    glyphs: HashMap<char, Glyph>,
    /// For a character that the font has not: a box of its own, never a gap.
    missing: Glyph,
}

#[derive(Clone, Copy)]
struct Glyph {
    id: u32,
    /// How far it takes the pen, by the size of the letters.
    advance: f32,
}

impl Fonts {
    pub(crate) fn load() -> Result<Self> {
        Ok(Self {
            regular: Cut::load("DejaVu Sans Condensed", REGULAR)?,
            bold: Cut::load("DejaVu Sans Condensed Bold", BOLD)?,
            oblique: Cut::load("DejaVu Sans Condensed Oblique", OBLIQUE)?,
        })
    }

    fn cut(&self, face: Face) -> &Cut {
        match face {
            Face::Regular => &self.regular,
            Face::Bold => &self.bold,
            Face::Oblique => &self.oblique,
        }
    }

    pub(crate) fn font(&self, face: Face) -> Font {
        self.cut(face).font.clone()
    }

    /// A glyph for every character.
    pub(crate) fn glyphs(&self, face: Face, text: &str) -> Vec<KrillaGlyph> {
        let cut = self.cut(face);
        let glyph = |(at, character): (usize, char)| {
            let glyph = cut.glyph(character);
            let range = at..at + character.len_utf8();
            KrillaGlyph::new(GlyphId::new(glyph.id), glyph.advance, 0.0, 0.0, 0.0, range, None)
        };
        text.char_indices().map(glyph).collect()
    }

    /// How wide a line of text is, in points.
    pub(crate) fn width(&self, style: Style, text: &str) -> f32 {
        let cut = self.cut(style.face);
        text.chars().map(|character| cut.glyph(character).advance).sum::<f32>() * style.size
    }

    /// The lines of a text, none wider than `width` points: broken at blanks, and within a word if it has no room on a
    /// line.
    pub(crate) fn wrap(&self, style: Style, text: &str, width: f32) -> Vec<String> {
        let text = text.replace("\r\n", "\n");
        text.split(['\n', '\r', '\u{b}', '\u{c}', '\u{85}', '\u{2028}', '\u{2029}'])
            .flat_map(|paragraph| self.wrap_paragraph(style, paragraph, width))
            .collect()
    }

    fn wrap_paragraph(&self, style: Style, paragraph: &str, width: f32) -> Vec<String> {
        let blank = self.width(style, " ");
        let mut lines = Vec::new();
        let (mut line, mut length) = (String::new(), 0.0);
        for word in words(paragraph).flat_map(|word| self.pieces(style, word, width)) {
            let wide = self.width(style, &word);
            if line.is_empty() || length + blank + wide > width {
                if !line.is_empty() {
                    lines.push(std::mem::take(&mut line));
                }
                length = wide;
            } else {
                line.push(' ');
                length += blank + wide;
            }
            line.push_str(&word);
        }
        lines.push(line);
        lines
    }

    /// The word, in pieces that have room on a line.
    fn pieces(&self, style: Style, word: &str, width: f32) -> Vec<String> {
        let word: String = word.chars().map(visible).collect();
        if self.width(style, &word) <= width {
            return vec![word];
        }
        let mut pieces = Vec::new();
        let (mut piece, mut length) = (String::new(), 0.0);
        for character in word.chars() {
            let advance = self.cut(style.face).glyph(character).advance * style.size;
            if length + advance > width && !piece.is_empty() && !is_combining(character) {
                let rest = piece.split_off(break_within(&piece));
                length = self.width(style, &rest);
                pieces.push(std::mem::replace(&mut piece, rest));
            }
            piece.push(character);
            length += advance;
        }
        pieces.push(piece);
        pieces
    }

    /// The widest word of a text, and its widest line.
    pub(crate) fn extent(&self, style: Style, text: &str) -> (f32, f32) {
        let widest =
            |parts: &mut dyn Iterator<Item = &str>| parts.map(|part| self.width(style, part)).fold(0.0, f32::max);
        (widest(&mut words(text)), widest(&mut text.lines()))
    }
}

impl Cut {
    fn load(name: &'static str, data: &'static [u8]) -> Result<Self> {
        let unreadable = || DocumentError::Font(name);
        let font = Font::new(data.into(), 0).ok_or_else(unreadable)?;
        let tables = FontRef::new(data).map_err(|_| unreadable())?;
        let metrics = tables.glyph_metrics(Size::new(1.0), LocationRef::default());
        let glyph = |id: skrifa::GlyphId| Glyph { id: id.to_u32(), advance: metrics.advance_width(id).unwrap_or(0.0) };
        let glyphs: HashMap<char, Glyph> =
            tables.charmap().mappings().filter_map(|(code, id)| Some((char::from_u32(code)?, glyph(id)))).collect();
        let missing = *glyphs.get(&REPLACEMENT).ok_or_else(unreadable)?;
        Ok(Self { font, glyphs, missing })
    }

    fn glyph(&self, character: char) -> Glyph {
        self.glyphs.get(&character).copied().unwrap_or(self.missing)
    }
}

/// The words of a text: between blanks at which a line may break.
fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(|character: char| character.is_whitespace() && !matches!(character, '\u{a0}' | '\u{2007}' | '\u{202f}'))
        .filter(|word| !word.is_empty())
}

/// Where to break a piece of a word that is full: behind a hyphen or the like in its second half, or at its end.
fn break_within(piece: &str) -> usize {
    let behind = piece.rfind(['-', '/', '_', '.', ',', ';', ':', '@', '|']).map(|at| at + 1);
    behind.filter(|at| *at > piece.len() / 2).unwrap_or(piece.len())
}

fn is_combining(character: char) -> bool {
    matches!(character, '\u{300}'..='\u{36f}')
}

/// Control characters would draw nothing.
fn visible(character: char) -> char {
    if character.is_control() { REPLACEMENT } else { character }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STYLE: Style = Style::new(Face::Regular, 8.0);

    fn fonts() -> Fonts {
        Fonts::load().expect("the fonts")
    }

    #[test]
    fn lines_break_at_blanks_and_none_is_too_wide() {
        let fonts = fonts();
        let text = "Pistachio paste, opened on the day before it was recalled";
        let lines = fonts.wrap(STYLE, text, 100.0);
        assert!(lines.len() > 1);
        assert!(lines.iter().all(|line| fonts.width(STYLE, line) <= 100.0), "{lines:?}");
        assert_eq!(lines.join(" "), text);
    }

    #[test]
    fn a_long_word_is_broken_and_nothing_of_it_is_lost() {
        let fonts = fonts();
        for word in ["x".repeat(500), "261125-0042-7/".repeat(30), "🍨".repeat(40), "e\u{301}".repeat(200)] {
            let lines = fonts.wrap(STYLE, &word, 60.0);
            assert!(lines.iter().all(|line| fonts.width(STYLE, line) <= 60.0), "{word}: {lines:?}");
            assert_eq!(lines.concat(), word);
            assert!(lines.iter().all(|line| !line.starts_with('\u{301}')), "an accent stays with its letter");
        }
    }

    #[test]
    fn a_column_narrower_than_a_letter_still_ends() {
        assert_eq!(fonts().wrap(STYLE, "abc", 0.1), ["a", "b", "c"]);
    }

    #[test]
    fn a_character_the_font_has_not_takes_room() {
        let fonts = fonts();
        let boxed = fonts.width(STYLE, "\u{fffd}");
        assert!(boxed > 0.0);
        for missing in ["🍨", "奶", "א", "\u{10ffff}"] {
            assert!((fonts.width(STYLE, missing) - boxed).abs() < 0.001, "{missing}");
        }
        assert_eq!(fonts.wrap(STYLE, "a\0b", 100.0), ["a\u{fffd}b"]);
    }

    #[test]
    fn the_letters_of_the_shops_are_there() {
        let regular = &fonts().regular;
        for character in "äöüßéèçñøåœŁőžșğΑω Жщ €£$ →–—“”«»½×°µ‰".chars() {
            assert!(regular.glyphs.contains_key(&character), "{character}");
        }
    }
}
