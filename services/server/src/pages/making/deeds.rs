//! What is done on a batch's page, each by a form of its own. What is refused stands there again as it was typed, in its place.

use actix_web::{HttpRequest, post, web};
use chrono::Utc;
use tubtrail_domain::say;
use tubtrail_operations::batch_equipment::{NewEquipmentRun, NewEquipmentRuns};
use tubtrail_operations::cleans::NewClean;
use tubtrail_operations::holds::Because;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::readings::{NewReading, NewReadings, ReadingVoid, Step};
use tubtrail_operations::scans::{NewScan, Scan};
use tubtrail_operations::uses::{NewUse, NewUses};
use tubtrail_operations::voids::UseVoid;
use tubtrail_operations::{OperationError, QuantityEntered, Request, Tubtrail, problems};

use super::batch::{self, Scanned};
use super::clocks::running_since;
use super::finish::Weighed;
use super::forms::Forms;
use super::goes_in::{is_left_out, missing_grams};
use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::figures::{Wall, number};
use crate::pages::forms::{Form, same_name, see_said};
use crate::pages::page::{Shown, Unable};
use crate::pages::recalls::asked::time;
use crate::pages::texts::Texts;
use crate::pages::visitor::Sent;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(do_something);
}

/// What was sent, of which batch.
struct Asked {
    site: String,
    batch: i64,
    deed: String,
    fields: Fields,
    texts: &'static Texts,
    asks: Request,
    commands: Request,
}

/// What came of it.
enum Came {
    /// It is written down.
    Done,
    /// The form goes on: with a lot that waits for its grams.
    Waits(Scanned, String),
    /// The form goes on: with what was weighed so far.
    Weighs(Weighed),
}

/// Does what a form of the page asks for.
#[post("/making/{site}/batches/{batch}/{deed}")]
async fn do_something(house: House, sent: Sent, request: HttpRequest, path: web::Path<(String, i64, String)>) -> Shown {
    let (site, id, deed) = path.into_inner();
    let asked = Asked {
        site: site.clone(),
        batch: id,
        deed: deed.clone(),
        fields: sent.fields.clone(),
        texts: sent.visitor.texts,
        asks: sent.visitor.asks(),
        commands: sent.commands(request.path()),
    };
    let tubtrail = house.clone();
    let came = off_thread(move || asked.carry_out(&tubtrail.tubtrail)).await;
    let Sent { visitor, fields } = sent;
    let form_name = form_name(&deed, &fields);
    let weighed = if deed == "complete" { Weighed::read(&fields) } else { Weighed::default() };
    let (form, scanned, weighed) = match came {
        Ok(Came::Done) => {
            return Ok(see_said(&format!("/making/{site}/batches/{id}#{}", part_of(&deed)), said(&deed)));
        }
        Ok(Came::Waits(scanned, grams)) => {
            let mut fields = Fields::default();
            fields.add("lot", scanned.lot.clone());
            fields.add("grams", grams);
            (Form::new(&visitor, fields), Some(scanned), weighed)
        }
        Ok(Came::Weighs(weighed)) => (Form::new(&visitor, fields), None, weighed),
        Err(problem) => {
            let place = |field: &str| weighed.place(field).or_else(|| place(&deed, field));
            let form = Form::refused(&visitor, fields, problem, place);
            (form.map_err(Unable::of(&request))?, None, weighed.clone())
        }
    };
    let forms = Forms::with(&visitor, &form_name, form);
    batch::show(house, &visitor, &request, (site, id), forms, scanned, weighed).await
}

/// The name of the form that was sent: those of rows are told apart by their row.
fn form_name(deed: &str, fields: &Fields) -> String {
    let row = match deed {
        "void-use" | "void-run" | "void-clean" | "void-reading" => fields.get("id"),
        "input" => fields.get("item"),
        "clock" => fields.get("step"),
        "clean" => fields.get("equipment"),
        _ => None,
    };
    row.map_or_else(|| deed.to_owned(), |row| format!("{deed}-{row}"))
}

/// The field of a form that shows a field of its operation.
fn place(deed: &str, field: &str) -> Option<String> {
    let last = field.rsplit(['.', ']']).next().unwrap_or(field);
    let shown = match (deed, field) {
        ("use", _) if field.contains("quantity") => "grams",
        ("use", _) if ["lot", "item"].contains(&last) => "lot",
        ("use", _) if ["reason", "used_at"].contains(&last) => last,
        ("input", _) => "grams",
        ("clock", _) | ("void-reading", "temperature" | "temperature_celsius") => "temperature",
        ("run", _) if ["equipment", "from", "until"].contains(&last) => last,
        ("clean", "kind") => "kind",
        ("void-use" | "void-run" | "void-clean" | "void-reading", "reason") => "reason",
        _ => return same_name(&["lot", "grams", "reason"])(field),
    };
    Some(shown.to_owned())
}

/// The part of the page that shows what was done.
fn part_of(deed: &str) -> &'static str {
    match deed {
        "clock" | "void-reading" => "clocks",
        "run" | "void-run" | "clean" | "void-clean" => "machines",
        "complete" => "made",
        _ => "inside",
    }
}

/// The end of the name of the text that says what was done.
fn said(deed: &str) -> &'static str {
    if deed.starts_with("void-") { "put-right" } else { "done" }
}

impl Asked {
    fn text(&self, name: &str) -> String {
        self.fields.get(name).unwrap_or("").trim().to_owned()
    }

    fn filled(&self, name: &str) -> Option<String> {
        Some(self.text(name)).filter(|text| !text.is_empty())
    }

    fn id(&self) -> Result<i64, OperationError> {
        let nothing = || OperationError::new(&problems::MALFORMED, say!("this form does not say what it is about"));
        self.text("id").parse().map_err(|_| nothing())
    }

    fn carry_out(&self, tubtrail: &Tubtrail) -> Result<Came, OperationError> {
        let because = || Because { reason: self.filled("reason") };
        match self.deed.as_str() {
            "use" => return self.take(tubtrail),
            "complete" => return self.finish(tubtrail),
            "input" => {
                self.add(tubtrail, NewUse { lot: None, item: self.filled("item"), ..self.new_use(tubtrail)? })?;
            }
            "clock" => self.turn_clock(tubtrail)?,
            "run" => self.run(tubtrail)?,
            "clean" => {
                let (equipment, kind) = (self.text("equipment"), self.text("kind"));
                let new = NewClean { equipment, kind, cleaned_at: None, note: self.filled("note") };
                tubtrail.record_clean(&self.commands, new).map(drop)?;
            }
            "void-use" => {
                tubtrail.void_use(&self.commands, self.id()?, UseVoid { reason: self.text("reason") }).map(drop)?;
            }
            "void-run" => tubtrail.void_equipment_run(&self.commands, self.id()?, because()).map(drop)?,
            "void-clean" => tubtrail.void_clean(&self.commands, self.id()?, because()).map(drop)?,
            "void-reading" => {
                let temperature_celsius = self.filled("temperature").map(|_| self.celsius()).transpose()?;
                let new = ReadingVoid { reason: self.text("reason"), temperature_celsius };
                tubtrail.void_reading(&self.commands, self.id()?, new).map(drop)?;
            }
            deed => return Err(OperationError::new(&problems::NOT_FOUND, say!("nobody can {deed} a batch", deed))),
        }
        Ok(Came::Done)
    }

    fn new_use(&self, tubtrail: &Tubtrail) -> Result<NewUse, OperationError> {
        let quantity = QuantityEntered { amount: Amount(number(self.texts, &self.text("grams"))), unit: "g".into() };
        let used_at = match self.filled("used_at") {
            Some(_) => time("used_at", &self.fields, self.wall(tubtrail)?.zone())?,
            None => None,
        };
        Ok(NewUse { lot: self.filled("lot"), item: None, quantity, used_at, reason: self.filled("reason") })
    }

    fn wall(&self, tubtrail: &Tubtrail) -> Result<Wall, OperationError> {
        Ok(Wall::of(&tubtrail.get(&self.asks, &self.site)?))
    }

    fn add(&self, tubtrail: &Tubtrail, new: NewUse) -> Result<(), OperationError> {
        tubtrail.add_uses(&self.commands, self.batch, NewUses { uses: vec![new] }).map(drop)
    }

    /// A lot that was scanned waits for its grams, and what the recipe does not name waits to be confirmed.
    fn take(&self, tubtrail: &Tubtrail) -> Result<Came, OperationError> {
        let scanned = self.scanned(tubtrail)?;
        let read = batch::read(tubtrail, &self.asks, &self.site, self.batch)?;
        let (lot, item, name) = scanned;
        let in_recipe = read.recipe.lines.iter().any(|line| line.item == item);
        let confirmed = in_recipe || self.filled("not_in_recipe").is_some();
        if self.filled("grams").is_none() || !confirmed {
            let missing = missing_grams(&read.recipe, &read.batch, &item);
            let grams = self.filled("grams").unwrap_or(missing);
            return Ok(Came::Waits(Scanned { lot, name, in_recipe }, grams));
        }
        self.add(tubtrail, NewUse { lot: Some(lot), ..self.new_use(tubtrail)? })?;
        Ok(Came::Done)
    }

    /// The number, the item and the name of the lot that was scanned.
    fn scanned(&self, tubtrail: &Tubtrail) -> Result<(String, String, String), OperationError> {
        let Some(text) = self.filled("lot") else {
            return Err(OperationError::invalid("lot", say!("scan the lot that goes in, or type its number")));
        };
        let new = NewScan { site: self.site.clone(), text, symbology: None, also: Vec::new() };
        match tubtrail.scan(&self.asks, &new)? {
            Scan::Lot { lot } => Ok((lot.lot, lot.item, lot.name)),
            Scan::Wrong { reason, .. } => Err(OperationError::invalid("lot", reason)),
            Scan::DeliveryLine { name, .. } => {
                let detail = say!("this is the supplier's code of {name}: scan the label that we put on it", name);
                Err(OperationError::invalid("lot", detail))
            }
            _ => Err(OperationError::invalid("lot", say!("this is the code of something else, and of no lot of ours"))),
        }
    }

    /// Begins or ends a step: a reading begins it, and the reading that ends it says how long it was.
    fn turn_clock(&self, tubtrail: &Tubtrail) -> Result<(), OperationError> {
        let step = Step::ALL.into_iter().find(|step| step.word() == self.text("step"));
        let step = step.ok_or_else(|| OperationError::invalid("step", say!("say which step it is")))?;
        let temperature_celsius = self.celsius()?;
        let held_seconds = match self.fields.get("do") {
            Some("end") => {
                let batch = tubtrail.get_batch(&self.asks, self.batch)?;
                let since = running_since(&batch.readings, step);
                let since =
                    since.ok_or_else(|| OperationError::invalid("temperature", say!("its clock does not run")))?;
                i32::try_from((Utc::now() - since).num_seconds().max(0)).ok()
            }
            _ => None,
        };
        let reading = NewReading { step, temperature_celsius, held_seconds, taken_at: None };
        tubtrail.add_readings(&self.commands, self.batch, NewReadings { readings: vec![reading] }).map(drop)
    }

    fn celsius(&self) -> Result<f64, OperationError> {
        let celsius =
            number(self.texts, &self.text("temperature")).parse::<f64>().ok().filter(|celsius| celsius.is_finite());
        let no_number =
            || OperationError::invalid("temperature", say!("measure it, and write it as a number, as in 85.2"));
        celsius.ok_or_else(no_number)
    }

    fn run(&self, tubtrail: &Tubtrail) -> Result<(), OperationError> {
        let wall = self.wall(tubtrail)?;
        let now = Utc::now();
        let time = |name: &str| {
            let no_time = || OperationError::invalid(name, say!("write the time as on the clock, as in 14:30"));
            wall.last(&self.text(name), now).ok_or_else(no_time)
        };
        let from = time("from")?;
        let until = self.filled("until").map(|_| time("until")).transpose()?;
        let run = NewEquipmentRun { equipment: self.text("equipment"), from, until };
        let new = NewEquipmentRuns { equipment: vec![run] };
        tubtrail.add_batch_equipment(&self.commands, self.batch, new).map(drop)
    }

    fn finish(&self, tubtrail: &Tubtrail) -> Result<Came, OperationError> {
        let mut weighed = Weighed::read(&self.fields);
        match self.fields.get("do").and_then(|deed| deed.strip_prefix("drop-")) {
            Some(row) => {
                weighed.drop_weight(row.parse().unwrap_or(usize::MAX));
                return Ok(Came::Weighs(weighed));
            }
            None if self.fields.get("do") != Some("finish") => return Ok(Came::Weighs(weighed)),
            None => {}
        }
        let new = weighed.to_new(self.texts)?;
        weighed.asks = !new.outputs.is_empty() && self.filled("left_out").is_none() && self.leaves_out(tubtrail)?;
        if weighed.asks {
            return Ok(Came::Weighs(weighed));
        }
        tubtrail.complete_batch(&self.commands, self.batch, new)?;
        Ok(Came::Done)
    }

    /// Whether nothing was written down of a line of the recipe. Its allergens would then be on no label and in no answer.
    fn leaves_out(&self, tubtrail: &Tubtrail) -> Result<bool, OperationError> {
        let read = batch::read(tubtrail, &self.asks, &self.site, self.batch)?;
        Ok(read.recipe.lines.iter().any(|line| is_left_out(&read.batch, &line.item, line.grams)))
    }
}
