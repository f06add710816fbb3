//! A report as a spreadsheet (XLSX, Office Open XML): what it is about on the first sheet, and a sheet for each table.
//!
//! Figures and days are numbers of the spreadsheet, so that they sort. Text is text, never a formula: what looks like
//! one has the cell's quote prefix (OWASP ASVS 5.0.0, 1.2.10), which leaves the value as it is. A date and time takes
//! two columns, the second for its zone.

mod names;
mod styles;

use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};

use rust_xlsxwriter::{DocProperties, Workbook, Worksheet};

use self::names::Names;
use self::styles::{Styles, Weight};
use crate::cell::{fields_of, headings};
use crate::error::{DocumentError, Result};
use crate::report::{Head, Report, Row, TableFoot, TableHead};

/// The media type of what is made here.
pub const MEDIA_TYPE: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// The most rows of a table on one sheet: 1 048 576 less the heading (ISO/IEC 29500 leaves it open; the common programs
/// stop there).
pub const MOST_ROWS: u32 = 1_048_575;

/// Of 1 to 9. A file is a quarter larger than at the usual 6 (measured: 61 instead of 49 MB), and whoever waits for a large one
/// waits less.
const COMPRESSION: u8 = 2;

/// The longest line at the foot of a printed sheet, in characters.
const FOOTER: usize = 100;
/// The narrowest and the widest column, in characters.
const WIDTHS: (usize, usize) = (9, 60);

/// A report of which all rows are at hand.
pub fn report(report: &Report) -> Result<Vec<u8>> {
    let mut writer = SpreadsheetWriter::new(&report.head)?;
    for table in &report.tables {
        writer.begin_table(&table.head)?;
        writer.rows(&table.rows)?;
        writer.end_table(&table.foot)?;
    }
    writer.finish()
}

/// Makes the spreadsheet a chunk of rows at a time, in constant memory: the rows wait in files in the system's folder
/// for temporary files, which are gone when the writer is.
pub struct SpreadsheetWriter {
    workbook: Workbook,
    styles: Styles,
    names: Names,
    footer: String,
    most_rows: u32,
    open: Option<Open>,
}

/// The table that is being written.
struct Open {
    head: TableHead,
    /// The sheet's place in the workbook.
    sheet: usize,
    /// Which sheet of the table it is, counted from 1.
    part: u32,
    /// Rows of the table on this sheet.
    rows: u32,
    /// The row of the sheet that is written next.
    next: u32,
    /// The longest text in each column of the sheet, in characters.
    widths: Vec<usize>,
}

impl SpreadsheetWriter {
    /// For a report with this head.
    pub fn new(head: &Head) -> Result<Self> {
        let mut workbook = Workbook::new();
        workbook.set_zip_compression_level(COMPRESSION);
        workbook.set_properties(&DocProperties::new().set_title(&head.title));
        let mut writer = Self {
            workbook,
            styles: Styles::new(),
            names: Names::default(),
            footer: printed_footer(&head.footer),
            most_rows: MOST_ROWS,
            open: None,
        };
        writer.write_about(head)?;
        Ok(writer)
    }

    /// Continues on a further sheet after fewer rows than [`MOST_ROWS`].
    #[must_use]
    pub fn rows_per_sheet(mut self, most: u32) -> Self {
        self.most_rows = most.clamp(1, MOST_ROWS);
        self
    }

    /// Begins a table, on a sheet of its own.
    pub fn begin_table(&mut self, table: &TableHead) -> Result<()> {
        table.check()?;
        self.close_sheet()?;
        self.begin_sheet(table, 1)
    }

    /// Adds rows to the table that was begun last.
    pub fn rows(&mut self, rows: &[Row]) -> Result<()> {
        or_no_room(|| {
            for row in rows {
                self.make_room(1)?;
                self.write_row(row, Weight::Normal)?;
                self.open()?.rows += 1;
            }
            Ok(())
        })
    }

    /// Ends the table.
    pub fn end_table(&mut self, foot: &TableFoot) -> Result<()> {
        or_no_room(|| {
            if let Some(total) = &foot.total {
                self.make_room(1)?;
                self.write_row(total, Weight::Bold)?;
            }
            if let Some(note) = &foot.note {
                self.write_note(note)?;
            }
            self.close_sheet()
        })
    }

    /// The file.
    pub fn finish(self) -> Result<Vec<u8>> {
        let mut file = Vec::new();
        self.finish_into(&mut file)?;
        Ok(file)
    }

    /// Writes the file into a sink, which need not hold it in memory.
    pub fn finish_into(mut self, sink: impl Write + Send) -> Result<()> {
        or_no_room(|| {
            self.close_sheet()?;
            Ok(self.workbook.save_to_writer(sink)?)
        })
    }

    fn open(&mut self) -> Result<&mut Open> {
        self.open.as_mut().ok_or(DocumentError::NotBegun)
    }

    fn write_about(&mut self, head: &Head) -> Result<()> {
        let name = self.names.take("About", 1);
        let sheet = self.workbook.add_worksheet();
        sheet.set_name(name)?.set_footer(&self.footer);
        sheet.set_column_width(0, 28)?.set_column_width(1, 90)?;
        self.styles.write_title(sheet, 0, &head.title)?;
        let mut row = 1;
        if let Some(subtitle) = &head.subtitle {
            self.styles.write_text(sheet, row, 0, subtitle, Weight::Normal)?;
            row += 1;
        }
        for notice in &head.notices {
            row += 1;
            self.styles.write_notice(sheet, row, notice)?;
        }
        row += 2;
        for (label, value) in &head.facts {
            self.styles.write_text(sheet, row, 0, label, Weight::Bold)?;
            self.styles.write_wrapped(sheet, row, 1, value)?;
            row += 1;
        }
        Ok(())
    }

    fn begin_sheet(&mut self, table: &TableHead, part: u32) -> Result<()> {
        let name = self.names.take(&table.title, part);
        let sheet = self.workbook.add_worksheet_with_constant_memory()?;
        sheet.set_name(name)?.set_footer(&self.footer).set_landscape().set_print_fit_to_pages(1, 0);
        sheet.set_freeze_panes(1, 0)?.set_repeat_rows(0, 0)?;
        let titles: Vec<String> = table.columns.iter().flat_map(headings).collect();
        for (column, title) in (0_u16..).zip(&titles) {
            self.styles.write_heading(sheet, column, title)?;
        }
        // The arrow of the filter takes room too.
        let widths = titles.iter().map(|title| title.chars().count() + 3).collect();
        let sheet = self.workbook.worksheets().len() - 1;
        self.open = Some(Open { head: table.clone(), sheet, part, rows: 0, next: 1, widths });
        Ok(())
    }

    /// A remark apart from the rows, which may be sorted.
    fn write_note(&mut self, note: &str) -> Result<()> {
        self.make_room(2)?;
        let (sheet, row) = (self.open()?.sheet, self.open()?.next + 1);
        let sheet = self.workbook.worksheet_from_index(sheet)?;
        self.styles.write_text(sheet, row, 0, note, Weight::Normal)
    }

    /// Goes to a further sheet if so many rows have no room on this one.
    fn make_room(&mut self, rows: u32) -> Result<()> {
        let most = self.most_rows;
        let open = self.open()?;
        if open.next + rows - 1 <= most || open.next == 1 {
            return Ok(());
        }
        let (head, part) = (open.head.clone(), open.part + 1);
        self.close_sheet()?;
        self.begin_sheet(&head, part)
    }

    fn write_row(&mut self, row: &Row, weight: Weight) -> Result<()> {
        let open = self.open.as_mut().ok_or(DocumentError::NotBegun)?;
        open.head.check_row(row)?;
        let sheet = self.workbook.worksheet_from_index(open.sheet)?;
        let mut column = 0;
        for (cell, kind) in row.iter().zip(open.head.columns.iter().map(|column| column.kind)) {
            let lengths = self.styles.write_cell(sheet, open.next, column, cell, kind, weight)?;
            for length in lengths.into_iter().take(fields_of(kind)) {
                let width = &mut open.widths[usize::from(column)];
                *width = length.max(*width);
                column += 1;
            }
        }
        open.next += 1;
        Ok(())
    }

    /// Gives the sheet what depends on all of its rows.
    fn close_sheet(&mut self) -> Result<()> {
        let Some(open) = self.open.take() else { return Ok(()) };
        let sheet: &mut Worksheet = self.workbook.worksheet_from_index(open.sheet)?;
        let mut last = 0;
        for (column, width) in (0_u16..).zip(open.widths) {
            let width = width.saturating_add(1).clamp(WIDTHS.0, WIDTHS.1);
            sheet.set_column_width(column, u32::try_from(width).unwrap_or(u32::MAX))?;
            last = column;
        }
        sheet.autofilter(0, 0, open.rows, last)?;
        Ok(())
    }
}

/// What the work comes to; an error instead of the panic with which the library meets a full disk.
fn or_no_room<T>(work: impl FnOnce() -> Result<T>) -> Result<T> {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or(Err(DocumentError::NoRoom))
}

/// The footer in the language of the format: `&` begins a command, `&&` is the character.
fn printed_footer(line: &str) -> String {
    let line: String = crate::cell::one_line(line).chars().take(FOOTER).collect();
    format!("&L{}&R&P / &N", line.replace('&', "&&"))
}
