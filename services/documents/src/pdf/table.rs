//! A table on paper: its heading on every page, its rows, and what stands below them.

use super::canvas::{Area, BLACK, GREY, Ink};
use super::flow::{Flow, MARGIN, height, lines_in};
use super::font::{Face, Style};
use super::widths::{Columns, SIDE, split_figure};
use crate::cell::{is_figure, shown};
use crate::report::{ColumnKind, Row, TableFoot, TableHead};

/// White above and below the text of a cell, in points.
const ABOVE: f32 = 2.5;
const TITLE: Style = Style::new(Face::Bold, 11.5);
const REMARK: Style = Style::new(Face::Regular, 8.5);
const LEFT_OUT: Style = Style::new(Face::Bold, 9.0);

const HEADING_GROUND: Ink = (0xe6, 0xe1, 0xd8);
const STRIPE: Ink = (0xf6, 0xf4, 0xf0);
const RULE: Ink = (0xc4, 0xbe, 0xb3);

/// A cell ready to be drawn.
struct Laid {
    lines: Vec<String>,
    /// Figures stand on the right, so that what is behind the point of each takes the same room.
    figure: bool,
}

/// How a row looks.
#[derive(Clone, Copy)]
struct Look {
    style: Style,
    ground: Option<Ink>,
    /// The line above it.
    rule: Ink,
}

/// Prints a table.
pub(super) fn print(flow: &mut Flow, head: &TableHead, rows: &[Row], left_out: u64, foot: &TableFoot) {
    let columns = Columns::fit(&flow.pages.fonts, head, rows, foot.total.as_ref(), flow.width());
    let mut table = Printed::new(flow, head, columns);
    table.begin(rows.first());
    for (number, row) in rows.iter().enumerate() {
        table.row(row, number);
    }
    if rows.is_empty() && left_out == 0 {
        table.remark("No rows.", REMARK);
    }
    if left_out > 0 {
        table.remark(&left_out_line(left_out), LEFT_OUT);
    }
    if let Some(total) = &foot.total {
        table.total(total);
    }
    table.end();
    if let Some(note) = &foot.note {
        flow.lines(note, REMARK, GREY);
    }
}

fn left_out_line(rows: u64) -> String {
    if rows == 1 {
        "1 further row is in the spreadsheet.".to_owned()
    } else {
        format!("{rows} further rows are in the spreadsheet.")
    }
}

struct Printed<'a> {
    flow: &'a mut Flow,
    head: &'a TableHead,
    columns: Columns,
    heading: Vec<Laid>,
    /// A heading that takes too much of a page is printed once.
    repeats: bool,
}

impl<'a> Printed<'a> {
    fn new(flow: &'a mut Flow, head: &'a TableHead, columns: Columns) -> Self {
        let mut table = Self { flow, head, columns, heading: Vec::new(), repeats: true };
        let look = table.heading_look();
        table.heading = table
            .head
            .columns
            .iter()
            .enumerate()
            .map(|(place, column)| table.lay(place, &column.title, look.style, false))
            .collect();
        table.repeats = row_height(&table.heading, look.style) <= table.flow.full_room() / 3.0;
        table
    }

    fn heading_look(&self) -> Look {
        Look { style: Style::new(Face::Bold, self.columns.size), ground: Some(HEADING_GROUND), rule: BLACK }
    }

    /// Prints the title and the heading, and on the same page as its first row, if a page has room for all of them.
    fn begin(&mut self, first: Option<&Row>) {
        self.flow.top += 12.0;
        let style = Style::new(Face::Regular, self.columns.size);
        let first = first.map_or(0.0, |row| row_height(&self.lay_row(row, style), style)).max(3.0 * style.line());
        let heading = row_height(&self.heading, self.heading_look().style);
        let wanted = TITLE.line() + 3.0 + heading + first;
        self.flow.need(if wanted <= self.flow.full_room() { wanted } else { self.flow.full_room() / 2.0 });
        self.flow.lines(&self.head.title, TITLE, BLACK);
        self.flow.top += 3.0;
        self.print_heading();
    }

    fn print_heading(&mut self) {
        let look = self.heading_look();
        let heading = std::mem::take(&mut self.heading);
        self.split(&heading, look);
        self.heading = heading;
    }

    fn row(&mut self, row: &Row, number: usize) {
        let style = Style::new(Face::Regular, self.columns.size);
        let ground = (number % 2 == 1).then_some(STRIPE);
        self.fit_or_split(&self.lay_row(row, style), Look { style, ground, rule: RULE });
    }

    fn total(&mut self, total: &Row) {
        let style = Style::new(Face::Bold, self.columns.size);
        self.fit_or_split(&self.lay_row(total, style), Look { style, ground: None, rule: BLACK });
    }

    /// A short line across the table that is no row.
    fn remark(&mut self, text: &str, style: Style) {
        self.need(style.line() + 2.0 * ABOVE);
        let (left, base) = (MARGIN + SIDE, self.flow.top + ABOVE + style.base());
        self.flow.pages.text(left, base, text, style, BLACK);
        self.flow.top += style.line() + 2.0 * ABOVE;
    }

    fn end(&mut self) {
        self.rule(BLACK);
        self.flow.top += 4.0;
    }

    fn lay_row(&self, row: &Row, style: Style) -> Vec<Laid> {
        let cells = row.iter().zip(&self.head.columns).enumerate();
        cells
            .map(|(place, (cell, column))| self.lay(place, &shown(cell, column.kind), style, is_figure(cell)))
            .collect()
    }

    fn lay(&self, place: usize, text: &str, style: Style, figure: bool) -> Laid {
        let width = self.columns.columns[place].width - 2.0 * SIDE;
        Laid { lines: self.flow.pages.fonts.wrap(style, text, width + 0.01), figure }
    }

    /// Prints a row on this page if it has room there, on the next if it has room on a page, and over several
    /// otherwise.
    fn fit_or_split(&mut self, cells: &[Laid], look: Look) {
        self.need(row_height(cells, look.style).min(self.flow.full_room()));
        self.split(cells, look);
    }

    /// Prints a row, as many lines at a time as the page has room for.
    fn split(&mut self, cells: &[Laid], look: Look) {
        let count = cells.iter().map(|cell| cell.lines.len()).max().unwrap_or(0).max(1);
        let mut done = 0;
        while done < count {
            if done > 0 {
                self.turn();
            }
            let lines = lines_in(self.flow.room() - 2.0 * ABOVE, look.style).min(count - done);
            self.print_lines(cells, done, lines, look);
            done += lines;
        }
    }

    /// Prints some lines of each cell of a row.
    fn print_lines(&mut self, cells: &[Laid], from: usize, lines: usize, look: Look) {
        let tall = height(lines, look.style) + 2.0 * ABOVE;
        if let Some(ground) = look.ground {
            let top = self.flow.top;
            self.flow.pages.fill(Area { left: MARGIN, top, width: self.columns.width(), height: tall }, ground);
        }
        self.rule(look.rule);
        let mut left = MARGIN;
        for (place, cell) in cells.iter().enumerate() {
            let mut base = self.flow.top + ABOVE + look.style.base();
            for line in cell.lines.iter().skip(from).take(lines) {
                let indent = self.indent(place, cell, line, look.style);
                self.flow.pages.text(left + indent, base, line, look.style, BLACK);
                base += look.style.line();
            }
            left += self.columns.columns[place].width;
        }
        self.flow.top += tall;
    }

    /// How far from the left edge of its column a line begins.
    fn indent(&self, place: usize, cell: &Laid, line: &str, style: Style) -> f32 {
        let column = &self.columns.columns[place];
        let width = |text| self.flow.pages.fonts.width(style, text);
        let taken = if cell.figure {
            width(split_figure(line).0) + column.fraction
        } else if self.holds_figures(place) {
            width(line)
        } else {
            return SIDE;
        };
        (column.width - SIDE - taken).max(SIDE)
    }

    fn holds_figures(&self, place: usize) -> bool {
        matches!(self.head.columns[place].kind, ColumnKind::Grams | ColumnKind::Kilograms | ColumnKind::Number)
    }

    fn rule(&mut self, ink: Ink) {
        let (left, top) = (MARGIN, self.flow.top);
        self.flow.pages.line((left, top), (left + self.columns.width(), top), ink, 0.5);
    }

    fn need(&mut self, height: f32) {
        if height > self.flow.room() {
            self.turn();
        }
    }

    /// Goes to a new page and prints the heading there.
    fn turn(&mut self) {
        self.rule(RULE);
        self.flow.turn();
        if self.repeats {
            self.print_heading();
        }
    }
}

fn row_height(cells: &[Laid], style: Style) -> f32 {
    height(cells.iter().map(|cell| cell.lines.len()).max().unwrap_or(0).max(1), style) + 2.0 * ABOVE
}
