//! A delivery that was written down: what became of each line, its labels, and the photos of its papers.

use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use tubtrail_domain::say;
use tubtrail_operations::deliveries::{Decision, Delivery, DeliveryLine};
use tubtrail_operations::documents::DeliveryDocument;
use tubtrail_operations::sessions::Me;
use tubtrail_operations::sites::Site;
use tubtrail_operations::{OperationError, Request, Tubtrail, problems};

use super::known::Known;
use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::figures::{Wall, weight};
use crate::pages::forms::{Form, see_said};
use crate::pages::marks::digest_of;
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::upload::{SentFile, SentFiles};
use crate::pages::visitor::Visitor;
use crate::papers;

/// Longest name of a file that is kept, in characters; a longer one is cut.
const LONGEST_NAME: usize = 120;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(arrived).service(attach).service(show_paper);
}

#[derive(Template)]
#[template(path = "arrived.html")]
struct Arrived {
    frame: Frame,
    site: Site,
    delivery: Delivery,
    supplier: String,
    time: String,
    lines: Vec<ArrivedLine>,
    papers: Vec<Paper>,
    form: Form,
    /// The address of the labels of all its lots; none where there are no lots.
    labels: Option<String>,
}

/// A line, and what became of it.
struct ArrivedLine {
    line: DeliveryLine,
    name: String,
    weight: String,
    last_day: Option<String>,
}

impl ArrivedLine {
    /// The end of the name of the text that says what became of it.
    fn word(&self) -> &'static str {
        match self.line.decision {
            Decision::Accepted => "accepted",
            Decision::PutAside => "put-aside",
            Decision::Rejected => "turned-away",
        }
    }
}

/// A photo or a paper.
struct Paper {
    row: DeliveryDocument,
    kilobytes: String,
}

struct Read {
    me: Me,
    site: Site,
    known: Known,
    delivery: Delivery,
    papers: Vec<DeliveryDocument>,
}

/// A delivery.
#[get("/delivery/{site}/{delivery}")]
async fn arrived(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(String, i64)>) -> Shown {
    let form = Form::new(&visitor, Fields::default());
    show(house, &visitor, &request, path.into_inner(), form).await
}

/// Keeps photos and papers with it.
#[post("/delivery/{site}/{delivery}/documents")]
async fn attach(house: House, sent: SentFiles, request: HttpRequest, path: web::Path<(String, i64)>) -> Shown {
    let SentFiles { sent, files } = sent;
    let (site, id) = path.into_inner();
    let count = files.len();
    let commands: Vec<Request> = files
        .iter()
        .zip(1..)
        .map(|(file, at): (&SentFile, usize)| {
            let mut request = sent.commands_part(request.path(), &at.to_string());
            if let Some(key) = &mut request.key {
                key.request_hash.push_str(&digest_of(&file.bytes));
            }
            request
        })
        .collect();
    let tubtrail = house.clone();
    let done = off_thread(move || {
        if count == 0 {
            return Err(OperationError::invalid("file", say!("take a photo or choose a file first")));
        }
        for (file, request) in files.into_iter().zip(commands) {
            tubtrail.tubtrail.attach_document(&request, id, name_of(&file), file.bytes)?;
        }
        Ok(())
    });
    let Err(problem) = done.await else {
        return Ok(see_said(&format!("/delivery/{site}/{id}"), "kept"));
    };
    let form = Form::refused(&sent.visitor, sent.fields, problem, |_| Some("file".into()));
    show(house, &sent.visitor, &request, (site, id), form.map_err(Unable::of(&request))?).await
}

/// The file of a photo or a paper.
#[get("/delivery/{site}/documents/{document}")]
async fn show_paper(house: House, visitor: Visitor, request: HttpRequest, path: web::Path<(String, i64)>) -> Shown {
    let (_, id) = path.into_inner();
    let asks = visitor.asks();
    let shown = off_thread(move || house.tubtrail.show_document(&asks, id)).await;
    let (document, file) = shown.map_err(Unable::of(&request))?;
    Ok(papers::answer(&document, file))
}

/// The end of a name says what it is, so that end is kept.
fn name_of(file: &SentFile) -> String {
    let name = file.name.rsplit(['/', '\\']).next().unwrap_or_default();
    let name: Vec<char> = name.chars().filter(|one| !one.is_control()).collect();
    let name: String = name[name.len().saturating_sub(LONGEST_NAME)..].iter().collect();
    if name.trim().is_empty() { "photo".into() } else { name }
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, of: (String, i64), form: Form) -> Shown {
    let asks = visitor.asks();
    let (site, id) = of;
    let read = off_thread(move || read(&house.tubtrail, &asks, &site, id)).await.map_err(Unable::of(request))?;
    let page = Arrived::of(visitor, request, read, form);
    Ok(render(page.form.status(), &page))
}

fn read(tubtrail: &Tubtrail, asks: &Request, site: &str, id: i64) -> Result<Read, OperationError> {
    let delivery = tubtrail.get_delivery(asks, id)?;
    if delivery.site != site {
        return Err(OperationError::new(
            &problems::NOT_FOUND,
            say!("delivery {id} did not arrive at {site}", id, site),
        ));
    }
    Ok(Read {
        me: tubtrail.show_me(asks)?,
        site: tubtrail.get(asks, site)?,
        known: Known::read(tubtrail, asks)?,
        papers: tubtrail.list_documents(asks, id)?.documents,
        delivery,
    })
}

impl Arrived {
    fn of(visitor: &Visitor, request: &HttpRequest, read: Read, form: Form) -> Self {
        let texts = visitor.texts;
        let Read { me, site, known, delivery, papers } = read;
        let lots: Vec<&str> = delivery.lines.iter().filter_map(|line| line.lot.as_deref()).collect();
        let labels = (!lots.is_empty()).then(|| crate::pages::labels::address(&site.code, lots.iter().copied()));
        let line = |line: &DeliveryLine| ArrivedLine {
            name: known.name_of(&line.item),
            weight: weight(texts, line.grams),
            last_day: line.expiry.as_ref().map(|expiry| {
                texts.say_of(&format!("last-day-{}", expiry.kind.word()), "day", expiry.on.to_string()).into_owned()
            }),
            line: line.clone(),
        };
        Self {
            frame: Frame::of(visitor, request, me),
            supplier: known.supplier(&delivery.supplier),
            time: Wall::of(&site).day_and_time(delivery.arrived_at),
            lines: delivery.lines.iter().map(line).collect(),
            papers: papers
                .into_iter()
                .map(|row| Paper { kilobytes: (row.bytes / 1000).max(1).to_string(), row })
                .collect(),
            form,
            labels,
            site,
            delivery,
        }
    }
}
