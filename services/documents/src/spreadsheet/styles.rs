//! How the cells of a sheet look, and what they hold.

use std::borrow::Cow;

use chrono::{Datelike, NaiveDateTime};
use rust_xlsxwriter::{Color, Format, FormatAlign, FormatBorder, Worksheet};

use crate::cell::{decimal_text, figure, looks_like_a_formula, plain, shown};
use crate::error::Result;
use crate::report::{Cell, ColumnKind};

/// The longest text of a cell, in UTF-16 code units.
const LONGEST: usize = 32_767;
/// The most digits of a number that a spreadsheet keeps.
const DIGITS: usize = 15;
const DAY: &str = "yyyy-mm-dd";
const TIME: &str = "yyyy-mm-dd hh:mm:ss";
/// A pale warm grey for headings, and a pale yellow for what must be read.
const HEADING: Color = Color::RGB(0xE9_E4_DC);
const NOTICE: Color = Color::RGB(0xFF_F3_CD);

/// What a text ends with that is cut.
const MARK: &str = " … [the rest has no room in this cell]";

/// How heavy the letters are.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Normal,
    Bold,
}

/// The formats of a workbook, made once.
pub(super) struct Styles {
    title: Format,
    heading: Format,
    notice: Format,
    wrapped: Format,
    normal: Kinds,
    bold: Kinds,
}

struct Kinds {
    /// None where it is as any cell is: the library looks up a format of every cell by all its properties, which takes longer
    /// than writing the cell.
    plain: Option<Format>,
    /// For text that looks like a formula.
    quoted: Format,
    day: Format,
    time: Format,
    /// For decimal numbers, by how many decimals they have.
    decimals: Vec<Format>,
}

impl Styles {
    pub(super) fn new() -> Self {
        let wrapped = Format::new().set_text_wrap().set_align(FormatAlign::Top);
        let heading = Format::new().set_bold().set_background_color(HEADING).set_border_bottom(FormatBorder::Thin);
        Self {
            title: Format::new().set_bold().set_font_size(16),
            heading: heading.set_text_wrap().set_align(FormatAlign::Top),
            notice: wrapped.clone().set_bold().set_background_color(NOTICE).set_border(FormatBorder::Medium),
            wrapped,
            normal: Kinds::new(None),
            bold: Kinds::new(Some(Format::new().set_bold().set_border_top(FormatBorder::Thin))),
        }
    }

    fn of(&self, weight: Weight) -> &Kinds {
        match weight {
            Weight::Normal => &self.normal,
            Weight::Bold => &self.bold,
        }
    }

    pub(super) fn write_title(&self, sheet: &mut Worksheet, row: u32, text: &str) -> Result<()> {
        write_string(sheet, row, 0, text, Some(&self.title))
    }

    pub(super) fn write_heading(&self, sheet: &mut Worksheet, column: u16, text: &str) -> Result<()> {
        write_string(sheet, 0, column, text, Some(&self.heading))
    }

    /// A notice across the first two columns.
    pub(super) fn write_notice(&self, sheet: &mut Worksheet, row: u32, text: &str) -> Result<()> {
        let lines = u32::try_from(text.chars().count() / 95 + text.lines().count().max(1)).unwrap_or(u32::MAX);
        // Merged cells do not grow with their text.
        sheet.set_row_height(row, lines.saturating_mul(16).min(400))?;
        sheet.merge_range(row, 0, row, 1, "", &self.notice)?;
        write_string(sheet, row, 0, text, Some(&self.notice))
    }

    pub(super) fn write_wrapped(&self, sheet: &mut Worksheet, row: u32, column: u16, text: &str) -> Result<()> {
        write_string(sheet, row, column, text, Some(&self.wrapped))
    }

    pub(super) fn write_text(
        &self,
        sheet: &mut Worksheet,
        row: u32,
        column: u16,
        text: &str,
        weight: Weight,
    ) -> Result<()> {
        write_string(sheet, row, column, text, self.of(weight).plain.as_ref())
    }

    /// Writes a cell, from a column on. Returns how many characters long each field of it is: a date and time has two, any
    /// other only the first.
    pub(super) fn write_cell(
        &self,
        sheet: &mut Worksheet,
        row: u32,
        column: u16,
        cell: &Cell,
        kind: ColumnKind,
        weight: Weight,
    ) -> Result<[usize; 2]> {
        let kinds = self.of(weight);
        let length = match cell {
            Cell::DateTime { local, zone } if kind == ColumnKind::DateTime && fits(*local) => {
                sheet.write_datetime_with_format(row, column, *local, &kinds.time)?;
                write_string(sheet, row, column + 1, zone, kinds.for_text(zone))?;
                return Ok([TIME.len(), zone.chars().count()]);
            }
            Cell::Date(day) if fits((*day).into()) => {
                sheet.write_datetime_with_format(row, column, *day, &kinds.day)?;
                DAY.len()
            }
            Cell::Mass(_) | Cell::Whole(_) | Cell::Decimal { .. } => {
                let text = figure(cell, kind);
                write_figure(sheet, row, column, &text, kinds.for_figure(cell))?;
                text.len()
            }
            Cell::Empty => {
                if let Some(format) = &kinds.plain {
                    sheet.write_blank(row, column, format)?;
                }
                0
            }
            Cell::Text(_) | Cell::Date(_) | Cell::DateTime { .. } => {
                let text = shown(cell, kind);
                write_string(sheet, row, column, &text, kinds.for_text(&text))?;
                text.lines().map(|line| line.chars().count()).max().unwrap_or(0)
            }
        };
        Ok([length, 0])
    }
}

impl Kinds {
    fn new(plain: Option<Format>) -> Self {
        let base = plain.clone().unwrap_or_default();
        let decimals = |count| base.clone().set_num_format(decimal_text(0, count));
        Self {
            plain,
            decimals: (0..=6).map(decimals).collect(),
            day: base.clone().set_num_format(DAY),
            time: base.clone().set_num_format(TIME),
            quoted: base.set_quote_prefix(),
        }
    }

    fn for_text(&self, text: &str) -> Option<&Format> {
        if looks_like_a_formula(text) { Some(&self.quoted) } else { self.plain.as_ref() }
    }

    fn for_figure(&self, cell: &Cell) -> Option<&Format> {
        let decimals = match cell {
            Cell::Decimal { decimals, .. } => self.decimals.get(usize::from(*decimals)),
            _ => None,
        };
        decimals.or(self.plain.as_ref())
    }
}

/// Whether a spreadsheet has this day: from 1900 to 9999, of which the first two months are counted wrongly.
fn fits(time: NaiveDateTime) -> bool {
    (1901..=9999).contains(&time.year())
}

/// A number if it survives as one, and its digits as text otherwise.
fn write_figure(sheet: &mut Worksheet, row: u32, column: u16, text: &str, format: Option<&Format>) -> Result<()> {
    let digits = text.trim_start_matches(['-', '0', '.']).bytes().filter(u8::is_ascii_digit).count();
    let Some(number) = text.parse::<f64>().ok().filter(|_| digits <= DIGITS) else {
        return write_string(sheet, row, column, text, format);
    };
    match format {
        Some(format) => sheet.write_number_with_format(row, column, number, format)?,
        None => sheet.write_number(row, column, number)?,
    };
    Ok(())
}

fn write_string(sheet: &mut Worksheet, row: u32, column: u16, text: &str, format: Option<&Format>) -> Result<()> {
    let text = plain(text);
    match format {
        Some(format) => sheet.write_string_with_format(row, column, cut(&text), format)?,
        None => sheet.write_string(row, column, cut(&text))?,
    };
    Ok(())
}

/// A text no longer than a cell holds, and if it is cut, a mark that says so.
fn cut(text: &str) -> Cow<'_, str> {
    if text.len() <= LONGEST || text.encode_utf16().count() <= LONGEST {
        return Cow::Borrowed(text);
    }
    let mut units = MARK.encode_utf16().count();
    let kept = text.chars().take_while(|character| {
        units += character.len_utf16();
        units <= LONGEST
    });
    Cow::Owned(kept.chain(MARK.chars()).collect())
}
