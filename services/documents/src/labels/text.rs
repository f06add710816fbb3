//! Lines of text in which some pieces are bold.

use crate::pdf::font::{Face, Fonts, Style};

/// How high a small “x” is, by the size of the letters, in each cut; and a figure.
pub(super) const X_HEIGHT: f32 = 0.546;
pub(super) const FIGURE_HEIGHT: f32 = 0.729;
/// From one line to the next, by the size of the letters: no letter of English touches one of the next line.
const LINE: f32 = 1.12;
/// From the top of a line to its base line.
const BASE: f32 = 0.9;

/// A piece of text in one cut.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Run {
    pub(super) text: String,
    pub(super) face: Face,
    /// Whether it is kept on one line, blanks and all.
    pub(super) whole: bool,
}

impl Run {
    pub(super) fn new(text: &str, bold: bool) -> Self {
        Self { text: text.to_owned(), face: if bold { Face::Bold } else { Face::Regular }, whole: false }
    }

    pub(super) fn whole(text: &str) -> Self {
        Self { whole: true, ..Self::new(text, true) }
    }
}

/// A line as it is set: runs, one behind the other.
pub(super) type Line = Vec<(Face, String)>;

/// The lines of a text in letters of one size, in millimetres.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Block {
    pub(super) lines: Vec<Line>,
    pub(super) size: f32,
}

impl Block {
    /// The height of all lines.
    pub(super) fn height(&self) -> f32 {
        #[expect(clippy::cast_precision_loss, reason = "a few lines")]
        let lines = self.lines.len() as f32;
        lines * self.line()
    }

    /// From one line to the next.
    pub(super) fn line(&self) -> f32 {
        self.size * LINE
    }

    /// From the top of a line to its base line.
    pub(super) fn base(&self) -> f32 {
        self.size * BASE
    }
}

/// The lines of some runs, none wider than `width` millimetres; or the first word that is.
pub(super) fn set(fonts: &Fonts, runs: &[Run], size: f32, width: f32) -> Result<Block, String> {
    let mut lines: Vec<Line> = Vec::new();
    let (mut line, mut length) = (Line::new(), 0.0);
    for word in words(runs) {
        let wide = word_width(fonts, &word, size);
        if wide > width {
            return Err(word.into_iter().map(|(_, text)| text).collect());
        }
        let blank_face = word.first().map_or(Face::Regular, |(face, _)| *face);
        let blank = fonts.width(Style::new(blank_face, size), " ");
        if !line.is_empty() && length + blank + wide > width {
            lines.push(std::mem::take(&mut line));
        }
        if line.is_empty() {
            length = wide;
        } else {
            append(&mut line, blank_face, " ");
            length += blank + wide;
        }
        for (face, text) in word {
            append(&mut line, face, &text);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    Ok(Block { lines, size })
}

fn append(line: &mut Line, face: Face, text: &str) {
    match line.last_mut() {
        Some((last, before)) if *last == face => before.push_str(text),
        _ => line.push((face, text.to_owned())),
    }
}

fn word_width(fonts: &Fonts, word: &Line, size: f32) -> f32 {
    word.iter().map(|(face, text)| fonts.width(Style::new(*face, size), text)).sum()
}

/// The words of some runs. One word can have letters of several cuts: a bold name and the comma behind it. A percent
/// sign stays with its figure.
fn words(runs: &[Run]) -> Vec<Line> {
    let mut words: Vec<Line> = Vec::new();
    let mut is_open = false;
    for run in runs {
        if run.whole {
            if !run.text.trim().is_empty() {
                extend(&mut words, is_open, run.face, run.text.trim());
                is_open = true;
            }
            continue;
        }
        for (place, word) in run.text.split(char::is_whitespace).enumerate() {
            is_open &= place == 0;
            if word.is_empty() {
                continue;
            }
            if word.starts_with('%') && !is_open && !words.is_empty() {
                extend(&mut words, true, run.face, &format!("\u{a0}{word}"));
            } else {
                extend(&mut words, is_open, run.face, word);
            }
            is_open = true;
        }
        is_open &= !run.text.ends_with(char::is_whitespace);
    }
    words
}

fn extend(words: &mut Vec<Line>, is_open: bool, face: Face, text: &str) {
    match words.last_mut() {
        Some(word) if is_open => append(word, face, text),
        _ => words.push(vec![(face, text.to_owned())]),
    }
}

#[cfg(test)]
mod tests {
    use skrifa::instance::{LocationRef, Size};
    use skrifa::{FontRef, MetadataProvider};

    use super::*;

    fn fonts() -> Fonts {
        Fonts::load().expect("the fonts")
    }

    fn shown(block: &Block) -> Vec<String> {
        block.lines.iter().map(|line| line.iter().map(|(_, text)| text.as_str()).collect()).collect()
    }

    #[test]
    fn a_comma_stays_with_the_bold_word_before_it() {
        let runs = [Run::new("cream (", false), Run::new("milk", true), Run::new("), sugar", false)];
        assert_eq!(shown(&set(&fonts(), &runs, 2.0, 100.0).expect("lines")), ["cream (milk), sugar"]);
        assert_eq!(shown(&set(&fonts(), &runs, 2.0, 8.5).expect("lines")), ["cream", "(milk),", "sugar"]);
    }

    #[test]
    fn no_line_is_wider_than_the_room_and_no_word_is_lost() {
        let fonts = fonts();
        let text = "whole milk, hazelnut paste 8 %, sugar, skimmed milk powder, glucose syrup";
        for width in [18.0, 25.0, 40.0] {
            let block = set(&fonts, &[Run::new(text, false)], 2.2, width).expect("lines");
            assert!(block.lines.iter().all(|line| word_width(&fonts, line, 2.2) <= width + 0.001));
            assert_eq!(shown(&block).join(" ").replace('\u{a0}', " "), text);
            assert!(shown(&block).iter().all(|line| !line.starts_with('%')), "a figure keeps its percent sign");
        }
    }

    #[test]
    fn a_word_that_is_too_wide_is_told_and_what_is_whole_is_not_broken() {
        assert_eq!(set(&fonts(), &[Run::new("a stracciatella", false)], 2.0, 5.0), Err("stracciatella".to_owned()));
        let date = [Run::new("Best before ", false), Run::whole("3 May 2027")];
        assert_eq!(shown(&set(&fonts(), &date, 2.0, 13.0).expect("lines")), ["Best before", "3 May 2027"]);
        assert_eq!(set(&fonts(), &date, 2.0, 10.9), Err("3 May 2027".to_owned()));
        let nothing = [Run::new(" ", false), Run::whole("")];
        assert!(set(&fonts(), &nothing, 2.0, 10.0).expect("lines").lines.is_empty(), "nothing takes no line");
    }

    #[test]
    fn letters_are_as_high_as_they_are_taken_to_be() {
        for face in [Face::Regular, Face::Bold] {
            let font = FontRef::new(face.data()).expect("a font");
            let top = |character| {
                let glyph = font.charmap().map(character).expect("a glyph");
                let metrics = font.glyph_metrics(Size::new(1.0), LocationRef::default());
                metrics.bounds(glyph).expect("bounds").y_max
            };
            assert!((X_HEIGHT..X_HEIGHT + 0.002).contains(&top('x')), "{}", top('x'));
            assert!((FIGURE_HEIGHT..FIGURE_HEIGHT + 0.002).contains(&top('1')), "{}", top('1'));
        }
    }
}
