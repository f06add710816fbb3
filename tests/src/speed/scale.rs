//! How large a measurement is.

use std::time::Duration;

use crate::reference::Size;

/// What may be measured apart from the rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Traces in memory.
    Lineage,
    /// How cost grows with the number of lots.
    Growth,
    /// Start-up and memory.
    Start,
    /// Durable commands.
    Writes,
    /// Answers over HTTP.
    Answers,
    /// Records for others.
    Exports,
}

impl Part {
    /// All of them.
    pub const ALL: [Self; 6] = [Self::Lineage, Self::Growth, Self::Start, Self::Writes, Self::Answers, Self::Exports];

    /// By the word on the command line.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|part| part.word() == word)
    }

    /// The word on the command line.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Lineage => "lineage",
            Self::Growth => "growth",
            Self::Start => "start",
            Self::Writes => "writes",
            Self::Answers => "answers",
            Self::Exports => "exports",
        }
    }
}

/// How large a measurement is, and how long it may take.
#[derive(Clone, Debug)]
pub struct Scale {
    /// In words.
    pub name: &'static str,
    /// The world in which everything is measured.
    pub world: Size,
    /// Smaller ones whose answers are measured too, to see how cost grows.
    pub smaller: Vec<Size>,
    /// Others of which only traces in memory are measured.
    pub in_memory: Vec<Size>,
    /// What the dice of the world and of the questions begin with.
    pub seed: u64,
    /// Questions of each kind, picked at random.
    pub questions: usize,
    /// How often ours and the others take turns.
    pub rounds: usize,
    /// How long a turn lasts that is measured by the second.
    pub turn: Duration,
    /// What is measured.
    pub parts: Vec<Part>,
}

impl Scale {
    /// Ten kitchens, five years: 4.3 million lots.
    pub fn full() -> Self {
        Self {
            name: "whole",
            world: Size::FULL,
            smaller: vec![kitchens(1, 43), kitchens(10, 43), kitchens(10, 426)],
            in_memory: vec![kitchens(10, 4260)],
            seed: 1,
            questions: 200,
            rounds: 9,
            turn: Duration::from_secs(2),
            parts: Part::ALL.to_vec(),
        }
    }

    /// A tenth of it.
    pub fn tenth() -> Self {
        Self {
            name: "a tenth",
            world: kitchens(10, 183),
            smaller: vec![kitchens(1, 43), kitchens(10, 43)],
            in_memory: vec![kitchens(10, 426)],
            rounds: 5,
            turn: Duration::from_millis(700),
            ..Self::full()
        }
    }

    /// A thousandth of it, and little time: enough to see that it runs.
    pub fn thousandth() -> Self {
        Self {
            name: "a thousandth: the figures say nothing",
            world: kitchens(1, 18),
            smaller: vec![kitchens(1, 6)],
            in_memory: vec![kitchens(1, 40)],
            questions: 20,
            rounds: 2,
            turn: Duration::from_millis(30),
            ..Self::full()
        }
    }

    /// Whether this part is measured.
    pub fn does(&self, part: Part) -> bool {
        self.parts.contains(&part)
    }
}

const fn kitchens(kitchens: u32, days: u32) -> Size {
    Size { kitchens, days }
}
