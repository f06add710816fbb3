//! The words of a recall: how grave it is, and what became of each lot.

/// How grave a recall is, as the authority that ordered or classed it says.
///
/// The classes mean nearly the same in two laws, and neither gives a maker the right to choose: the authority does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum RecallClass {
    /// United States, class I: a reasonable probability of serious harm or death (21 CFR 7.3(m), from memory).
    /// Canada, class 1: a high risk of serious health problems or death (CFIA, Food Recall Fact Sheet).
    First,
    /// United States, class II: temporary harm, or serious harm but remote (21 CFR 7.3(m), from memory).
    /// Canada, class 2: a moderate risk of short-term or non-life-threatening health problems (CFIA).
    Second,
    /// United States, class III: harm not likely (21 CFR 7.3(m), from memory). Canada, class 3: a low risk or none
    /// (CFIA).
    Third,
}

impl RecallClass {
    /// Every class, the gravest first.
    pub const ALL: [Self; 3] = [Self::First, Self::Second, Self::Third];

    /// Its number, 1 to 3, as it is stored.
    pub const fn number(self) -> u8 {
        match self {
            Self::First => 1,
            Self::Second => 2,
            Self::Third => 3,
        }
    }

    /// The class of a number, 1 to 3.
    pub fn from_number(number: i64) -> Option<Self> {
        Self::ALL.into_iter().find(|class| i64::from(class.number()) == number)
    }
}

/// What became of a lot that a recall reached, at one place, as somebody confirmed it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Outcome {
    /// It was found, and put aside.
    Found,
    /// It was found, and destroyed.
    Destroyed,
    /// It was looked for, and not found.
    NotFound,
    /// It is not there, and it is known why: eaten, handed over, returned.
    Explained,
}

impl Outcome {
    /// Every outcome, in the order a form should offer them.
    pub const ALL: [Self; 4] = [Self::Found, Self::Destroyed, Self::NotFound, Self::Explained];

    /// The word for it in the database and in every answer.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Found => "found",
            Self::Destroyed => "destroyed",
            Self::NotFound => "not_found",
            Self::Explained => "explained",
        }
    }

    /// The outcome a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|outcome| outcome.word() == word)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_are_one_to_three_and_the_first_is_the_gravest() {
        assert_eq!(RecallClass::ALL.map(RecallClass::number), [1, 2, 3]);
        assert_eq!([0, 1, 2, 3, 4, -1, 257].map(RecallClass::from_number), {
            let [first, second, third] = RecallClass::ALL.map(Some);
            [None, first, second, third, None, None, None]
        });
        assert!(RecallClass::First < RecallClass::Third);
    }

    #[test]
    fn outcomes_are_read_back() {
        assert_eq!(Outcome::ALL.map(Outcome::word), ["found", "destroyed", "not_found", "explained"]);
        assert_eq!(Outcome::ALL.map(|outcome| Outcome::from_word(outcome.word())), Outcome::ALL.map(Some));
        assert_eq!(Outcome::from_word("Found"), None);
    }
}
