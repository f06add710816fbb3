//! Taking in a file: chosen and sent, watched while it is read, and told row by row where it was refused.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use tubtrail_domain::say;
use tubtrail_domain::saying::{Gap, Saying};
use tubtrail_operations::imports::{GUIDE, Imported, NOUNS};
use tubtrail_operations::reach;
use tubtrail_operations::{Fault, OperationError, problems};

use crate::body::LARGEST;
use crate::house::{House, off_thread};
use crate::jobs::{Job, JobOutcome, Jobs};
use crate::pages::elsewhere::not_here;
use crate::pages::fields::Fields;
use crate::pages::forms::{Form, same_name};
use crate::pages::marks::{digest, digest_of};
use crate::pages::page::{Frame, Shown, Unable, render, see};
use crate::pages::rights::may_everywhere;
use crate::pages::texts::{Said, Texts};
use crate::pages::upload::SentFiles;
use crate::pages::visitor::{ONCE, Visitor};
use crate::problem::Problem;

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(import_page).service(import_file).service(job_page).service(job_part);
}

#[derive(Template)]
#[template(path = "upkeep_import.html")]
struct Choosing {
    frame: Frame,
    form: Form,
    may_import: bool,
    /// What a file may hold, with its columns.
    columns: Vec<(&'static str, String)>,
}

#[derive(Template)]
#[template(path = "upkeep_job.html")]
struct Watching {
    frame: Frame,
    id: String,
    file: String,
    part: Progress,
}

/// How far it is, or what came of it.
#[derive(Template)]
#[template(path = "upkeep_job_part.html")]
struct Progress {
    texts: &'static Texts,
    noun: String,
    done: usize,
    rows: usize,
    outcome: Option<JobOutcome>,
}

/// The same, of one that is not known here: the next look may find the process that is at it.
#[derive(Template)]
#[template(path = "upkeep_job_unknown.html")]
struct Unknown {
    texts: &'static Texts,
}

/// What is said where an import is not known, and where what it wrote can be seen.
const ELSEWHERE: (&str, &str) = ("import", "/upkeep/journal?operation=import_master_data");

/// What to send.
#[get("/upkeep/import")]
async fn import_page(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let form = Form::new(&visitor, Fields::default());
    show(house, &visitor, &request, form).await
}

/// Begins to take a file in.
#[post("/upkeep/import")]
async fn import_file(house: House, sent: SentFiles, request: HttpRequest) -> Shown {
    let SentFiles { sent, files } = sent;
    let digest = digest_of(files.first().map_or(&[][..], |file| file.bytes.as_slice()));
    let commands = sent.commands_part(request.path(), &digest);
    let (visitor, fields) = (sent.visitor, sent.fields);
    let begun = begin(&house, commands, &fields, &digest, files.into_iter().next().map(|file| (file.name, file.bytes)));
    match begun {
        Ok(id) => Ok(see(&format!("/upkeep/import/{id}"))),
        Err(problem) => {
            let form = Form::refused(&visitor, fields, problem, same_name(&["noun", "file"]));
            show(house, &visitor, &request, form.map_err(Unable::of(&request))?).await
        }
    }
}

fn begin(
    house: &House,
    commands: tubtrail_operations::Request,
    fields: &Fields,
    digest_of_file: &str,
    file: Option<(String, Vec<u8>)>,
) -> Result<String, Problem> {
    commands.actor.may_everywhere(&reach::IMPORT_MASTER_DATA)?;
    let noun = fields.get("noun").filter(|noun| NOUNS.contains(noun));
    let noun = noun.ok_or_else(|| OperationError::invalid("noun", say!("say what is in the file")))?;
    let file = file.ok_or_else(|| OperationError::invalid("file", say!("choose a file")))?;
    if file.1.len() > LARGEST {
        let detail = say!("at most {most} bytes are taken: split the file", most = LARGEST);
        return Err(OperationError::new(&problems::TOO_LARGE, detail).at("file").into());
    }
    // The same file from the same form is the same job.
    let id = digest(&[fields.get(ONCE).unwrap_or(""), noun, digest_of_file]);
    Jobs::import(house, commands, id.clone(), noun.to_owned(), file)?;
    Ok(id)
}

/// An import.
#[get("/upkeep/import/{id}")]
async fn job_page(house: House, visitor: Visitor, request: HttpRequest, id: web::Path<String>) -> Shown {
    let Some(job) = house.jobs.of(&visitor.asks().actor.name, &id) else {
        return not_here(house, &visitor, &request, ELSEWHERE).await;
    };
    let asks = visitor.asks();
    let me = off_thread(move || house.tubtrail.show_me(&asks)).await.map_err(Unable::of(&request))?;
    let (id, file, part) = (id.into_inner(), job.file.clone(), Progress::of(visitor.texts, &job));
    let page = Watching { frame: Frame::of(&visitor, &request, me), id, file, part };
    Ok(render(StatusCode::OK, &page))
}

/// How far it is, by itself.
#[get("/upkeep/import/{id}/progress")]
async fn job_part(house: House, visitor: Visitor, id: web::Path<String>) -> Shown {
    let Some(job) = house.jobs.of(&visitor.asks().actor.name, &id) else {
        return Ok(render(StatusCode::OK, &Unknown { texts: visitor.texts }));
    };
    Ok(render(StatusCode::OK, &Progress::of(visitor.texts, &job)))
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, form: Form) -> Shown {
    let asks = visitor.asks();
    let me = off_thread(move || house.tubtrail.show_me(&asks)).await.map_err(Unable::of(request))?;
    let may_import = may_everywhere(&me, &reach::IMPORT_MASTER_DATA);
    let page = Choosing { frame: Frame::of(visitor, request, me), form, may_import, columns: columns() };
    Ok(render(page.form.status(), &page))
}

/// What a file may hold, with its columns, as the guide has them.
fn columns() -> Vec<(&'static str, String)> {
    let row = |line: &'static str| line.strip_prefix("| ")?.strip_suffix(" |")?.split_once(" | ");
    let is_noun = |(noun, _): &(&str, &str)| NOUNS.contains(noun);
    let plain = |(noun, columns): (&'static str, &str)| (noun, columns.replace('`', ""));
    GUIDE.lines().filter_map(row).filter(is_noun).map(plain).collect()
}

impl Choosing {
    fn text(&self, noun: &str) -> String {
        self.frame.texts.say(&format!("upkeep-{noun}")).into_owned()
    }
}

impl Progress {
    fn of(texts: &'static Texts, job: &Job) -> Self {
        let (done, rows) = job.so_far();
        Self { texts, noun: job.noun.clone(), done, rows, outcome: job.outcome() }
    }

    /// In hundredths of the whole.
    const fn percent(&self) -> usize {
        match (self.done * 100).checked_div(self.rows) {
            Some(percent) => percent,
            None => 0,
        }
    }

    fn taken(&self) -> Option<Imported> {
        self.outcome.as_ref().and_then(|outcome| outcome.as_ref().ok().copied())
    }

    /// What is wrong with the file, row by row: where, and what.
    fn faults(&self) -> Vec<(Option<Said>, Said)> {
        let Some(Err(refused)) = &self.outcome else { return Vec::new() };
        let first = Fault { field: refused.field.clone(), detail: refused.detail.clone() };
        let mut faults: Vec<Fault> = std::iter::once(first).chain(refused.also.clone()).collect();
        faults.sort_by_key(|fault| fault.field.as_deref().and_then(line_and_column).map(|(line, _)| line));
        faults.iter().map(|fault| self.shown(fault)).collect()
    }

    fn shown(&self, fault: &Fault) -> (Option<Said>, Said) {
        let place = fault.field.as_deref().map(|field| match line_and_column(field) {
            Some((line, Some(column))) => say!("line {line}: {detail}", line, detail = column),
            Some((line, None)) => say!("line {line}", line),
            None => Saying::as_it_is(field),
        });
        // The line stands before the sentence, and need not stand in it again.
        let detail = match fault.detail.gap("detail") {
            Some(Gap::Said(detail)) => detail,
            _ => &fault.detail,
        };
        (place.map(|place| self.texts.said(&place)), self.texts.said(detail))
    }
}

/// The line of a file, and the column, if it is about one: `line 3: name`.
fn line_and_column(field: &str) -> Option<(usize, Option<&str>)> {
    let place = field.strip_prefix("line ")?;
    let (line, column) = place.split_once(": ").map_or((place, None), |(line, column)| (line, Some(column)));
    Some((line.parse().ok()?, column))
}

#[cfg(test)]
mod tests {
    use tubtrail_operations::imports::NOUNS;

    use crate::pages::texts::Texts;

    #[test]
    fn every_list_that_can_be_taken_in_has_its_name() {
        for (texts, noun) in Texts::all().iter().flat_map(|texts| NOUNS.map(|noun| (texts, noun))) {
            assert!(texts.has(&format!("upkeep-{noun}")), "{}: {noun}", texts.tag);
        }
    }
}
