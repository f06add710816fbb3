//! The flow of a report down its pages: its head, its notices, and what every page has at its edges.

use super::canvas::{Area, BLACK, GREY, Ink, Pages};
use super::font::{Face, Fonts, Style};
use crate::cell::one_line;
use crate::error::Result;
use crate::report::Head;

/// White around what is printed, in points: 14 mm.
pub(super) const MARGIN: f32 = 40.0;
/// Between the last line and the footer.
const GAP: f32 = 10.0;
/// Within a box, between its edge and its text.
const PADDING: f32 = 7.0;
/// The most lines at the foot of a page.
const MOST_FOOTER_LINES: usize = 4;

const TITLE: Style = Style::new(Face::Bold, 17.0);
const SUBTITLE: Style = Style::new(Face::Regular, 11.0);
const LABEL: Style = Style::new(Face::Bold, 9.0);
const VALUE: Style = Style::new(Face::Regular, 9.0);
const NOTICE: Style = Style::new(Face::Bold, 9.5);
const SMALL: Style = Style::new(Face::Regular, 7.5);

const NOTICE_GROUND: Ink = (0xff, 0xf6, 0xdc);

/// Where the pen is.
pub(super) struct Flow {
    pub(super) pages: Pages,
    head: Head,
    /// From the upper edge of the page to where the next line begins, in points.
    pub(super) top: f32,
    footer: Vec<String>,
}

impl Flow {
    pub(super) fn new(size: (f32, f32), head: &Head) -> Result<Self> {
        let fonts = Fonts::load()?;
        // The number of the page stands beside it.
        let mut footer = fonts.wrap(SMALL, &head.footer, size.0 - 2.0 * MARGIN - 90.0);
        footer.truncate(MOST_FOOTER_LINES);
        Ok(Self { pages: Pages::new(fonts, size), head: head.clone(), top: MARGIN, footer })
    }

    /// The width of what is printed.
    pub(super) fn width(&self) -> f32 {
        self.pages.width - 2.0 * MARGIN
    }

    /// The lower edge of what is printed above the footer.
    fn bottom(&self) -> f32 {
        let lines = f32::from(u8::try_from(self.footer.len().max(1)).unwrap_or(u8::MAX));
        self.pages.height - MARGIN - lines * SMALL.line() - GAP
    }

    /// How much of the page is left.
    pub(super) fn room(&self) -> f32 {
        self.bottom() - self.top
    }

    /// How much a page has below its running title.
    pub(super) fn full_room(&self) -> f32 {
        self.bottom() - first_top()
    }

    /// Goes to a new page.
    pub(super) fn turn(&mut self) {
        self.pages.add_page();
        // Only its beginning, if it is longer than a line: the whole of it stands on the first page.
        let lines = self.pages.fonts.wrap(SMALL, &one_line(&self.head.title), self.width() - 10.0);
        let more = if lines.len() > 1 { " …" } else { "" };
        let title = format!("{}{more}", lines.first().map_or("", String::as_str));
        self.pages.text(MARGIN, MARGIN + SMALL.base(), &title, SMALL, GREY);
        self.top = first_top();
    }

    /// Goes to a new page if so much has no room on this one and would have on a new one.
    pub(super) fn need(&mut self, height: f32) {
        if height > self.room() && self.top > first_top() {
            self.turn();
        }
    }

    /// Lines of text, over several pages if need be.
    pub(super) fn lines(&mut self, text: &str, style: Style, ink: Ink) {
        for line in self.pages.fonts.wrap(style, text, self.width()) {
            self.need(style.line());
            self.pages.text(MARGIN, self.top + style.base(), &line, style, ink);
            self.top += style.line();
        }
    }

    /// The title, the notices and the facts.
    pub(super) fn head(&mut self) {
        let head = self.head.clone();
        self.lines(&head.title, TITLE, BLACK);
        if let Some(subtitle) = &head.subtitle {
            self.top += 1.0;
            self.lines(subtitle, SUBTITLE, GREY);
        }
        self.top += GAP;
        self.notices();
        self.facts(&head.facts);
    }

    /// The notices, each in a box.
    fn notices(&mut self) {
        for notice in self.head.notices.clone() {
            self.notice(&notice);
        }
    }

    fn notice(&mut self, text: &str) {
        let mut lines = self.pages.fonts.wrap(NOTICE, text, self.width() - 2.0 * PADDING - 3.0);
        self.need(height(lines.len().min(3), NOTICE) + 2.0 * PADDING);
        while !lines.is_empty() {
            let rest = lines.split_off(lines.len().min(lines_in(self.room() - 2.0 * PADDING, NOTICE)));
            self.boxed(&lines);
            if !rest.is_empty() {
                self.turn();
            }
            lines = rest;
        }
        self.top += GAP;
    }

    fn boxed(&mut self, lines: &[String]) {
        let height = height(lines.len(), NOTICE) + 2.0 * PADDING;
        let area = Area { left: MARGIN, top: self.top, width: self.width(), height };
        self.pages.fill(area, NOTICE_GROUND);
        self.pages.outline(area, BLACK, 0.8);
        self.pages.fill(Area { width: 4.0, ..area }, BLACK);
        let mut base = self.top + PADDING + NOTICE.base();
        for line in lines {
            self.pages.text(MARGIN + PADDING + 3.0, base, line, NOTICE, BLACK);
            base += NOTICE.line();
        }
        self.top += height;
    }

    /// The facts in two columns: labels and values.
    fn facts(&mut self, facts: &[(String, String)]) {
        let widest = facts.iter().map(|(label, _)| self.pages.fonts.width(LABEL, label)).fold(0.0, f32::max);
        let labels = (widest + 12.0).min(self.width() * 0.35);
        for (label, value) in facts {
            let label = self.pages.fonts.wrap(LABEL, label, labels - 12.0);
            let value = self.pages.fonts.wrap(VALUE, value, self.width() - labels);
            for number in 0..label.len().max(value.len()) {
                self.need(VALUE.line());
                let base = self.top + VALUE.base();
                self.pages.text(MARGIN, base, label.get(number).map_or("", String::as_str), LABEL, BLACK);
                self.pages.text(MARGIN + labels, base, value.get(number).map_or("", String::as_str), VALUE, BLACK);
                self.top += VALUE.line();
            }
            self.top += 2.0;
        }
    }

    /// The notices once more, the foot of every page, and the file.
    pub(super) fn finish(mut self) -> Result<Vec<u8>> {
        if self.pages.count() > 1 {
            self.top += GAP;
            self.notices();
        }
        let count = self.pages.count();
        for page in 0..count {
            self.foot(page, count);
        }
        self.pages.finish(&self.head.title, &self.head.language)
    }

    fn foot(&mut self, page: usize, count: usize) {
        let mut base = self.bottom() + GAP + SMALL.base();
        let number = format!("Page {} of {count}", page + 1);
        let right = MARGIN + self.width() - self.pages.fonts.width(SMALL, &number);
        self.pages.text_on(page, right, base, &number, SMALL, GREY);
        for line in self.footer.clone() {
            self.pages.text_on(page, MARGIN, base, &line, SMALL, GREY);
            base += SMALL.line();
        }
    }
}

/// The height of so many lines.
pub(super) fn height(lines: usize, style: Style) -> f32 {
    f32::from(u16::try_from(lines).unwrap_or(u16::MAX)) * style.line()
}

/// How many lines have room in a height; one at least.
pub(super) fn lines_in(room: f32, style: Style) -> usize {
    let mut lines = 1;
    while height(lines + 1, style) <= room {
        lines += 1;
    }
    lines
}

/// Where a page begins below its running title.
fn first_top() -> f32 {
    MARGIN + SMALL.line() + GAP
}
