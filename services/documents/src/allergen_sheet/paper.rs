//! The allergen sheet on paper, the long side across.

use super::{AllergenSheet, MAY_CONTAIN_WORDS, SheetAnswer, SheetRow, TITLE};
use crate::error::Result;
use crate::pdf::Paper;
use crate::pdf::canvas::{Area, BLACK, GREY, Ink, Pages, WHITE};
use crate::pdf::font::{Face, Fonts, Style};

/// White around what is printed, in points: 10 mm.
const MARGIN: f32 = 28.0;
const GAP: f32 = 8.0;
const PADDING: f32 = 3.0;
/// The most columns side by side: narrower, and the words in them cannot be read across a counter.
const MOST_COLUMNS: usize = 15;
/// The width of the column of flavours.
const FLAVOURS: f32 = 138.0;
/// The widest column of answers.
const WIDEST: f32 = 70.0;
/// The longest heading in large letters.
const LONGEST_HEADING: f32 = 92.0;
/// How much smaller everything but the head is printed, as long as it does not fit on one page.
const SCALES: [f32; 4] = [1.0, 0.93, 0.86, 0.8];

const SITE: Style = Style::new(Face::Bold, 16.0);
const SMALL: Style = Style::new(Face::Regular, 8.0);
const CAUTION: Style = Style::new(Face::Bold, 9.0);
const CONTINUED: Style = Style::new(Face::Bold, 7.5);
const FOOT: Style = Style::new(Face::Regular, 7.5);

const GROUND: Ink = (0xff, 0xf6, 0xdc);
const HEADING: Ink = (0xe6, 0xe1, 0xd8);
const PALE: Ink = (0xee, 0xeb, 0xe5);
const RULE: Ink = (0x9a, 0x94, 0x89);

/// The file.
pub(super) fn print(sheet: &AllergenSheet, paper: Paper) -> Result<Vec<u8>> {
    let size = paper.points(true);
    for scale in SCALES {
        let printed = Printed::new(sheet, size, scale)?;
        if printed.pages.count() == 1 {
            return printed.finish();
        }
    }
    // It does not fit, so nothing is gained by small letters.
    Printed::new(sheet, size, 1.0)?.finish()
}

struct Printed<'a> {
    sheet: &'a AllergenSheet,
    pages: Pages,
    top: f32,
    heading: Style,
    flavour: Style,
    tubs: Style,
    word: Style,
    /// The longest heading that is turned, in points; it wraps beyond.
    longest_heading: f32,
    foot: Vec<String>,
}

/// Columns that stand side by side.
struct Block<'a> {
    from: usize,
    names: &'a [String],
    /// Of one column.
    width: f32,
}

impl<'a> Printed<'a> {
    /// Prints the sheet, letters smaller by `scale`.
    fn new(sheet: &'a AllergenSheet, size: (f32, f32), scale: f32) -> Result<Self> {
        let fonts = Fonts::load()?;
        let foot = fonts.wrap(FOOT, &footer(sheet), size.0 - 2.0 * MARGIN - 80.0);
        let style = |face, size: f32| Style::new(face, size * scale);
        let mut printed = Self {
            sheet,
            pages: Pages::new(fonts, size),
            top: MARGIN,
            heading: style(Face::Bold, 9.0),
            flavour: style(Face::Bold, 10.0),
            tubs: style(Face::Regular, 7.5),
            word: style(Face::Bold, 8.0),
            longest_heading: LONGEST_HEADING * scale,
            foot: foot.into_iter().take(6).collect(),
        };
        printed.head();
        for block in blocks(sheet, printed.width()) {
            printed.block(&block);
        }
        Ok(printed)
    }

    fn finish(mut self) -> Result<Vec<u8>> {
        let count = self.pages.count();
        for page in 0..count {
            let mut base = self.bottom() + GAP + FOOT.base();
            let number = format!("Page {} of {count}", page + 1);
            let right = MARGIN + self.width() - self.pages.fonts.width(FOOT, &number);
            self.pages.text_on(page, right, base, &number, FOOT, GREY);
            for line in &self.foot {
                self.pages.text_on(page, MARGIN, base, line, FOOT, GREY);
                base += FOOT.line();
            }
        }
        self.pages.finish(&format!("{TITLE}: {}", self.sheet.site), &self.sheet.language)
    }

    fn width(&self) -> f32 {
        self.pages.width - 2.0 * MARGIN
    }

    fn bottom(&self) -> f32 {
        self.pages.height - MARGIN - height(self.foot.len().max(1), FOOT) - GAP
    }

    fn turn(&mut self) {
        self.pages.add_page();
        self.top = MARGIN;
        let sheet = self.sheet;
        let title = format!("{TITLE}: {}, {}, continued", sheet.site, sheet.day.format("%Y-%m-%d"));
        for line in
            self.pages.fonts.wrap(CONTINUED, &format!("{title}. {}", sheet.caution), self.width()).iter().take(6)
        {
            self.pages.text(MARGIN, self.top + CONTINUED.base(), line, CONTINUED, BLACK);
            self.top += CONTINUED.line();
        }
        self.top += GAP / 2.0;
    }

    fn head(&mut self) {
        let sheet = self.sheet;
        self.paragraph(&format!("{TITLE}: {}, {}", sheet.site, sheet.day.format("%Y-%m-%d")), SITE, BLACK);
        if !sheet.list_names.is_empty() {
            self.paragraph(&format!("Allergens of: {}.", sheet.list_names.join("; ")), SMALL, GREY);
        }
        self.top += GAP / 2.0;
        self.boxed(&sheet.caution, Some(GROUND));
        if !sheet.held.is_empty() {
            self.boxed(&format!("ON HOLD, DO NOT SERVE\n{}", sheet.held.join("\n")), None);
        }
        self.legend();
    }

    fn paragraph(&mut self, text: &str, style: Style, ink: Ink) {
        for line in self.pages.fonts.wrap(style, text, self.width()) {
            self.line(&line, MARGIN, style, ink);
        }
    }

    /// One line, on the next page if there is no room on this one.
    fn line(&mut self, line: &str, left: f32, style: Style, ink: Ink) {
        if self.top + style.line() > self.bottom() {
            self.turn();
        }
        self.pages.text(left, self.top + style.base(), line, style, ink);
        self.top += style.line();
    }

    /// Text in a box, in as many boxes as pages.
    fn boxed(&mut self, text: &str, ground: Option<Ink>) {
        let mut lines = self.pages.fonts.wrap(CAUTION, text, self.width() - 6.0 * PADDING);
        while !lines.is_empty() {
            let mut fit = lines.len();
            while fit > 1 && self.top + height(fit, CAUTION) + 2.0 * PADDING > self.bottom() {
                fit -= 1;
            }
            let rest = lines.split_off(fit);
            let tall = height(fit, CAUTION) + 2.0 * PADDING;
            let area = Area { left: MARGIN, top: self.top, width: self.width(), height: tall };
            self.pages.fill(area, ground.unwrap_or(WHITE));
            self.pages.outline(area, BLACK, if ground.is_some() { 0.8 } else { 2.0 });
            for (number, line) in lines.iter().enumerate() {
                let base = self.top + PADDING + height(number, CAUTION) + CAUTION.base();
                self.pages.text(MARGIN + 3.0 * PADDING, base, line, CAUTION, BLACK);
            }
            self.top += tall;
            if !rest.is_empty() {
                self.turn();
            }
            lines = rest;
        }
        self.top += GAP;
    }

    /// The four answers as they look in the table, each with what it means.
    fn legend(&mut self) {
        let sample = (52.0, height(2, self.word) + 2.0 * PADDING);
        let each = self.width() / 4.0;
        let meanings: Vec<Vec<String>> = sheet_meanings(self.sheet)
            .map(|(_, meaning)| self.pages.fonts.wrap(SMALL, meaning, each - sample.0 - 3.0 * PADDING))
            .collect();
        let tall = meanings.iter().map(|lines| height(lines.len(), SMALL)).fold(sample.1, f32::max);
        if self.top + tall > self.bottom() {
            self.turn();
        }
        let mut left = MARGIN;
        for ((answer, _), lines) in sheet_meanings(self.sheet).zip(meanings) {
            let area = Area { left, top: self.top, width: sample.0, height: sample.1 };
            self.answer(answer, area);
            self.pages.outline(area, RULE, 0.5);
            for (number, line) in lines.iter().enumerate() {
                let base = self.top + height(number, SMALL) + SMALL.base();
                self.pages.text(left + sample.0 + PADDING + 1.0, base, line, SMALL, BLACK);
            }
            left += each;
        }
        self.top += tall + GAP;
    }

    fn block(&mut self, block: &Block<'_>) {
        let headings: Vec<Vec<String>> =
            block.names.iter().map(|name| self.pages.fonts.wrap(self.heading, name, self.longest_heading)).collect();
        let tall = self.heading_height(&headings);
        if self.top + tall + height(3, self.flavour) > self.bottom() {
            self.turn();
        }
        self.headings(block, &headings, tall);
        for row in &self.sheet.rows {
            let lines = self.flavour_lines(row);
            if self.top + self.row_height(&lines) > self.bottom() {
                self.turn();
                self.headings(block, &headings, tall);
            }
            self.row(block, row, &lines);
        }
        if self.sheet.rows.is_empty() {
            self.line("Nothing is open in the case.", MARGIN + PADDING, SMALL, BLACK);
        }
        self.top += GAP;
    }

    fn heading_height(&self, headings: &[Vec<String>]) -> f32 {
        let lines = headings.iter().flatten().map(|line| self.pages.fonts.width(self.heading, line));
        lines.fold(40.0, f32::max) + 3.0 * PADDING
    }

    /// The names of the allergens, turned so that each has room.
    fn headings(&mut self, block: &Block<'_>, headings: &[Vec<String>], tall: f32) {
        let area = Area { left: MARGIN, top: self.top, width: block.right() - MARGIN, height: tall };
        self.pages.fill(area, HEADING);
        let base = self.top + tall - PADDING - self.flavour.line() + self.flavour.base();
        self.pages.text(MARGIN + PADDING, base, "Flavour and tubs", self.flavour, BLACK);
        let all = self.sheet.columns.len();
        if block.names.len() < all {
            // Nobody is to take a part of the allergens for all of them.
            let part = format!("Allergens {} to {} of {all}", block.from + 1, block.from + block.names.len());
            self.pages.text(MARGIN + PADDING, self.top + PADDING + self.heading.base(), &part, self.heading, BLACK);
        }
        for (number, lines) in headings.iter().enumerate() {
            let area = block.cell(number, self.top, tall);
            // As many lines as have room side by side: the others would stand in the next column.
            let pitch = self.heading.line().min((block.width - 2.0) / count(lines.len().max(1)));
            let mut left = area.left + (area.width - count(lines.len()) * pitch) / 2.0 + self.heading.base();
            for line in lines {
                self.pages.turned_text(left, self.top + tall - PADDING, line, self.heading, BLACK);
                left += pitch;
            }
            self.pages.outline(area, RULE, 0.5);
        }
        self.pages.outline(area, RULE, 0.5);
        self.top += tall;
    }

    fn flavour_lines(&self, row: &SheetRow) -> Vec<(String, Style)> {
        let room = FLAVOURS - 2.0 * PADDING;
        let wrap =
            |text: &str, style| self.pages.fonts.wrap(style, text, room).into_iter().map(move |line| (line, style));
        let mut lines: Vec<(String, Style)> = wrap(&row.flavour, self.flavour).collect();
        if !row.tubs.is_empty() {
            lines.extend(wrap(&row.tubs.join(", "), self.tubs));
        }
        // A row is never taller than a page.
        let most = 25;
        if lines.len() > most {
            let more = format!("and {} lines more", lines.len() - most + 1);
            lines.truncate(most - 1);
            lines.push((more, self.tubs));
        }
        lines
    }

    fn row_height(&self, lines: &[(String, Style)]) -> f32 {
        let flavour: f32 = lines.iter().map(|(_, style)| style.line()).sum();
        flavour.max(height(2, self.word)) + 2.0 * PADDING
    }

    fn row(&mut self, block: &Block<'_>, row: &SheetRow, lines: &[(String, Style)]) {
        let tall = self.row_height(lines);
        self.pages.outline(Area { left: MARGIN, top: self.top, width: FLAVOURS, height: tall }, RULE, 0.5);
        let mut top = self.top + PADDING;
        for (line, style) in lines {
            self.pages.text(MARGIN + PADDING, top + style.base(), line, *style, BLACK);
            top += style.line();
        }
        for number in 0..block.names.len() {
            let area = block.cell(number, self.top, tall);
            if let Some(answer) = row.cells.get(block.from + number) {
                self.answer(*answer, area);
            }
            self.pages.outline(area, RULE, 0.5);
        }
        self.top += tall;
    }

    /// A word, and a mark that is not its colour alone: a black cell, a cell with a second frame and a bar, a slanted
    /// word with a question mark, a dash.
    fn answer(&mut self, answer: SheetAnswer, area: Area) {
        match answer {
            SheetAnswer::Contains => {
                self.pages.fill(area, BLACK);
                self.words(&["contains"], area, self.word, WHITE);
            }
            SheetAnswer::MayContain => {
                let inner = inset(area, 2.0);
                self.hatch(Area { width: 5.0, ..inner });
                self.pages.outline(inner, BLACK, 1.1);
                self.words(
                    &MAY_CONTAIN_WORDS,
                    Area { left: area.left + 6.0, width: area.width - 7.0, ..area },
                    self.word,
                    BLACK,
                );
            }
            SheetAnswer::Unknown => {
                self.pages.fill(area, PALE);
                self.words(&["unknown ?"], area, Style::new(Face::Oblique, self.word.size), BLACK);
            }
            SheetAnswer::NotRecorded => self.words(&["–"], area, self.word, BLACK),
        }
    }

    /// Lines of words in the middle of an area, smaller if they are too wide for it.
    fn words(&mut self, lines: &[&str], area: Area, style: Style, ink: Ink) {
        let widest = lines.iter().map(|line| self.pages.fonts.width(style, line)).fold(0.0, f32::max);
        let style = Style { size: style.size * ((area.width - 2.0) / widest).min(1.0), ..style };
        let mut base = area.top + (area.height - height(lines.len(), style)) / 2.0 + style.base();
        for line in lines {
            let left = area.left + (area.width - self.pages.fonts.width(style, line)) / 2.0;
            self.pages.text(left, base, line, style, ink);
            base += style.line();
        }
    }

    /// Slanted lines across an area that is taller than wide.
    fn hatch(&mut self, area: Area) {
        let mut top = area.top;
        while top + area.width <= area.top + area.height {
            self.pages.line((area.left, top + area.width), (area.left + area.width, top), BLACK, 1.0);
            top += 3.0;
        }
    }
}

impl Block<'_> {
    fn right(&self) -> f32 {
        MARGIN + FLAVOURS + count(self.names.len()) * self.width
    }

    fn cell(&self, number: usize, top: f32, height: f32) -> Area {
        Area { left: MARGIN + FLAVOURS + count(number) * self.width, top, width: self.width, height }
    }
}

/// The columns, in as few blocks of about equal size as have room beside the flavours.
fn blocks(sheet: &AllergenSheet, width: f32) -> Vec<Block<'_>> {
    let columns = sheet.columns.len();
    let number = columns.div_ceil(MOST_COLUMNS).max(1);
    let most = columns.div_ceil(number).max(1);
    let column = ((width - FLAVOURS) / count(most)).min(WIDEST);
    let mut blocks: Vec<Block<'_>> = Vec::new();
    for names in sheet.columns.chunks(most) {
        blocks.push(Block { from: blocks.len() * most, names, width: column });
    }
    if blocks.is_empty() {
        blocks.push(Block { from: 0, names: &[], width: column });
    }
    blocks
}

fn sheet_meanings(sheet: &AllergenSheet) -> impl Iterator<Item = (SheetAnswer, &str)> {
    sheet.legend.lines().into_iter()
}

fn footer(sheet: &AllergenSheet) -> String {
    format!("{}. As of journal entry {}. Printed {}.", sheet.site, sheet.journal_position, sheet.printed_at)
}

fn inset(area: Area, by: f32) -> Area {
    Area { left: area.left + by, top: area.top + by, width: area.width - 2.0 * by, height: area.height - 2.0 * by }
}

fn height(lines: usize, style: Style) -> f32 {
    count(lines) * style.line()
}

fn count(number: usize) -> f32 {
    f32::from(u16::try_from(number).unwrap_or(u16::MAX))
}
