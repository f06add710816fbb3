//! What comes out: lines with their targets, as a table and as JSON.

use std::fmt::Write as _;

use serde::Serialize;

use super::machine::Machine;
use super::plot::Growth;
use super::scale::Scale;
use crate::reference::Size;

/// What a ratio should come to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Target {
    /// No more than this.
    AtMost(f64),
    /// No less than this.
    AtLeast(f64),
    /// Nothing was promised; it is here to compare.
    None,
}

/// A line: ours beside another's.
#[derive(Clone, Debug, Serialize)]
pub struct Line {
    /// Always the same, for whoever follows it over time.
    pub id: &'static str,
    /// What was measured.
    pub what: String,
    /// Our figure.
    pub ours: f64,
    /// Of both figures.
    pub unit: &'static str,
    /// Who the other is.
    pub other: &'static str,
    /// Its figure.
    pub others: f64,
    /// Of the two, as the target means it: the median over turns, not the ratio of the medians.
    pub ratio: f64,
    /// What it should come to.
    pub target: Target,
}

impl Line {
    /// Whether the target was met, where there is one.
    pub fn is_met(&self) -> Option<bool> {
        match self.target {
            Target::AtMost(most) => Some(self.ratio <= most),
            Target::AtLeast(least) => Some(self.ratio >= least),
            Target::None => None,
        }
    }

    fn cells(&self) -> [String; 6] {
        let target = match self.target {
            Target::AtMost(most) => format!("at most {most}"),
            Target::AtLeast(least) => format!("at least {least}"),
            Target::None => String::new(),
        };
        let verdict = self.is_met().map_or("", |met| if met { "met" } else { "missed" });
        [
            self.what.clone(),
            format!("{} {}", figure(self.ours), self.unit),
            format!("{} {} {}", self.other, figure(self.others), self.unit),
            figure(self.ratio),
            target,
            verdict.to_owned(),
        ]
    }
}

/// Everything that was measured.
#[derive(Debug, Serialize)]
pub struct Report {
    /// On what.
    pub machine: Machine,
    /// How much of the world, in words.
    pub scale: &'static str,
    /// Kitchens and days of it.
    pub world: Size,
    /// What the dice began with.
    pub seed: u64,
    /// The lines so far, each printed when it comes.
    pub lines: Vec<Line>,
    /// How cost grows with the number of lots.
    pub growth: Growth,
}

const WIDTHS: [usize; 6] = [58, 14, 46, 8, 14, 6];

impl Report {
    /// An empty one.
    pub fn new(machine: Machine, scale: &Scale) -> Self {
        let growth = Growth::default();
        Self { machine, scale: scale.name, world: scale.world, seed: scale.seed, lines: Vec::new(), growth }
    }

    /// What was measured on, and the heads of the columns.
    pub fn heading(&self) -> String {
        let Machine { processor, cores, memory_gb, load } = &self.machine;
        let Size { kitchens, days } = self.world;
        let heads = ["line", "ours", "the other", "ratio", "target", ""].map(str::to_owned);
        format!(
            "{processor}, {cores} cores, {memory_gb:.0} GB; load {load}\n\
             the reference world, {}: {kitchens} kitchens over {days} days, seed {}\n\n{}",
            self.scale,
            self.seed,
            row(&heads)
        )
    }

    /// Adds a line and prints it.
    pub fn add(&mut self, line: Line) {
        print!("{}", row(&line.cells()));
        self.lines.push(line);
    }

    /// How many targets were met, and how many there are.
    pub fn met(&self) -> (usize, usize) {
        let verdicts: Vec<bool> = self.lines.iter().filter_map(Line::is_met).collect();
        (verdicts.iter().filter(|met| **met).count(), verdicts.len())
    }

    /// The whole as JSON, with each line's verdict.
    pub fn json(&self) -> serde_json::Result<String> {
        let mut value = serde_json::to_value(self)?;
        for (at, line) in self.lines.iter().enumerate() {
            value["lines"][at]["met"] = serde_json::to_value(line.is_met())?;
        }
        serde_json::to_string_pretty(&value).map(|text| text + "\n")
    }
}

/// A row of the table, aligned.
fn row(cells: &[String; 6]) -> String {
    let mut text = String::new();
    for (at, (cell, width)) in cells.iter().zip(WIDTHS).enumerate() {
        // Words to the left, figures to the right. Writing to a string cannot fail.
        let _ = match at {
            1..=3 => write!(text, "{cell:>width$}  "),
            _ => write!(text, "{cell:<width$}  "),
        };
    }
    text.truncate(text.trim_end().len());
    text + "\n"
}

/// Three digits that count.
pub fn figure(value: f64) -> String {
    match value.abs() {
        size if size >= 100.0 => format!("{value:.0}"),
        size if size >= 10.0 => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    }
}
