//! The journal as a page: day by day, by whom, and what each entry wrote.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, web};
use askama::Template;
use chrono::{NaiveDate, NaiveTime};
use tubtrail_domain::say;
use tubtrail_operations::OperationError;
use tubtrail_operations::journal::{JournalEntry, JournalSearch};

use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::figures::Wall;
use crate::pages::forms::{Form, same_name};
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::texts::Texts;
use crate::pages::visitor::Visitor;

/// Entries of a page.
const ROWS: u32 = 50;
/// Most of an answer that is shown, in characters.
const LONGEST: usize = 4000;

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(journal_page);
}

#[derive(Template)]
#[template(path = "upkeep_journal.html")]
struct Page {
    frame: Frame,
    days: Vec<Day>,
    form: Form,
    /// The address of the entries before these.
    earlier: Option<String>,
}

/// A day of the journal, by the world's wall.
struct Day {
    day: NaiveDate,
    entries: Vec<Entry>,
}

/// An entry.
struct Entry {
    seq: i64,
    time: String,
    actor: String,
    operation: String,
    site: Option<String>,
    /// The rows it brought, by table.
    wrote: String,
    /// The answer that was given.
    answer: Option<String>,
    hash: String,
}

/// The newest entries, or those before a day or an entry, by somebody.
#[get("/upkeep/journal")]
async fn journal_page(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let fields = Fields::parse(request.query_string().as_bytes());
    let (asks, asked) = (visitor.asks(), fields.clone());
    let found = off_thread(move || {
        let me = house.tubtrail.show_me(&asks)?;
        Ok((me, search(&asked).and_then(|search| house.tubtrail.list_journal(&asks, &search, ROWS))))
    });
    let (me, found) = found.await.map_err(Unable::of(&request))?;
    let (found, form) = match found {
        Ok(found) => (Some(found), Form::new(&visitor, fields.clone())),
        Err(error) => {
            let form = Form::refused(&visitor, fields.clone(), error.into(), same_name(&["day", "actor", "operation"]));
            (None, form.map_err(Unable::of(&request))?)
        }
    };
    let next = found.as_ref().and_then(|found| found.next);
    let page = Page {
        earlier: next.map(|next| earlier(&fields, next)),
        days: days(visitor.texts, found.map_or_else(Vec::new, |found| found.items)),
        frame: Frame::of(&visitor, &request, me),
        form,
    };
    Ok(render(page.form.status().max(StatusCode::OK), &page))
}

fn search(fields: &Fields) -> Result<JournalSearch, OperationError> {
    let text = |name: &str| fields.get(name).map(|text| text.trim().to_owned());
    let wrong = |_| OperationError::invalid("day", say!("write a day as 2026-11-25"));
    let day = text("day").map(|day| day.parse::<NaiveDate>().map_err(wrong)).transpose()?;
    Ok(JournalSearch {
        before: fields.get("before").and_then(|before| before.parse().ok()),
        // Who is meant is a person, unless it is said otherwise.
        actor: text("actor")
            .map(|actor| if actor.contains(':') || actor == "system" { actor } else { format!("user:{actor}") }),
        operation: text("operation"),
        site: None,
        until: day.and_then(|day| day.succ_opt()).map(|next| next.and_time(NaiveTime::MIN).and_utc()),
    })
}

fn earlier(fields: &Fields, before: i64) -> String {
    let kept = fields.iter().filter(|(name, value)| *name != "before" && !value.is_empty());
    let before = before.to_string();
    let query: Fields = kept.chain([("before", before.as_str())]).collect();
    format!("/upkeep/journal?{query}")
}

fn days(texts: &Texts, entries: Vec<JournalEntry>) -> Vec<Day> {
    let wall = Wall::of_the_world();
    let mut days: Vec<Day> = Vec::new();
    for entry in entries {
        let day = wall.day(entry.recorded_at);
        if days.last().is_none_or(|last| last.day != day) {
            days.push(Day { day, entries: Vec::new() });
        }
        if let Some(last) = days.last_mut() {
            last.entries.push(shown(texts, entry));
        }
    }
    days
}

/// What an operation did, in words; its name, where this program does not know it.
fn did(texts: &Texts, operation: &str) -> String {
    let name = format!("did-{operation}");
    if texts.has(&name) { texts.say(&name).into_owned() } else { operation.replace('_', " ") }
}

fn shown(texts: &Texts, entry: JournalEntry) -> Entry {
    let mut tables: BTreeMap<&str, i64> = BTreeMap::new();
    for change in &entry.changes {
        *tables.entry(&change.table).or_default() += change.count;
    }
    let wrote = tables.into_iter().map(|(table, count)| format!("{count} × {}", table.replace('_', " ")));
    Entry {
        seq: entry.seq,
        time: entry.recorded_at.format("%H:%M:%S UTC").to_string(),
        operation: did(texts, &entry.operation),
        site: entry.site,
        wrote: wrote.collect::<Vec<_>>().join(", "),
        answer: entry.answer.map(|answer| format!("{answer:#}").chars().take(LONGEST).collect()),
        actor: entry.actor,
        hash: entry.hash,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::Value;
    use tubtrail_operations::reach::ONLY_READ;

    use super::Texts;

    #[test]
    fn whatever_leaves_an_entry_has_words_in_every_language() {
        let description = include_str!("../../../../../openapi/tubtrail.json");
        let description: Value = serde_json::from_str(description).expect("a description");
        let paths = description["paths"].as_object().expect("paths");
        let methods = paths.values().flat_map(|path| path.as_object().expect("methods"));
        let commands = methods.filter(|(method, _)| *method != "get").map(|(_, operation)| &operation["operationId"]);
        let commands: Vec<&str> = commands.map(|id| id.as_str().expect("an id")).collect();
        assert!(commands.len() > 60, "{} commands", commands.len());
        for id in commands.into_iter().filter(|id| ONLY_READ.iter().all(|only| only.id != *id)) {
            for texts in Texts::all() {
                assert!(texts.has(&format!("did-{id}")), "{}: {id}", texts.tag);
            }
        }
    }
}
