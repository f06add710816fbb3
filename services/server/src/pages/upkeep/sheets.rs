//! Sheets of the master data: which fields a noun has, read off a form as the operation takes them and put back as it answers.

use serde::de::DeserializeOwned;
use serde_json::{Map, Number, Value};
use tubtrail_domain::say;
use tubtrail_operations::OperationError;
use tubtrail_operations::reach::{self, Operation};
use tubtrail_operations::unreadable::in_plain_words;

use crate::body::field_at_fault;
use crate::pages::fields::Fields;
use crate::pages::figures::may_be_thousands;

/// A field of a sheet.
pub struct Spec {
    /// As the operation names it; what is part of something has a point in it.
    pub name: &'static str,
    /// What is typed into it.
    pub kind: Kind,
}

/// What is typed into a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A code, that never changes.
    Code,
    /// A line of text.
    Line,
    /// Several lines.
    Area,
    /// Yes or no.
    Flag,
    /// One of several words.
    One(&'static [&'static str]),
    /// Any of several words.
    Many(&'static [&'static str]),
    /// A site, by code.
    Site,
    /// An item, by code.
    Item,
    /// A number.
    Number,
    /// An amount that must not lose a digit.
    Amount,
    /// Any of the allergens, or everything.
    Allergens,
    /// The lines of a recipe.
    Lines,
}

/// A noun of the master data.
pub struct Sheet {
    /// As it stands in addresses.
    pub word: &'static str,
    /// Its fields, in order.
    pub specs: &'static [Spec],
    /// Who may add one.
    pub create: &'static Operation,
    /// Who may change one.
    pub change: &'static Operation,
}

macro_rules! specs {
    ($($name:literal $kind:expr),* $(,)?) => { &[$(Spec { name: $name, kind: $kind }),*] };
}

/// Lines of a recipe that a form has at least.
const LEAST_LINES: usize = 6;
/// Lines of a recipe at most.
const MOST_LINES: usize = 100;
const ITEM_KINDS: &[&str] = &["ingredient", "base", "component", "flavour"];

/// All of them.
pub const SHEETS: [Sheet; 7] = [
    Sheet {
        word: "sites",
        specs: specs![
            "code" Kind::Code, "name" Kind::Line, "kind" Kind::One(&["kitchen", "shop", "store_room", "vehicle"]),
            "time_zone" Kind::Line, "gln" Kind::Line, "address" Kind::Area, "active" Kind::Flag,
        ],
        create: &reach::CREATE_SITE,
        change: &reach::CHANGE_SITE,
    },
    Sheet {
        word: "partners",
        specs: specs![
            "code" Kind::Code, "name" Kind::Line, "supplies" Kind::Flag, "takes_tubs" Kind::Flag, "contact" Kind::Area,
            "gln" Kind::Line, "address" Kind::Area, "active" Kind::Flag,
        ],
        create: &reach::CREATE_PARTNER,
        change: &reach::CHANGE_PARTNER,
    },
    Sheet {
        word: "items",
        specs: specs![
            "code" Kind::Code, "name" Kind::Line, "kind" Kind::One(ITEM_KINDS),
            "counted.by" Kind::One(&["mass", "volume", "piece", "strength"]), "counted.density_kg_per_m3" Kind::Amount,
            "counted.piece_grams" Kind::Number, "counted.percent_vol" Kind::Amount, "counted.sweetened" Kind::Flag,
            "kept" Kind::One(&["ambient", "chilled", "milk_or_shell_eggs", "frozen"]),
            "warmest_arrival_celsius" Kind::Number, "portion_grams" Kind::Number, "shelf_life_days" Kind::Number,
            "warn_days" Kind::Number, "tracked" Kind::Flag, "active" Kind::Flag,
        ],
        create: &reach::CREATE_ITEM,
        change: &reach::CHANGE_ITEM,
    },
    Sheet {
        word: "recipes",
        specs: specs![
            "code" Kind::Code, "name" Kind::Line, "item" Kind::Item, "lines" Kind::Lines,
            "expected_yield_grams" Kind::Number, "maturing_minutes" Kind::Number, "method" Kind::Area,
            "active" Kind::Flag,
        ],
        create: &reach::CREATE_RECIPE,
        change: &reach::CHANGE_RECIPE,
    },
    Sheet {
        word: "equipment",
        specs: specs![
            "code" Kind::Code, "name" Kind::Line, "site" Kind::Site, "touches" Kind::Many(ITEM_KINDS),
            "active" Kind::Flag,
        ],
        create: &reach::CREATE_EQUIPMENT,
        change: &reach::CHANGE_EQUIPMENT,
    },
    Sheet {
        word: "clean-kinds",
        specs: specs!["code" Kind::Code, "name" Kind::Line, "clears" Kind::Allergens, "active" Kind::Flag],
        create: &reach::CREATE_CLEAN_KIND,
        change: &reach::CHANGE_CLEAN_KIND,
    },
    Sheet {
        word: "printers",
        specs: specs![
            "code" Kind::Code, "name" Kind::Line, "site" Kind::Site, "uri" Kind::Line,
            "size" Kind::One(&["60x40", "100x50"]), "dpi" Kind::Number, "any_certificate" Kind::Flag,
            "active" Kind::Flag,
        ],
        create: &reach::CREATE_PRINTER,
        change: &reach::CHANGE_PRINTER,
    },
];

impl Sheet {
    /// The one of a word.
    pub fn of(word: &str) -> Option<&'static Self> {
        SHEETS.iter().find(|sheet| sheet.word == word)
    }

    /// What a new one begins with.
    pub fn begin(&self) -> Fields {
        let is_usual = |spec: &&Spec| ["active", "tracked"].contains(&spec.name);
        self.specs.iter().filter(is_usual).map(|spec| (spec.name, "true")).collect()
    }

    /// What a form says, as the operation takes it.
    pub fn read(&self, fields: &Fields) -> Value {
        let mut whole = Map::new();
        for spec in self.specs {
            if let Some(value) = value(spec, fields) {
                put(&mut whole, spec.name, value);
            }
        }
        if let Some(version) = fields.get("version") {
            whole.insert("version".to_owned(), number(version));
        }
        Value::Object(whole)
    }

    /// What an answer says, for a form.
    pub fn show(&self, answer: &Value) -> Fields {
        let mut fields: Vec<(String, String)> = Vec::new();
        for spec in self.specs {
            let found = spec.name.split('.').try_fold(answer, |within, name| within.get(name));
            match (found, spec.kind) {
                (Some(Value::Array(lines)), Kind::Lines) => {
                    for (index, line) in lines.iter().enumerate() {
                        for part in ["item", "grams"] {
                            fields.push((format!("lines[{index}].{part}"), text(&line[part])));
                        }
                    }
                }
                (Some(Value::Array(words)), _) => {
                    fields.extend(words.iter().map(|word| (spec.name.to_owned(), text(word))));
                }
                (Some(Value::Bool(false) | Value::Null) | None, _) => {}
                (Some(one), _) => fields.push((spec.name.to_owned(), text(one))),
            }
        }
        fields.push(("version".to_owned(), text(&answer["version"])));
        fields.into_iter().collect()
    }

    /// Which field of the form shows a field of the operation, of which the form has sent these.
    pub fn place(&self, field: &str, fields: &Fields) -> Option<String> {
        if let Some((position, part)) = field.strip_prefix("lines[").and_then(|rest| rest.split_once("].")) {
            let line = position.parse().ok().and_then(|position| said_lines(fields).nth(position))?;
            return Some(format!("lines[{line}].{part}"));
        }
        if field == "lines" {
            return Some("lines[0].item".to_owned());
        }
        let names: Vec<&str> = self.specs.iter().map(|spec| spec.name).collect();
        crate::pages::forms::same_name(&names)(field)
    }
}

/// The lines of a recipe a form shows: those that are there, and some more.
pub fn lines_shown(fields: &Fields) -> usize {
    let last = said_lines(fields).max().map_or(0, |last| last + 1);
    (last + 3).clamp(LEAST_LINES, MOST_LINES)
}

/// The lines into which something was typed.
fn said_lines(fields: &Fields) -> impl Iterator<Item = usize> + '_ {
    (0..MOST_LINES).filter(|index| ["item", "grams"].iter().any(|part| line_part(fields, *index, part).is_some()))
}

fn line_part<'f>(fields: &'f Fields, index: usize, part: &str) -> Option<&'f str> {
    fields.get(&format!("lines[{index}].{part}"))
}

fn value(spec: &Spec, fields: &Fields) -> Option<Value> {
    let typed = fields.get(spec.name).map(str::trim).filter(|typed| !typed.is_empty());
    match spec.kind {
        // What belongs to one way of counting alone is not sent with the others.
        Kind::Flag if spec.name.contains('.') => typed.map(|_| Value::Bool(true)),
        Kind::Flag => Some(Value::Bool(typed.is_some())),
        Kind::Many(_) | Kind::Allergens => Some(fields.all(spec.name).map(Value::from).collect()),
        Kind::Lines => Some(said_lines(fields).map(|index| line(fields, index)).collect()),
        Kind::Number => typed.map(number),
        _ => typed.map(Value::from),
    }
}

fn line(fields: &Fields, index: usize) -> Value {
    let mut line = Map::new();
    line.extend(line_part(fields, index, "item").map(|item| ("item".to_owned(), Value::from(item))));
    line.extend(line_part(fields, index, "grams").map(|grams| ("grams".to_owned(), number(grams.trim()))));
    Value::Object(line)
}

/// A number, with a comma too; what is none for certain is handed on as it was typed, and refused by name.
fn number(typed: &str) -> Value {
    let plain = if may_be_thousands(typed) { typed.to_owned() } else { typed.replace(',', ".") };
    plain.parse::<Number>().map_or_else(|_| Value::from(typed), Value::Number)
}

fn put(whole: &mut Map<String, Value>, name: &str, value: Value) {
    match name.split_once('.') {
        None => drop(whole.insert(name.to_owned(), value)),
        Some((first, rest)) => {
            let inner = whole.entry(first).or_insert_with(|| Value::Object(Map::new()));
            if let Value::Object(inner) = inner {
                put(inner, rest, value);
            }
        }
    }
}

fn text(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Null => String::new(),
        other => other.to_string(),
    }
}

/// A noun of what a form said; refused by the name of the field.
pub fn noun<M: DeserializeOwned>(said: &Value) -> Result<M, OperationError> {
    serde_path_to_error::deserialize(said).map_err(|error| fault(&error))
}

fn fault(error: &serde_path_to_error::Error<serde_json::Error>) -> OperationError {
    let said = error.inner().to_string();
    let path = field_at_fault(error).unwrap_or_else(|| ".".to_owned());
    if said.starts_with("unknown field") {
        return OperationError::invalid(path, say!("this belongs to another choice: empty it, or choose that"));
    }
    let is_number_due =
        |due: &str| ["f64", "u32", "i32", "i64"].contains(&due.split(" at line ").next().unwrap_or(due));
    let detail = match said.split_once(", expected ") {
        _ if said.starts_with("missing field") => say!("this must not be empty"),
        Some((wrong, due)) if wrong.starts_with("invalid type: string") && is_number_due(due) => {
            say!("write it as a number, as in 4.2")
        }
        _ => in_plain_words(&said),
    };
    OperationError::invalid(path, detail)
}

#[cfg(test)]
mod tests {
    use serde_json::json;
    use tubtrail_operations::items::Item;
    use tubtrail_operations::recipes::Recipe;

    use super::{Kind, SHEETS, Sheet, noun};
    use crate::pages::fields::Fields;
    use crate::pages::texts::Texts;

    fn fields(pairs: &[(&str, &str)]) -> Fields {
        pairs.iter().copied().collect()
    }

    #[test]
    fn what_a_form_says_is_what_the_operation_takes() {
        let items = Sheet::of("items").expect("a sheet");
        let milk = fields(&[
            ("code", "milk"),
            ("name", "Milk"),
            ("kind", "ingredient"),
            ("counted.by", "volume"),
            ("counted.density_kg_per_m3", "1032"),
            ("counted.piece_grams", ""),
            ("kept", "chilled"),
            ("portion_grams", "80"),
            ("tracked", "true"),
        ]);
        let read = items.read(&milk);
        let expected = json!({"code": "milk", "name": "Milk", "kind": "ingredient", "tracked": true, "active": false,
            "counted": {"by": "volume", "density_kg_per_m3": "1032"}, "kept": "chilled", "portion_grams": 80});
        assert_eq!(read, expected);
        noun::<Item>(&read).expect("an item");
        let shown = items.show(&read);
        assert_eq!((shown.get("counted.by"), shown.get("active")), (Some("volume"), None));
    }

    #[test]
    fn a_fault_is_named_by_its_field() {
        let items = Sheet::of("items").expect("a sheet");
        let at = |pairs: &[(&str, &str)]| {
            let refused = noun::<Item>(&items.read(&fields(pairs))).expect_err("it is refused");
            items.place(refused.field.as_deref().unwrap_or(""), &fields(pairs))
        };
        let base = [("code", "milk"), ("kind", "base"), ("counted.by", "mass")];
        assert_eq!(at(&base).as_deref(), Some("name"), "nothing was typed");
        let warm = [("name", "Milk"), ("warmest_arrival_celsius", "cold")];
        assert_eq!(at(&[&base[..], &warm].concat()).as_deref(), Some("warmest_arrival_celsius"));
        let figure = [("name", "Milk"), ("counted.percent_vol", "40")];
        assert_eq!(at(&[&base[..], &figure].concat()).as_deref(), Some("counted.percent_vol"), "by mass alone");
    }

    #[test]
    fn every_field_and_every_word_has_its_text() {
        for (texts, sheet) in Texts::all().iter().flat_map(|texts| SHEETS.iter().map(move |sheet| (texts, sheet))) {
            assert!(texts.has(&format!("upkeep-{}", sheet.word)), "{}: {}", texts.tag, sheet.word);
            for spec in sheet.specs {
                let name = format!("field-{}", spec.name.replace('.', "-"));
                assert!(texts.has(&name), "{}: {name}", texts.tag);
                let (Kind::One(words) | Kind::Many(words)) = spec.kind else { continue };
                for word in words {
                    assert!(texts.has(&format!("word-{word}")), "{}: {word}", texts.tag);
                }
            }
        }
    }

    #[test]
    fn lines_left_empty_are_left_out_and_faults_still_find_their_line() {
        let recipes = Sheet::of("recipes").expect("a sheet");
        let typed = fields(&[
            ("code", "base"),
            ("item", "base"),
            ("name", "Base"),
            ("expected_yield_grams", "900"),
            ("lines[0].item", "milk"),
            ("lines[0].grams", "800"),
            ("lines[3].item", "sugar"),
            ("lines[3].grams", "a lot"),
        ]);
        let read = recipes.read(&typed);
        assert_eq!(read["lines"], json!([{"item": "milk", "grams": 800}, {"item": "sugar", "grams": "a lot"}]));
        let refused = noun::<Recipe>(&read).expect_err("it is refused");
        assert_eq!(refused.field.as_deref(), Some("lines[1].grams"));
        assert_eq!(recipes.place("lines[1].grams", &typed).as_deref(), Some("lines[3].grams"));
    }
}
