//! Looking through the lines of a recall: of a site, by what is to be done about them, by number; so many at a time, in an order
//! that stays.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::lots::lots_by_ids;
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::{IntoParams, ToSchema};

use super::addressed;
use super::lines::{RecallLine, RecallLinesHead, head};
use super::outline::Reached;
use super::reading::show_at;
use super::survey::{Line, Survey};
use crate::error::Result;
use crate::fields;
use crate::index::lot_ix;
use crate::lots::{self, number};
use crate::master_data::MOST;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// Most characters of a number that is looked for.
const LONGEST_NUMBER: usize = 40;

/// What is to be done about a lot at a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LineStand {
    /// Some of it is there by the book, and nobody has confirmed it since it came.
    Open,
    /// It was found, destroyed or explained.
    Confirmed,
    /// It was looked for, and not found.
    NotFound,
    /// Nothing of it is there, and nobody said anything about it.
    Gone,
}

impl LineStand {
    /// All of them, in the order in which they matter.
    pub const ALL: [Self; 4] = [Self::Open, Self::NotFound, Self::Confirmed, Self::Gone];

    /// The word for it in every answer.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Confirmed => "confirmed",
            Self::NotFound => "not_found",
            Self::Gone => "gone",
        }
    }

    /// The one that a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|stand| stand.word() == word)
    }
}

/// Which lines of a recall.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct LinesWanted {
    /// Only at this site: its code.
    #[param(max_length = 40)]
    #[serde(default)]
    pub site: Option<String>,
    /// Only those about which this is to be done.
    #[param(inline)]
    #[serde(default)]
    pub stand: Option<LineStand>,
    /// Only of lots whose number has this in it.
    #[param(max_length = 40)]
    #[serde(default)]
    pub lot: Option<String>,
    /// Only from this lot on: `next` or `earlier` of another page.
    #[param(max_length = 40)]
    #[serde(default)]
    pub from: Option<String>,
    /// How many lines, 1 to 500; those of a lot are never parted, so that there may be a few more.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "fields::usual_page", deserialize_with = "crate::master_data::limit")]
    pub limit: u32,
}

/// Some lines of a recall.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"recall": 5810, "journal_position": 9131, "total_lots": 1,
    "caution": "This is what was recorded.", "open_lines": 0, "confirmed_lines": 1, "not_found_lines": 0,
    "gone_lines": 0, "found": 0, "first": 0, "lines": []}))]
pub struct LinesFound {
    /// What they say as a whole.
    #[serde(flatten)]
    pub head: RecallLinesHead,
    /// How many lines are still to be confirmed, of those with the site and number that were asked for.
    pub open_lines: usize,
    /// How many of these were confirmed.
    pub confirmed_lines: usize,
    /// Of how many of these the lot was not found.
    pub not_found_lines: usize,
    /// Of how many of these nothing is there any more.
    pub gone_lines: usize,
    /// How many lines there are of all that was asked for.
    pub found: usize,
    /// Which of them is the first shown, counted from 1; 0 where there is none.
    pub first: usize,
    /// In order of the lots' coming to be known.
    pub lines: Vec<RecallLine>,
    /// Send this as `from` for the page before; absent on the first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub earlier: Option<String>,
    /// Send this as `from` for the page after; absent on the last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

/// What was asked for, found.
struct Narrowed {
    site_id: Option<i64>,
    /// The row of the lot from which on.
    from: Option<i64>,
    /// A part of a number, or all of one.
    text: Option<String>,
}

impl Tubtrail {
    /// Looks through the lines of a recall.
    pub fn find_recall_lines(&self, request: &Request, id: i64, wanted: &LinesWanted) -> Result<LinesFound> {
        request.actor.may_anywhere(&reach::FIND_RECALL_LINES)?;
        let (row, narrowed) = self.read(|conn| Ok((addressed(conn, id)?, Narrowed::read(conn, wanted)?)))?;
        let survey = self.survey(request, &row)?;
        let mut lines: Vec<Line> = survey.lines.iter().filter(|line| narrowed.fits_site(line)).copied().collect();
        if let Some(text) = &narrowed.text {
            let numbered = self.numbered(request, &survey, text)?;
            lines.retain(|line| numbered.contains(&line.at));
        }
        let count = |stand: LineStand| lines.iter().filter(|line| line.stand == stand).count();
        let [open_lines, not_found_lines, confirmed_lines, gone_lines] = LineStand::ALL.map(count);
        lines.retain(|line| wanted.stand.is_none_or(|stand| line.stand == stand));
        let pages = Pages { survey: &survey, lines: &lines, limit: wanted.limit.clamp(1, MOST) as usize };
        let begin = pages.begin(narrowed.from.unwrap_or(0));
        let shown = &lines[begin..pages.end(begin)];
        let now = (self.clock)();
        self.read_at_once(|conn| {
            let at = |line: &Line| (survey.outline.lots[line.at].row, line.site_id);
            let these: HashSet<(i64, i64)> = shown.iter().map(at).collect();
            let mut lots: Vec<Reached> = shown.iter().map(|line| survey.outline.lots[line.at]).collect();
            lots.dedup_by_key(|lot| lot.row);
            Ok(LinesFound {
                head: head(&row, &survey.outline),
                open_lines,
                confirmed_lines,
                not_found_lines,
                gone_lines,
                found: lines.len(),
                first: if shown.is_empty() { 0 } else { begin + 1 },
                lines: show_at(conn, &row, &lots, now, |lot, site| these.contains(&(lot, site)))?,
                earlier: pages.before(begin).map(|at| pages.number(conn, at)).transpose()?,
                next: pages.after(begin).map(|at| pages.number(conn, at)).transpose()?,
            })
        })
    }

    /// The places of the lots whose number has a text in it.
    fn numbered(&self, request: &Request, survey: &Survey, text: &str) -> Result<HashSet<usize>> {
        let text = text.to_uppercase();
        self.answer_of(request, |inside, _| {
            let mut found = HashSet::new();
            for (at, reached) in survey.outline.lots.iter().enumerate() {
                if inside.lot_card(lot_ix(reached.row)?)?.number.to_string().contains(&text) {
                    found.insert(at);
                }
            }
            Ok(found)
        })
    }
}

impl Narrowed {
    fn read(conn: &mut AnyConnection, wanted: &LinesWanted) -> Result<Self> {
        let site = wanted.site.as_deref();
        let from = wanted.from.as_deref().map(|number| lots::named(conn, "from", number)).transpose()?;
        let text = wanted.lot.as_deref().map(str::trim).filter(|text| !text.is_empty());
        if text.is_some_and(|text| text.chars().count() > LONGEST_NUMBER) {
            let detail = say!("a number has at most {most} characters", most = LONGEST_NUMBER);
            return Err(crate::OperationError::invalid("lot", detail));
        }
        Ok(Self {
            site_id: site.map(|code| fields::filter_site(conn, "site", code)).transpose()?,
            from: from.map(|lot| lot.id),
            text: text.map(|text| fields::foreign_code("lot", text)).transpose()?,
        })
    }

    fn fits_site(&self, line: &Line) -> bool {
        self.site_id.is_none_or(|site| line.site_id == site)
    }
}

/// Lines in pages that begin and end with a lot.
struct Pages<'a> {
    survey: &'a Survey,
    lines: &'a [Line],
    limit: usize,
}

impl Pages<'_> {
    /// Where the page begins that shows what is from a lot on; the last page, if nothing is.
    fn begin(&self, from: i64) -> usize {
        let begin = self.lines.partition_point(|line| self.survey.outline.lots[line.at].row < from);
        if begin < self.lines.len() { begin } else { self.before(begin).unwrap_or(begin) }
    }

    fn end(&self, begin: usize) -> usize {
        self.next_lot((begin + self.limit).min(self.lines.len()))
    }

    fn after(&self, begin: usize) -> Option<usize> {
        Some(self.end(begin)).filter(|end| *end < self.lines.len())
    }

    /// Where the page before begins. It shows a line of this one again rather than leave one out.
    fn before(&self, begin: usize) -> Option<usize> {
        if begin == 0 {
            return None;
        }
        let before = self.next_lot(begin.saturating_sub(self.limit));
        Some(if before < begin { before } else { 0 })
    }

    /// The first line of a lot, from a line on.
    fn next_lot(&self, line: usize) -> usize {
        let begins = |at: &usize| *at == 0 || self.lines[*at].at != self.lines[*at - 1].at;
        (line..self.lines.len()).find(begins).unwrap_or(self.lines.len())
    }

    /// The number of the lot of a line.
    fn number(&self, conn: &mut AnyConnection, line: usize) -> Result<String> {
        let row = self.survey.outline.lots[self.lines[line].at].row;
        let missing = || StorageError::Corrupt(format!("lot row {row} is in the graph alone"));
        let lot = lots_by_ids(conn, &[row])?.pop().ok_or_else(missing)?;
        Ok(number(&lot)?.to_string())
    }
}
