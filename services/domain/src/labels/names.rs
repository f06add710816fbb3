//! What the laws call the substances, and where a name of an ingredient already says which it is.

use crate::allergens::{AllergenList, Substance};

/// What a substance is called in a statement under a law. Small letters where the law has them.
///
/// Regulation (EU) 1169/2011 Annex II; FD&C Act 403(w)(1) and FDA's questions and answers, Edition 5, Table 1; Food
/// and Drug Regulations B.01.010.1(6), where Canada lets singular or plural stand. British spelling of sulphites,
/// which Canada allows among others in B.01.010.3(1)(b)(iii).
pub(super) const fn label_name(law: AllergenList, substance: Substance) -> &'static str {
    match (law, substance) {
        (AllergenList::Eu, Substance::Soy) => "soybeans",
        (AllergenList::Eu, Substance::Pecan) => "pecan nuts",
        (AllergenList::Eu, Substance::Pistachio) => "pistachio nuts",
        (AllergenList::Eu, Substance::Triticale) => "triticale (wheat, rye)",
        (AllergenList::Us, Substance::Triticale) => "wheat",
        (AllergenList::Us, Substance::Egg) => "egg",
        (AllergenList::Us, Substance::Crustaceans) => "crustacean shellfish",
        (AllergenList::Ca, Substance::BlackWalnut | Substance::CaliforniaWalnut | Substance::Heartnut) => "walnuts",
        _ => plain_name(substance),
    }
}

const fn plain_name(substance: Substance) -> &'static str {
    match substance {
        Substance::Egg => "eggs",
        Substance::Peanut => "peanuts",
        Substance::Almond => "almonds",
        Substance::Hazelnut => "hazelnuts",
        Substance::Walnut => "walnuts",
        Substance::BlackWalnut => "black walnuts",
        Substance::CaliforniaWalnut => "California walnuts",
        Substance::Heartnut => "heartnuts",
        Substance::Cashew => "cashews",
        Substance::Pecan => "pecans",
        Substance::BrazilNut => "Brazil nuts",
        Substance::Pistachio => "pistachios",
        Substance::Macadamia => "macadamia nuts",
        Substance::PineNut => "pine nuts",
        Substance::UnspecifiedTreeNut => "nuts (kind not known)",
        Substance::UnspecifiedGlutenCereal => "cereals with gluten (kind not known)",
        other => other.name(),
    }
}

/// What in the name of an ingredient refers to a substance clearly enough, in small letters.
const fn references(substance: Substance) -> &'static [&'static str] {
    match substance {
        Substance::Wheat => &["wheat"],
        Substance::Rye => &["rye"],
        Substance::Barley => &["barley"],
        Substance::Oats => &["oats", "oat"],
        Substance::Crustaceans => &["crustaceans", "crustacean"],
        Substance::Molluscs => &["molluscs", "mollusc"],
        Substance::Fish => &["fish"],
        Substance::Egg => &["eggs", "egg"],
        Substance::Milk => &["milk"],
        Substance::Peanut => &["peanuts", "peanut"],
        Substance::Soy => &["soybeans", "soybean", "soya", "soy"],
        Substance::Almond => &["almonds", "almond"],
        Substance::Hazelnut => &["hazelnuts", "hazelnut"],
        Substance::Walnut => &["walnuts", "walnut"],
        Substance::Cashew => &["cashews", "cashew"],
        Substance::Pecan => &["pecans", "pecan"],
        Substance::BrazilNut => &["brazil nuts", "brazil nut"],
        Substance::Pistachio => &["pistachios", "pistachio"],
        Substance::Macadamia => &["macadamias", "macadamia"],
        Substance::Celery => &["celery"],
        Substance::Mustard => &["mustard"],
        Substance::Sesame => &["sesame"],
        Substance::Lupin => &["lupin"],
        Substance::Sulphites => &["sulphites", "sulphite", "sulphur dioxide"],
        // Named by a word of their own in no list that is marked, or by no single word.
        Substance::Triticale
        | Substance::UnspecifiedGlutenCereal
        | Substance::BlackWalnut
        | Substance::CaliforniaWalnut
        | Substance::Heartnut
        | Substance::PineNut
        | Substance::UnspecifiedTreeNut
        | Substance::Coconut
        | Substance::Chestnut
        | Substance::Buckwheat
        | Substance::Alcohol => &[],
    }
}

/// “Coconut milk” refers to no milk, also where the ingredient contains some.
const MILKS_OF_PLANTS: [&str; 15] = [
    "almond",
    "cashew",
    "coconut",
    "hazelnut",
    "hemp",
    "macadamia",
    "nut",
    "oat",
    "oats",
    "pea",
    "pistachio",
    "rice",
    "soy",
    "soya",
    "walnut",
];

/// Where in the name of an ingredient a substance is referred to, as ranges of bytes.
pub(super) fn mentions(name: &str, substance: Substance) -> Vec<(usize, usize)> {
    let small = name.to_ascii_lowercase();
    let mut found: Vec<(usize, usize)> = Vec::new();
    for reference in references(substance) {
        for (start, matched) in small.match_indices(reference) {
            let end = start + matched.len();
            let covered = found.iter().any(|(from, to)| start < *to && *from < end);
            if !covered && is_whole_word(&small, start, end) && !is_milk_of_a_plant(&small, start, substance) {
                found.push((start, end));
            }
        }
    }
    found
}

fn is_whole_word(text: &str, start: usize, end: usize) -> bool {
    let before = text[..start].chars().next_back();
    let after = text[end..].chars().next();
    !before.is_some_and(char::is_alphanumeric) && !after.is_some_and(char::is_alphanumeric)
}

fn is_milk_of_a_plant(text: &str, start: usize, substance: Substance) -> bool {
    let before = text[..start].trim_end_matches(|character: char| !character.is_alphanumeric());
    let word = before.rsplit(|character: char| !character.is_alphanumeric()).next().unwrap_or("");
    substance == Substance::Milk && MILKS_OF_PLANTS.contains(&word)
}
