//! How wide the columns of a table are.

use super::font::{Face, Fonts, Style};
use crate::cell::{is_figure, shown};
use crate::report::{Cell, Row, TableHead};

/// The sizes of letters that are tried, in points.
const SIZES: [f32; 5] = [8.5, 8.0, 7.5, 7.0, 6.5];
/// White at either side of a cell.
pub(super) const SIDE: f32 = 3.5;
/// The most of the table that one word claims for its column, and one line.
const MOST_WORD: f32 = 0.3;
const MOST_LINE: f32 = 0.7;
/// How much wider than its content a column is made when there is room.
const MOST_SPREAD: f32 = 1.6;

/// The columns as they are printed.
pub(super) struct Columns {
    /// Of headings and cells.
    pub(super) size: f32,
    pub(super) columns: Vec<Measured>,
}

/// A column as it is printed.
#[derive(Clone, Debug)]
pub(super) struct Measured {
    /// With the white at its sides.
    pub(super) width: f32,
    /// What the longest fraction of its figures takes, point and all: the points stand below each other.
    pub(super) fraction: f32,
    /// The least it needs so that no word is broken.
    least: f32,
    /// What it needs so that no line is broken.
    natural: f32,
}

impl Columns {
    /// For a table within `available` points: the largest letters with which no word is broken, or the smallest.
    pub(super) fn fit(fonts: &Fonts, head: &TableHead, rows: &[Row], total: Option<&Row>, available: f32) -> Self {
        let mut fitted = None;
        for size in SIZES {
            let columns = measure(fonts, head, rows, total, size, available);
            let enough = columns.iter().map(|column| column.least).sum::<f32>() <= available;
            fitted = Some(Self { size, columns: share_out(columns, available) });
            if enough {
                break;
            }
        }
        fitted.unwrap_or(Self { size: SIZES[0], columns: Vec::new() })
    }

    /// The width of all columns.
    pub(super) fn width(&self) -> f32 {
        self.columns.iter().map(|column| column.width).sum()
    }
}

fn measure(
    fonts: &Fonts,
    head: &TableHead,
    rows: &[Row],
    total: Option<&Row>,
    size: f32,
    available: f32,
) -> Vec<Measured> {
    let measure_column = |(place, column): (usize, &crate::report::Column)| {
        let (mut word, mut line) = fonts.extent(Style::new(Face::Bold, size), &column.title);
        let (mut before, mut fraction) = (0.0_f32, 0.0_f32);
        let weighed = rows.iter().map(|row| (row, Face::Regular)).chain(total.map(|total| (total, Face::Bold)));
        for (row, face) in weighed {
            let Some(cell) = row.get(place) else { continue };
            let style = Style::new(face, size);
            let text = shown(cell, column.kind);
            if is_figure(cell) {
                let (whole, behind) = split_figure(&text);
                before = before.max(fonts.width(style, whole));
                fraction = fraction.max(fonts.width(style, behind));
            } else if *cell != Cell::Empty {
                let (widest_word, widest_line) = fonts.extent(style, &text);
                word = word.max(widest_word);
                line = line.max(widest_line);
            }
        }
        let figure = before + fraction;
        let least = word.min(available * MOST_WORD).max(figure) + 2.0 * SIDE;
        let natural = (line.min(available * MOST_LINE).max(figure) + 2.0 * SIDE).max(least);
        Measured { width: natural, fraction, least, natural }
    };
    head.columns.iter().enumerate().map(measure_column).collect()
}

/// A figure up to its point, and from its point on.
pub(super) fn split_figure(figure: &str) -> (&str, &str) {
    figure.split_at(figure.find('.').unwrap_or(figure.len()))
}

/// Gives each column its width.
fn share_out(mut columns: Vec<Measured>, available: f32) -> Vec<Measured> {
    let least: f32 = columns.iter().map(|column| column.least).sum();
    let natural: f32 = columns.iter().map(|column| column.natural).sum();
    for column in &mut columns {
        column.width = if natural <= available {
            column.natural * (available / natural).min(MOST_SPREAD)
        } else if least <= available {
            // There is less than all want, so their wants are not all nothing.
            column.least + (available - least) * (column.natural - column.least) / (natural - least)
        } else {
            available * column.least / least
        };
    }
    columns
}
