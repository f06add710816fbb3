//! The picture as an SVG. It can be read in black and white as it is; a page's style may colour its classes.

use std::fmt::Write;

use super::{BOX_HEIGHT, BOX_WIDTH, HEAD, Line, Picture, PlacedBox, PlacedLane};
use crate::cell::plain;

/// How many letters of a line there is room for.
const MOST_LETTERS: usize = 26;
/// Letters of a line beside the lanes, lines, and letters of a name that is shown whole.
const LANE_LETTERS: usize = 20;
const LANE_LINES: usize = 4;
const MOST_LANE_LETTERS: usize = 40;
/// How far the lines of a name are apart.
const LANE_LINE: i32 = 18;

/// What a picture says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PictureWords {
    /// The language, as a tag.
    pub language: String,
    /// What it is of.
    pub title: String,
    /// What it shows, in a sentence or two.
    pub description: String,
    /// The name of each column.
    pub columns: Vec<String>,
    /// The name of each lane.
    pub lanes: Vec<String>,
    /// The words of each box.
    pub boxes: Vec<BoxWords>,
}

/// What a box says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BoxWords {
    /// Its first line.
    pub name: String,
    /// Its second line: how many, how much.
    pub amount: String,
    /// Its third line: holds and recalls, where it begins.
    pub marks: String,
    /// All of it, for whoever hears it.
    pub label: String,
    /// Where it leads.
    pub link: Option<String>,
    /// A recall or a hold keeps something of it, the trace begins with it, or it is reached by contact alone: `recalled`,
    /// `held`, `seed`, `contact`.
    pub classes: Vec<&'static str>,
}

/// Writes the SVG. Writing to a text cannot fail.
pub fn write(picture: &Picture, words: &PictureWords) -> String {
    let mut svg = String::new();
    // What has links in it is no image to a screen reader.
    let role = if words.boxes.iter().any(|words| words.link.is_some()) { "group" } else { "img" };
    let _ = write!(
        svg,
        r#"<svg xmlns="http://www.w3.org/2000/svg" class="trace" viewBox="0 0 {0} {1}" width="{0}" height="{1}" role="{role}" aria-label="{2}" aria-describedby="trace-described" font-family="sans-serif" font-size="15""#,
        picture.width,
        picture.height,
        escaped(&words.title),
    );
    if !words.language.is_empty() {
        let _ = write!(svg, r#" xml:lang="{}""#, escaped(&words.language));
    }
    let _ = write!(
        svg,
        r#"><title>{}</title><desc id="trace-described">{}</desc>"#,
        escaped(&words.title),
        escaped(&words.description)
    );
    svg.push_str(PATTERNS);
    for (lane, name) in picture.lanes.iter().zip(&words.lanes) {
        write_lane(&mut svg, lane, picture.width, name);
    }
    for (column, name) in picture.columns.iter().zip(&words.columns) {
        let _ = write!(
            svg,
            r#"<text class="column" x="{}" y="{}">{}</text>"#,
            column.left,
            HEAD - 12,
            escaped(&cut(name, MOST_LETTERS))
        );
    }
    for line in &picture.lines {
        write_line(&mut svg, line);
    }
    for (placed, words) in picture.boxes.iter().zip(&words.boxes) {
        write_box(&mut svg, placed, words);
    }
    svg.push_str("</svg>");
    svg
}

/// How what is reached by contact alone is drawn.
const DASHES: &str = r#" stroke-dasharray="7 5""#;

/// What is on hold is hatched one way, what is recalled both ways.
const PATTERNS: &str = concat!(
    r#"<defs><pattern id="hatched" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">"#,
    r##"<path class="hatch" d="M0 0v6" stroke="#000" stroke-width="3"/></pattern>"##,
    r#"<pattern id="crossed" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">"#,
    r##"<path class="hatch" d="M0 0v6M0 0h6" stroke="#000" stroke-width="3"/></pattern></defs>"##,
);

/// A lane with its name beside it, in as many lines as it needs; one that is longer has an ellipsis, and all of it as a title.
fn write_lane(svg: &mut String, lane: &PlacedLane, width: i32, name: &str) {
    let _ = write!(
        svg,
        r##"<g class="lane"><path d="M0 {}h{width}" fill="none" stroke="#999" stroke-dasharray="2 4"/><text x="4" y="{}">"##,
        lane.top,
        lane.top + 20,
    );
    let kept = cut(name, MOST_LANE_LETTERS);
    let mut lines = wrapped(&kept, LANE_LETTERS);
    if lines.len() > LANE_LINES {
        lines.truncate(LANE_LINES);
        lines[LANE_LINES - 1] = cut(&format!("{} …", lines[LANE_LINES - 1]), LANE_LETTERS);
    }
    if lines.concat().chars().filter(|letter| *letter != ' ').ne(name.chars().filter(|letter| *letter != ' ')) {
        let _ = write!(svg, "<title>{}</title>", escaped(name));
    }
    for (at, line) in lines.iter().enumerate() {
        let down = if at == 0 { 0 } else { LANE_LINE };
        let _ = write!(svg, r#"<tspan x="4" dy="{down}">{}</tspan>"#, escaped(line));
    }
    svg.push_str("</text></g>");
}

/// A text in lines of so many letters at most, parted between words, or within one that is longer than a line.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for (at, piece) in letters.chunks(most).enumerate() {
            let piece: String = piece.iter().collect();
            match lines.last_mut() {
                Some(last) if at == 0 && last.chars().count() + 1 + piece.chars().count() <= most => {
                    last.push(' ');
                    last.push_str(&piece);
                }
                _ => lines.push(piece),
            }
        }
    }
    lines
}

/// A line that curves from column to column, and is straight where it passes one.
fn write_line(svg: &mut String, line: &Line) {
    let Some(((begin_x, begin_y), rest)) = line.way.split_first() else { return };
    let _ = write!(
        svg,
        r##"<path class="line w{0}{1}" fill="none" stroke="#777" stroke-width="{2}"{3} d="M{begin_x} {begin_y}"##,
        line.width,
        if line.by_contact { " contact" } else { "" },
        if line.by_contact { 2 } else { 2 * line.width - 1 },
        if line.by_contact { DASHES } else { "" },
    );
    let (mut from, mut turns) = ((*begin_x, *begin_y), true);
    for (x, y) in rest {
        if turns {
            // Back into the same column: around, on its right.
            let (out, back) = if *x > from.0 { ((x + from.0) / 2, (x + from.0) / 2) } else { (from.0 + 36, x + 36) };
            let _ = write!(svg, "C{out} {} {back} {y} {x} {y}", from.1);
        } else {
            let _ = write!(svg, "H{x}");
        }
        (from, turns) = ((*x, *y), !turns);
    }
    svg.push_str("\"/>");
}

fn write_box(svg: &mut String, placed: &PlacedBox, words: &BoxWords) {
    let classes = words.classes.iter().fold(String::from("box"), |all, class| all + " " + class);
    let end = if let Some(link) = &words.link {
        let _ =
            write!(svg, r#"<a class="{classes}" href="{}" id="box-{}">"#, escaped(link), escaped(&placed.group.key));
        "</a>"
    } else {
        let _ = write!(svg, r#"<g class="{classes}">"#);
        "</g>"
    };
    let (left, top) = (placed.left, placed.top);
    let is_seed = words.classes.contains(&"seed");
    let is_several = placed.group.lots.len() > 1;
    let _ = write!(svg, "<title>{}</title>", escaped(&words.label));
    if is_several {
        // A second edge behind: more than one lot.
        let _ = write!(
            svg,
            r##"<rect x="{}" y="{}" width="{BOX_WIDTH}" height="{BOX_HEIGHT}" rx="4" fill="#fff" stroke="#000"/>"##,
            left + 4,
            top + 4
        );
    }
    let _ = write!(
        svg,
        r##"<rect x="{left}" y="{top}" width="{BOX_WIDTH}" height="{BOX_HEIGHT}" rx="4" fill="#fff" stroke="#000" stroke-width="{}"{}/>"##,
        if is_seed { 4 } else { 1 },
        if placed.group.by_contact { DASHES } else { "" },
    );
    let pattern = if words.classes.contains(&"recalled") {
        Some("crossed")
    } else {
        words.classes.contains(&"held").then_some("hatched")
    };
    if let Some(pattern) = pattern {
        let _ = write!(
            svg,
            r#"<rect class="mark" x="{left}" y="{top}" width="10" height="{BOX_HEIGHT}" fill="url(#{pattern})"/>"#
        );
    }
    let across = left + 16;
    for (down, text, weight) in [(19, &words.name, "bold"), (37, &words.amount, "normal"), (55, &words.marks, "bold")] {
        if !text.is_empty() {
            let _ = write!(
                svg,
                r#"<text x="{across}" y="{}" font-weight="{weight}">{}</text>"#,
                top + down,
                escaped(&cut(text, MOST_LETTERS))
            );
        }
    }
    svg.push_str(end);
}

/// As much of a text as there is room for.
fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most - 1).collect();
    format!("{}…", kept.trim_end())
}

fn escaped(text: &str) -> String {
    plain(text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
