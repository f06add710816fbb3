//! The lists of the master data and their sheets: sites, partners, items, recipes, equipment, ways of cleaning, printers.

use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use serde_json::Value;
use tubtrail_domain::allergens::{Group, Substance};
use tubtrail_domain::say;
use tubtrail_operations::clean_kinds::CleanKind;
use tubtrail_operations::equipment::Equipment;
use tubtrail_operations::items::Item;
use tubtrail_operations::master_data::Master;
use tubtrail_operations::partners::Partner;
use tubtrail_operations::printers::Printer;
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::sites::Site;
use tubtrail_operations::{OperationError, Request, StorageError, Tubtrail, problems};

use super::sheets::{Kind, Sheet, Spec, lines_shown, noun};
use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::forms::{Form, see_said};
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::rights::{may_anywhere, may_everywhere};
use crate::pages::texts::Texts;
use crate::pages::visitor::{Sent, Visitor};

/// Rows of a page of a list.
const ROWS: u32 = 100;
/// Most sites and items to choose from.
const MOST_CHOICES: u32 = 500;
/// The address of what is new.
const NEW: &str = "new";

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(list_page).service(sheet_page).service(keep_sheet);
}

#[derive(Template)]
#[template(path = "upkeep_list.html")]
struct List {
    frame: Frame,
    sheet: &'static Sheet,
    rows: Vec<Row>,
    next: Option<String>,
    may_add: bool,
}

/// One of a list.
struct Row {
    code: String,
    name: String,
    active: bool,
}

#[derive(Template)]
#[template(path = "upkeep_sheet.html")]
struct SheetPage {
    frame: Frame,
    sheet: &'static Sheet,
    /// Its code; none where it is new.
    code: Option<String>,
    fields: Vec<Field>,
    form: Form,
    versions: Vec<Version>,
    may_keep: bool,
}

/// A field as it is shown.
struct Field {
    name: String,
    label: String,
    /// Which control it is.
    control: &'static str,
    choices: Vec<Choice>,
}

/// A word to choose.
struct Choice {
    value: String,
    text: String,
}

/// A version, with what it changed.
struct Version {
    number: String,
    changes: Vec<String>,
}

/// What is read of the house for a sheet.
struct Found {
    shown: Fields,
    versions: Vec<Value>,
    sites: Vec<Choice>,
    items: Vec<Choice>,
}

/// Calls a function of the noun of a word.
macro_rules! of_noun {
    ($word:expr, $call:ident($($given:expr),*)) => {
        match $word {
            "sites" => $call::<Site>($($given),*),
            "partners" => $call::<Partner>($($given),*),
            "items" => $call::<Item>($($given),*),
            "recipes" => $call::<Recipe>($($given),*),
            "equipment" => $call::<Equipment>($($given),*),
            "clean-kinds" => $call::<CleanKind>($($given),*),
            "printers" => $call::<Printer>($($given),*),
            _ => Err(no_such_list()),
        }
    };
}

fn no_such_list() -> OperationError {
    OperationError::new(&problems::NOT_FOUND, say!("there is no such list"))
}

fn named(request: &HttpRequest, word: &str) -> Result<&'static Sheet, Unable> {
    Sheet::of(word).ok_or_else(|| Unable::problem(request, no_such_list().into()))
}

/// A list.
#[get("/upkeep/{noun}")]
async fn list_page(house: House, visitor: Visitor, request: HttpRequest, word: web::Path<String>) -> Shown {
    let sheet = named(&request, &word)?;
    let after = Fields::parse(request.query_string().as_bytes()).get("after").unwrap_or("").to_owned();
    let asks = visitor.asks();
    let found = off_thread(move || {
        let tubtrail = &house.tubtrail;
        Ok((tubtrail.show_me(&asks)?, of_noun!(sheet.word, list(tubtrail, &asks, &after))?))
    });
    let (me, (rows, next)) = found.await.map_err(Unable::of(&request))?;
    let may_add = may_anywhere(&me, sheet.create);
    let page = List { frame: Frame::of(&visitor, &request, me), sheet, rows, next, may_add };
    Ok(render(actix_web::http::StatusCode::OK, &page))
}

/// A sheet, or an empty one.
#[get("/upkeep/{noun}/{code}")]
async fn sheet_page(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(String, String)>) -> Shown {
    let (word, code) = path.into_inner();
    let sheet = named(&request, &word)?;
    show(house, &visitor, &request, sheet, code, None).await
}

/// Adds one, or changes it: the whole sheet, as of the version it was read at.
#[post("/upkeep/{noun}/{code}")]
async fn keep_sheet(house: House, sent: Sent, request: HttpRequest, path: web::Path<(String, String)>) -> Shown {
    let (word, code) = path.into_inner();
    let sheet = named(&request, &word)?;
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let (inside, at, value) = (house.clone(), code.clone(), sheet.read(&fields));
    let done = off_thread(move || of_noun!(sheet.word, keep(&inside.tubtrail, &commands, &at, &value)));
    match done.await {
        Ok(code) => Ok(see_said(&format!("/upkeep/{word}/{code}"), "done")),
        Err(problem) => {
            let typed = fields.clone();
            let form = Form::refused(&visitor, fields, problem, |field| sheet.place(field, &typed));
            let form = form.map_err(Unable::of(&request))?;
            show(house, &visitor, &request, sheet, code, Some(form)).await
        }
    }
}

fn list<M: Master>(
    tubtrail: &Tubtrail,
    asks: &Request,
    after: &str,
) -> Result<(Vec<Row>, Option<String>), OperationError> {
    let page = tubtrail.list::<M>(asks, after, ROWS)?;
    let rows = page.items.iter().map(|one| {
        let one = value_of(one)?;
        let text = |name: &str| one[name].as_str().unwrap_or_default().to_owned();
        Ok(Row { code: text("code"), name: text("name"), active: one["active"] != Value::Bool(false) })
    });
    Ok((rows.collect::<Result<_, OperationError>>()?, page.next))
}

fn value_of<M: Master>(one: &M) -> Result<Value, OperationError> {
    Ok(serde_json::to_value(one).map_err(StorageError::from)?)
}

fn read<M: Master>(tubtrail: &Tubtrail, asks: &Request, code: &str) -> Result<Vec<Value>, OperationError> {
    tubtrail.versions::<M>(asks, code)?.iter().map(value_of).collect()
}

fn keep<M: Master>(
    tubtrail: &Tubtrail,
    commands: &Request,
    code: &str,
    value: &Value,
) -> Result<String, OperationError> {
    let one: M = noun(value)?;
    let done = if code == NEW { tubtrail.create(commands, one)? } else { tubtrail.change(commands, code, one)? };
    Ok(done.answer.code().to_owned())
}

fn find(tubtrail: &Tubtrail, asks: &Request, sheet: &'static Sheet, code: &str) -> Result<Found, OperationError> {
    let versions = if code == NEW { Vec::new() } else { of_noun!(sheet.word, read(tubtrail, asks, code))? };
    let has = |kinds: &[Kind]| sheet.specs.iter().any(|spec| kinds.contains(&spec.kind));
    let sites = if has(&[Kind::Site]) { tubtrail.list::<Site>(asks, "", MOST_CHOICES)?.items } else { Vec::new() };
    let items =
        if has(&[Kind::Item, Kind::Lines]) { tubtrail.list::<Item>(asks, "", MOST_CHOICES)?.items } else { Vec::new() };
    Ok(Found {
        shown: versions.last().map_or_else(|| sheet.begin(), |last| sheet.show(last)),
        versions,
        sites: sites.into_iter().map(|site| Choice { value: site.code, text: site.name }).collect(),
        items: items.into_iter().map(|item| Choice { value: item.code, text: item.name }).collect(),
    })
}

async fn show(
    house: House,
    visitor: &Visitor,
    request: &HttpRequest,
    sheet: &'static Sheet,
    code: String,
    refused: Option<Form>,
) -> Shown {
    let (asks, at) = (visitor.asks(), code.clone());
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, find(&house.tubtrail, &asks, sheet, &at)?)));
    let (me, found) = found.await.map_err(Unable::of(request))?;
    let is_new = code == NEW;
    let form = refused.unwrap_or_else(|| Form::new(visitor, found.shown.clone()));
    let may_keep = may_everywhere(&me, if is_new { sheet.create } else { sheet.change })
        || may_anywhere(&me, if is_new { sheet.create } else { sheet.change });
    let page = SheetPage {
        fields: sheet.specs.iter().flat_map(|spec| fields(visitor.texts, spec, form.fields(), &found)).collect(),
        versions: versions(visitor.texts, sheet, &found.versions),
        frame: Frame::of(visitor, request, me),
        code: (!is_new).then_some(code),
        sheet,
        form,
        may_keep,
    };
    Ok(render(page.form.status(), &page))
}

/// A field of a sheet; of a recipe's lines, two for each.
fn fields(texts: &Texts, spec: &Spec, typed: &Fields, found: &Found) -> Vec<Field> {
    let words = |words: &[&str]| -> Vec<Choice> {
        let choice = |word: &&str| Choice { value: (*word).to_owned(), text: texts.say(&word_text(word)).into_owned() };
        words.iter().map(choice).collect()
    };
    let copy = |choices: &[Choice]| -> Vec<Choice> {
        choices.iter().map(|one| Choice { value: one.value.clone(), text: one.text.clone() }).collect()
    };
    let label = |name: &str| texts.say(&format!("field-{}", name.replace('.', "-"))).into_owned();
    let one = |control, choices| vec![Field { name: spec.name.to_owned(), label: label(spec.name), control, choices }];
    match spec.kind {
        Kind::Code => one("code", Vec::new()),
        Kind::Line => one("line", Vec::new()),
        Kind::Area => one("area", Vec::new()),
        Kind::Number | Kind::Amount => one("number", Vec::new()),
        Kind::Flag => one("flag", Vec::new()),
        Kind::One(of) => one("one", words(of)),
        Kind::Many(of) => one("many", words(of)),
        Kind::Site => one("one", copy(&found.sites)),
        Kind::Item => one("one", copy(&found.items)),
        Kind::Allergens => one("many", allergens(texts)),
        Kind::Lines => (0..lines_shown(typed))
            .flat_map(|line| {
                let number = (line + 1).to_string();
                let part = |of: &str, control, choices| Field {
                    name: format!("lines[{line}].{of}"),
                    label: texts.say_of(&format!("field-line-{of}"), "line", &number).into_owned(),
                    control,
                    choices,
                };
                [part("item", "one", copy(&found.items)), part("grams", "number", Vec::new())]
            })
            .collect(),
    }
}

fn word_text(word: &str) -> String {
    format!("word-{word}")
}

/// What a clean may be shown to clear: everything, or these.
fn allergens(texts: &Texts) -> Vec<Choice> {
    let named = |word: &str| Choice { value: word.to_owned(), text: texts.say(word).into_owned() };
    let everything = Choice { value: "everything".to_owned(), text: texts.say("word-everything").into_owned() };
    let groups = Group::ALL.into_iter().map(|group| named(group.word()));
    let substances = Substance::ALL.into_iter().filter(|one| !one.is_unspecified()).map(|one| named(one.word()));
    std::iter::once(everything).chain(groups).chain(substances).collect()
}

/// The versions, the newest first, each with what it changed.
fn versions(texts: &Texts, sheet: &Sheet, all: &[Value]) -> Vec<Version> {
    let mut shown: Vec<Version> = all
        .iter()
        .enumerate()
        .map(|(index, version)| {
            let before = index.checked_sub(1).map(|before| sheet.show(&all[before]));
            let changes = before.map_or_else(Vec::new, |before| changes(texts, sheet, &before, &sheet.show(version)));
            Version { number: version["version"].to_string(), changes }
        })
        .collect();
    shown.reverse();
    shown
}

/// What stands otherwise than before, field by field.
fn changes(texts: &Texts, sheet: &Sheet, before: &Fields, after: &Fields) -> Vec<String> {
    let said = |fields: &Fields, spec: &Spec| -> String {
        let of_it = |name: &str| name == spec.name || (spec.kind == Kind::Lines && name.starts_with("lines["));
        let values: Vec<&str> = fields.iter().filter(|(name, _)| of_it(name)).map(|(_, value)| value).collect();
        if values.is_empty() { "–".to_owned() } else { values.join(" ") }
    };
    let differs = |spec: &&Spec| said(before, spec) != said(after, spec);
    let told = |spec: &Spec| {
        let label = texts.say(&format!("field-{}", spec.name.replace('.', "-"))).into_owned();
        format!("{label}: {} → {}", said(before, spec), said(after, spec))
    };
    sheet.specs.iter().filter(differs).map(told).collect()
}

impl SheetPage {
    fn title(&self) -> String {
        format!("upkeep-{}", self.sheet.word)
    }

    /// A code never changes.
    fn is_fixed(&self, field: &Field) -> bool {
        field.control == "code" && self.code.is_some()
    }

    fn holds(&self, field: &Field, choice: &Choice) -> bool {
        self.form.holds(&field.name, &choice.value)
    }
}

impl List {
    fn title(&self) -> String {
        format!("upkeep-{}", self.sheet.word)
    }
}
