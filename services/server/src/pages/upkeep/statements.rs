//! Statements: what is missing of them, those there are, and writing one down.

use std::borrow::Cow;

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use chrono::NaiveDate;
use tubtrail_domain::allergens::{Group, Substance};
use tubtrail_domain::say;
use tubtrail_operations::allergen_words::AllergenList;
use tubtrail_operations::items::{Item, ItemKind};
use tubtrail_operations::master_data::MOST;
use tubtrail_operations::partners::Partner;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::reach;
use tubtrail_operations::statement_gaps::{GapsAsked, StatementGaps};
use tubtrail_operations::statements::{NewStatement, Statement, StatementsAsked};
use tubtrail_operations::{OperationError, Request, Tubtrail};

use super::proteins;
use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::figures::number;
use crate::pages::forms::{Form, same_name, see_said};
use crate::pages::names::Names;
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::rights::may_anywhere;
use crate::pages::texts::Texts;
use crate::pages::visitor::{Sent, Visitor};

/// Statements of a page.
const ROWS: u32 = 100;
/// Whose lists there are, with the names of their texts.
const LISTS: [(AllergenList, &str, &str); 3] =
    [(AllergenList::Eu, "eu", "list-eu"), (AllergenList::Us, "us", "list-us"), (AllergenList::Ca, "ca", "list-ca")];
/// The fields of the form.
const NAMES: [&str; 12] = [
    "item",
    "supplier",
    "lot",
    "in_force_from",
    "lists",
    "contains",
    "may_contain",
    "sulphites_ppm",
    "alcohol_percent_vol",
    "document",
    "note",
    "reason",
];

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(statements_page).service(statement_page).service(write_statement);
}

#[derive(Template)]
#[template(path = "upkeep_statements.html")]
struct Overview {
    frame: Frame,
    gaps: StatementGaps,
    items: Names,
    suppliers: Names,
    statements: Vec<Statement>,
    next: Option<String>,
    may_write: bool,
}

#[derive(Template)]
#[template(path = "upkeep_statement.html")]
struct Writing {
    frame: Frame,
    items: Vec<Item>,
    suppliers: Vec<Partner>,
    words: Vec<Word>,
    /// What may hold protein.
    with_protein: Vec<Word>,
    form: Form,
    /// The one that is put right.
    corrects: Option<Statement>,
    may_write: bool,
}

/// An allergen, or a group of them.
struct Word {
    word: &'static str,
    text: String,
}

/// What is missing, and what there is.
#[get("/upkeep/statements")]
async fn statements_page(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let after = Fields::parse(request.query_string().as_bytes()).get("after").unwrap_or("").to_owned();
    let asks = visitor.asks();
    let found = off_thread(move || {
        let tubtrail = &house.tubtrail;
        let asked = StatementsAsked { item: None, supplier: None, lot: None, corrected_too: false, after, limit: ROWS };
        let gaps = tubtrail.list_statement_gaps(&asks, &GapsAsked::default())?;
        let statements = tubtrail.list_statements(&asks, &asked)?;
        let items = gaps.lots.iter().map(|lot| &lot.item).chain(statements.items.iter().map(|one| &one.item));
        let items = Names::of_items(tubtrail, &asks, items.map(String::as_str))?;
        let suppliers = Names::of_partners(tubtrail, &asks)?;
        Ok((tubtrail.show_me(&asks)?, gaps, items, suppliers, statements))
    });
    let (me, gaps, items, suppliers, found) = found.await.map_err(Unable::of(&request))?;
    let page = Overview {
        may_write: may_anywhere(&me, &reach::CREATE_STATEMENT),
        frame: Frame::of(&visitor, &request, me),
        gaps,
        items,
        suppliers,
        statements: found.items,
        next: found.next,
    };
    Ok(render(StatusCode::OK, &page))
}

/// A new one; of what is known of it already, or in place of another.
#[get("/upkeep/statements/new")]
async fn statement_page(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let form = Form::new(&visitor, Fields::parse(request.query_string().as_bytes()));
    show(house, &visitor, &request, form, true).await
}

/// Writes one down.
#[post("/upkeep/statements/new")]
async fn write_statement(house: House, sent: Sent, request: HttpRequest) -> Shown {
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let (inside, given, texts) = (house.clone(), fields.clone(), visitor.texts);
    match off_thread(move || inside.tubtrail.create_statement(&commands, statement(texts, &given)?)).await {
        Ok(_) => Ok(see_said("/upkeep/statements", "done")),
        Err(problem) => {
            let typed = fields.clone();
            let place = |field: &str| proteins::place(field, &typed).or_else(|| same_name(&NAMES)(field));
            let form = Form::refused(&visitor, fields, problem, place).map_err(Unable::of(&request))?;
            show(house, &visitor, &request, form, false).await
        }
    }
}

fn statement(texts: &Texts, fields: &Fields) -> Result<NewStatement, OperationError> {
    let text = |name: &str| fields.get(name).map(|text| text.trim().to_owned());
    let all = |name: &str| fields.all(name).map(str::to_owned).collect();
    let figure = |name: &str| text(name).map(|typed| Amount(number(texts, &typed)));
    let day = text("in_force_from").map(|day| day.parse::<NaiveDate>()).transpose();
    let lists = LISTS.into_iter().filter(|(_, word, _)| fields.all("lists").any(|said| said == *word));
    Ok(NewStatement {
        item: text("item"),
        supplier: text("supplier"),
        lot: text("lot"),
        in_force_from: day.map_err(|_| OperationError::invalid("in_force_from", say!("write a day as 2026-11-25")))?,
        lists: lists.map(|(list, ..)| list).collect(),
        contains: all("contains"),
        may_contain: all("may_contain"),
        sulphites_ppm: figure("sulphites_ppm"),
        alcohol_percent_vol: figure("alcohol_percent_vol"),
        proteins: proteins::read(texts, fields),
        document: text("document").unwrap_or_default(),
        note: text("note"),
        corrects: text("corrects").and_then(|id| id.parse().ok()),
        reason: text("reason"),
    })
}

/// What is read of the house for the form.
struct Found {
    items: Vec<Item>,
    suppliers: Vec<Partner>,
    corrects: Option<Statement>,
}

fn find(tubtrail: &Tubtrail, asks: &Request, corrects: Option<i64>) -> Result<Found, OperationError> {
    let (mut items, mut after) = (Vec::new(), String::new());
    loop {
        let page = tubtrail.list::<Item>(asks, &after, MOST)?;
        items.extend(page.items.into_iter().filter(|item| item.active && item.kind == ItemKind::Ingredient));
        let Some(next) = page.next else { break };
        after = next;
    }
    let mut suppliers = tubtrail.list::<Partner>(asks, "", MOST)?.items;
    suppliers.retain(|partner| partner.active && partner.supplies);
    let corrects = corrects.map(|id| tubtrail.get_statement(asks, id)).transpose()?;
    Ok(Found { items, suppliers, corrects })
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, form: Form, is_first: bool) -> Shown {
    let asks = visitor.asks();
    let corrects = form.fields().get("corrects").and_then(|id| id.parse().ok());
    let today = chrono::Utc::now().date_naive();
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, find(&house.tubtrail, &asks, corrects)?)));
    let (me, found) = found.await.map_err(Unable::of(request))?;
    let form = if is_first { begun(visitor, &form, found.corrects.as_ref(), today) } else { form };
    let page = Writing {
        may_write: may_anywhere(&me, &reach::CREATE_STATEMENT),
        frame: Frame::of(visitor, request, me),
        items: found.items,
        suppliers: found.suppliers,
        corrects: found.corrects,
        words: words(visitor.texts),
        with_protein: with_protein(visitor.texts),
        form,
    };
    Ok(render(page.form.status(), &page))
}

/// What a form begins with: what the one says that is put right, else today. By whose list it is made nobody else can say: with
/// one chosen beforehand, a statement sent too early would state that nothing is in there.
fn begun(visitor: &Visitor, form: &Form, corrects: Option<&Statement>, today: NaiveDate) -> Form {
    let mut fields: Vec<(String, String)> =
        form.fields().iter().map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
    if let Some(was) = corrects {
        fields.extend(proteins::written(&was.proteins));
    }
    let mut add = |name: &str, value: String| fields.push((name.to_owned(), value));
    let Some(was) = corrects else {
        add("in_force_from", today.to_string());
        return Form::new(visitor, fields.into_iter().collect());
    };
    add("item", was.item.clone());
    add("document", was.document.clone());
    for (list, word, _) in LISTS {
        if was.lists.contains(&list) {
            add("lists", word.to_owned());
        }
    }
    for (name, words) in [("contains", &was.contains), ("may_contain", &was.may_contain)] {
        for word in words {
            add(name, word.clone());
        }
    }
    let day = was.in_force_from.map(|day| day.to_string());
    let rest = [
        ("supplier", &was.supplier),
        ("lot", &was.lot),
        ("in_force_from", &day),
        ("sulphites_ppm", &was.sulphites_ppm),
        ("alcohol_percent_vol", &was.alcohol_percent_vol),
        ("note", &was.note),
    ];
    for (name, value) in rest {
        if let Some(value) = value {
            add(name, value.clone());
        }
    }
    Form::new(visitor, fields.into_iter().collect())
}

/// Everything that can be named; for the kinds nobody names, their groups speak, and for alcohol its strength.
fn words(texts: &Texts) -> Vec<Word> {
    let groups = Group::ALL.into_iter().map(Group::word);
    let can_be_named = |one: &Substance| !one.is_unspecified() && *one != Substance::Alcohol;
    let substances = Substance::ALL.into_iter().filter(can_be_named).map(Substance::word);
    groups.chain(substances).map(|word| Word { word, text: texts.say(word).into_owned() }).collect()
}

fn with_protein(texts: &Texts) -> Vec<Word> {
    let substances = Substance::ALL.into_iter().filter(|one| proteins::has_protein(*one)).map(Substance::word);
    substances.map(|word| Word { word, text: texts.say(word).into_owned() }).collect()
}

impl Writing {
    fn protein_rows(&self) -> usize {
        proteins::rows_shown(self.form.fields())
    }
}

impl Overview {
    fn words(&self, words: &[String]) -> String {
        words.iter().map(|word| self.frame.texts.say(word).into_owned()).collect::<Vec<_>>().join(", ")
    }

    /// What a statement says, in words; what it says nothing of is left out.
    fn says(&self, one: &Statement) -> Vec<String> {
        let says = &one.says;
        let parts = [
            ("answer-contains", &says.contains),
            ("answer-may_contain", &says.may_contain),
            ("answer-unknown", &says.unknown),
        ];
        let said = parts.into_iter().filter(|(_, words)| !words.is_empty());
        let said = said.map(|(name, words)| self.frame.texts.say_of(name, "what", self.words(words)).into_owned());
        let proteins = one.proteins.iter().map(|protein| {
            let what = self.frame.texts.say(&protein.allergen);
            self.frame.texts.say_with("statement-protein", &[("what", &*what), ("percent", protein.percent.0.as_str())])
        });
        said.chain(proteins.map(Cow::into_owned)).collect()
    }
}
