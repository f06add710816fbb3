//! What a supplier or the maker states, and what follows from it: contained, possible, unknown, or not recorded.

use super::lists::AllergenList;
use super::substances::{EVERY_SUBSTANCE, Named, Substance};
use crate::decimal::Decimal;
use crate::saying::Saying;
use crate::{say, speaks};

/// A statement as it was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StatementGiven {
    /// The lists it was made by: what they cover and it does not name is stated not to be there.
    pub lists: Vec<AllergenList>,
    /// What it says is in there.
    pub contains: Vec<Named>,
    /// What it says may be in there. The laws ask for what went in and not for traces (Canada: Food and Drug
    /// Regulations, B.01.010.1(3)), so silence here is worth as much as the maker's word.
    pub may_contain: Vec<Named>,
    /// Total sulphur dioxide in mg/kg, if it gives the figure.
    pub sulphites_ppm: Option<Decimal>,
    /// Strength in % vol, if it gives the figure.
    pub alcohol_percent_vol: Option<Decimal>,
}

/// Why a statement is not taken, in words for the person who entered it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StatementError {
    /// No list, no name and no figure.
    SaysNothing,
    /// The same list twice.
    RepeatedList {
        /// Which.
        list: AllergenList,
    },
    /// The same name twice under contains, or twice under may contain.
    Repeated {
        /// Which.
        named: Named,
    },
    /// The same name under contains and under may contain.
    ContainedAndPossible {
        /// Which.
        named: Named,
    },
    /// Alcohol by name.
    AlcoholNamed,
    /// The unspecified member of a group by name.
    UnspecifiedNamed,
    /// More than a million mg/kg.
    SulphitesOutOfRange,
    /// More than 100 % vol.
    AlcoholOutOfRange,
}

impl StatementError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::SaysNothing => {
                say!("the statement says nothing: choose the list it was made by, or name what it contains")
            }
            Self::RepeatedList { list } => say!("the list of {list} is given twice", list = list.saying()),
            Self::Repeated { named } => say!("“{named}” is named twice", named),
            Self::ContainedAndPossible { named } => {
                say!("“{named}” cannot be under contains and under may contain: keep it where the label has it", named)
            }
            Self::AlcoholNamed => say!("alcohol is stated by its strength: enter the % vol, 0 where there is none"),
            Self::UnspecifiedNamed => {
                say!("where the label does not say which kind it is, name the group: tree nuts, or cereals with gluten")
            }
            Self::SulphitesOutOfRange => say!("sulphites cannot be more than 1000000 mg/kg"),
            Self::AlcoholOutOfRange => say!("the strength cannot be more than 100 % vol"),
        }
    }
}

speaks!(StatementError);

/// The answer to “is it in there?”, worst first.
///
/// There is none that says no: what nobody recorded may still be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Answer {
    /// It is in there.
    Contains,
    /// It may be in there.
    MayContain,
    /// Nobody has said.
    Unknown,
    /// Somebody whose list asks for it did not name it.
    NotRecorded,
}

impl Answer {
    /// Every answer, worst first.
    pub const ALL: [Self; 4] = [Self::Contains, Self::MayContain, Self::Unknown, Self::NotRecorded];

    /// The word for it in the database and in every answer.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Contains => "contains",
            Self::MayContain => "may_contain",
            Self::Unknown => "unknown",
            Self::NotRecorded => "not_recorded",
        }
    }

    /// The answer a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|answer| answer.word() == word)
    }
}

/// What is declared of something, as masks of substances. Where they overlap the worse one holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Declared {
    /// What is in there.
    pub contains: u64,
    /// What may be in there.
    pub may_contain: u64,
    /// What nobody has said.
    pub unknown: u64,
}

impl Declared {
    /// Of something nobody has stated anything about.
    pub const NOTHING_STATED: Self = Self { contains: 0, may_contain: 0, unknown: EVERY_SUBSTANCE };

    /// Whether a substance, or any member of a group, is in there.
    pub fn answer(&self, named: impl Into<Named>) -> Answer {
        self.answer_to(named.into().members())
    }

    /// The worst answer of the substances in a mask, such as that of a column. [`Answer::Unknown`] for an empty one.
    pub const fn answer_to(&self, mask: u64) -> Answer {
        if self.contains & mask != 0 {
            Answer::Contains
        } else if self.may_contain & mask != 0 {
            Answer::MayContain
        } else if self.unknown & mask != 0 || mask == 0 {
            Answer::Unknown
        } else {
            Answer::NotRecorded
        }
    }

    /// What a maker's own statement about a made item adds to what its ingredients say: never does it take away, nor
    /// make unknown what they settle.
    #[must_use]
    pub const fn additions(self) -> Self {
        Self { unknown: 0, ..self }
    }

    /// The same without overlaps.
    const fn disjoint(self) -> Self {
        let may_contain = self.may_contain & !self.contains;
        Self { may_contain, unknown: self.unknown & !self.contains & !may_contain, ..self }
    }
}

impl StatementGiven {
    /// What the statement comes to, or why it is not taken. The three masks do not overlap.
    ///
    /// - What is named is contained, or may be. What is not named and on one of the lists is neither. The rest is
    ///   unknown.
    /// - “Tree nuts” or “cereals with gluten” under contains: one of them is in there, so the unspecified member is
    ///   contained, and every member may be, also those on no list of the statement. It says so even beside a member:
    ///   “tree nuts, hazelnut” leaves the others possible. Where the label means hazelnut alone, name hazelnut alone.
    /// - “Walnuts” under contains: all four are contained, which is more than was said, and errs on the careful side.
    /// - Where a list has one name for several substances and one of them is named, its silence on the others says
    ///   nothing: a Canadian “walnut” leaves black walnut unknown.
    /// - Sulphites, if not named: by the figure, and the boundary of each list. A figure without a list that has a
    ///   boundary is held against the strictest, 10 mg/kg or more.
    /// - Alcohol: contained if the figure is above zero, unknown without one. No list covers it.
    pub fn check(&self) -> Result<Declared, StatementError> {
        self.refuse_nonsense()?;
        let named = members(&self.contains) | members(&self.may_contain);
        let mut declared = Declared {
            contains: contained(&self.contains),
            may_contain: named,
            unknown: EVERY_SUBSTANCE & !self.settled(named),
        };
        if let Some(ppm) = self.sulphites_ppm {
            settle(&mut declared, Substance::Sulphites, self.declares_sulphites(ppm));
        }
        if let Some(percent) = self.alcohol_percent_vol {
            settle(&mut declared, Substance::Alcohol, !percent.is_zero());
        }
        Ok(declared.disjoint())
    }

    fn refuse_nonsense(&self) -> Result<(), StatementError> {
        let figures = self.sulphites_ppm.is_some() || self.alcohol_percent_vol.is_some();
        if self.lists.is_empty() && self.contains.is_empty() && self.may_contain.is_empty() && !figures {
            return Err(StatementError::SaysNothing);
        }
        if let Some(list) = first_repeated(&self.lists) {
            return Err(StatementError::RepeatedList { list });
        }
        for names in [&self.contains, &self.may_contain] {
            names.iter().try_for_each(|named| refuse_name(*named))?;
            if let Some(named) = first_repeated(names) {
                return Err(StatementError::Repeated { named });
            }
        }
        if let Some(&named) = self.contains.iter().find(|named| self.may_contain.contains(named)) {
            return Err(StatementError::ContainedAndPossible { named });
        }
        if self.sulphites_ppm.is_some_and(|ppm| ppm > Decimal::from_integer(1_000_000)) {
            return Err(StatementError::SulphitesOutOfRange);
        }
        if self.alcohol_percent_vol.is_some_and(|percent| percent > Decimal::from_integer(100)) {
            return Err(StatementError::AlcoholOutOfRange);
        }
        Ok(())
    }

    /// What the lists leave no doubt about, given what is named.
    fn settled(&self, named: u64) -> u64 {
        let columns = self.lists.iter().flat_map(|list| list.columns());
        columns.fold(0, |settled, column| {
            settled | if column.mask & named == 0 { column.mask } else { column.mask & named }
        })
    }

    fn declares_sulphites(&self, ppm: Decimal) -> bool {
        let by_own_lists = self.lists.iter().filter_map(|list| list.declares_sulphites(ppm)).reduce(|a, b| a || b);
        // Canada's is the strictest. In the United States 21 CFR 101.100(a)(4) has the same 10 ppm (from memory).
        by_own_lists.or_else(|| AllergenList::Ca.declares_sulphites(ppm)).unwrap_or(true)
    }
}

/// A figure settles whether something is contained. It never takes back what is named.
fn settle(declared: &mut Declared, substance: Substance, contained: bool) {
    declared.unknown &= !substance.bit();
    if contained {
        declared.contains |= substance.bit();
    }
}

/// Everything named, with every member of the groups.
fn members(names: &[Named]) -> u64 {
    names.iter().fold(0, |mask, named| mask | named.members())
}

/// What is contained for certain when these are named as contained.
fn contained(names: &[Named]) -> u64 {
    names.iter().fold(0, |mask, named| {
        mask | match named {
            Named::Group(group) => group.unspecified().map_or(group.members(), Substance::bit),
            Named::Substance(substance) => substance.bit(),
        }
    })
}

fn refuse_name(named: Named) -> Result<(), StatementError> {
    match named {
        Named::Substance(Substance::Alcohol) => Err(StatementError::AlcoholNamed),
        Named::Substance(substance) if substance.is_unspecified() => Err(StatementError::UnspecifiedNamed),
        Named::Substance(_) | Named::Group(_) => Ok(()),
    }
}

fn first_repeated<T: Copy + PartialEq>(given: &[T]) -> Option<T> {
    given.iter().enumerate().find(|(position, one)| given[..*position].contains(one)).map(|(_, one)| *one)
}
