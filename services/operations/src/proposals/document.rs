//! Reads a document: its frame strictly, of its events those that tell of goods on their way.

use std::collections::HashSet;

use chrono::NaiveDate;
use serde_json::Value;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;

use super::PassedOver;
use super::pointer::At;
use super::units::Units;
use crate::deliveries::{Expiry, ExpiryKind};
use crate::error::Result;

/// Most events of one document.
const MOST_EVENTS: usize = 1000;
/// Most objects, papers or parties of one event.
pub(super) const MOST_OBJECTS: usize = 2000;

/// What a document says that matters for a delivery.
pub(super) struct Document {
    pub shipped: Vec<Shipped>,
    pub passed_over: Vec<PassedOver>,
}

/// What an event is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step {
    Shipping,
    Receiving,
    Commissioning,
}

impl Step {
    /// How much it says of what was sent: what left the supplier first, then what arrived, then what was made.
    pub const fn rank(self) -> u8 {
        match self {
            Self::Shipping => 0,
            Self::Receiving => 1,
            Self::Commissioning => 2,
        }
    }
}

/// An event that tells of goods. Places are JSON pointers.
pub(super) struct Shipped {
    pub step: Step,
    pub objects: Vec<Object>,
    pub lot: Option<String>,
    pub expiry: Option<Expiry>,
    pub sources: Vec<(String, String)>,
    pub destinations: Vec<(String, String)>,
    pub papers: Vec<Paper>,
}

/// Some of a class of objects, or a single one.
#[derive(Clone)]
pub(super) struct Object {
    pub at: String,
    pub uri: String,
    /// The figure as it stands there; none where it is not said.
    pub amount: Option<String>,
    pub unit: Option<String>,
}

pub(super) struct Paper {
    pub kind: String,
    pub number: String,
}

const DOCUMENT: &[&str] = &[
    "@context",
    "id",
    "type",
    "schemaVersion",
    "creationDate",
    "instanceIdentifier",
    "sender",
    "receiver",
    "epcisHeader",
    "epcisBody",
];

const OBJECT_EVENT: &[&str] = &[
    "@context",
    "type",
    "eventTime",
    "recordTime",
    "eventTimeZoneOffset",
    "eventID",
    "certificationInfo",
    "errorDeclaration",
    "action",
    "epcList",
    "quantityList",
    "bizStep",
    "disposition",
    "persistentDisposition",
    "readPoint",
    "bizLocation",
    "bizTransactionList",
    "sourceList",
    "destinationList",
    "sensorElementList",
    "ilmd",
];

const OTHER_EVENTS: [&str; 4] = ["AggregationEvent", "AssociationEvent", "TransactionEvent", "TransformationEvent"];

/// Reads a document.
pub(super) fn read(document: &Value) -> Result<Document> {
    let root = At::root(document);
    root.object(DOCUMENT)?;
    let kind = root.required("type")?;
    if kind.text()? != "EPCISDocument" {
        return kind.wrong(say!("this must be an EPCISDocument"));
    }
    context(&root.required("@context")?)?;
    let version = root.required("schemaVersion")?;
    if !version.text()?.starts_with("2.") {
        return version.wrong(say!("version 2.0 is read"));
    }
    root.required("creationDate")?.time()?;
    let events = root.required("epcisBody")?.required("eventList")?.elements(MOST_EVENTS)?;
    let mut read = Document { shipped: Vec::new(), passed_over: Vec::new() };
    let withdrawn = withdrawn(&events)?;
    let units = units(&events, &withdrawn)?;
    for event in &events {
        match shipped(event, &withdrawn)? {
            Ok(shipped) => {
                let objects = units.unpack(shipped.objects, event.required("eventTime")?.time()?)?;
                read.shipped.push(Shipped { objects, ..shipped });
            }
            Err(why) => read.passed_over.push(PassedOver { at: event.pointer.clone(), why }),
        }
    }
    Ok(read)
}

/// The address of a context, an object that is one, or several of these. What they say is not looked up.
fn context(context: &At<'_>) -> Result<()> {
    let each = if context.value.is_array() { context.elements(MOST_OBJECTS)? } else { vec![context.clone()] };
    for one in each.iter().filter(|one| !one.value.is_object()) {
        one.uri()?;
    }
    Ok(())
}

/// The events that did not happen as they are told.
fn withdrawn<'v>(events: &[At<'v>]) -> Result<HashSet<&'v str>> {
    let declared = events.iter().filter(|event| event.member("errorDeclaration").is_some());
    declared.filter_map(|event| event.member("eventID")).map(|id| id.uri()).collect()
}

/// What was put together, as far as nobody says that it did not happen like this.
fn units<'v>(events: &[At<'v>], withdrawn: &HashSet<&str>) -> Result<Units<'v>> {
    let mut holds = Vec::new();
    for event in events {
        let is_one = event.member("type").is_some_and(|kind| kind.value == "AggregationEvent");
        if is_one && !is_withdrawn(event, withdrawn)? {
            holds.push(event);
        }
    }
    Units::of(&holds)
}

fn is_withdrawn(event: &At<'_>, withdrawn: &HashSet<&str>) -> Result<bool> {
    let id = event.member("eventID").map(|id| id.uri()).transpose()?;
    Ok(id.is_some_and(|id| withdrawn.contains(id)) || event.member("errorDeclaration").is_some())
}

/// What an event tells of goods, or why it tells nothing.
fn shipped(event: &At<'_>, withdrawn: &HashSet<&str>) -> Result<std::result::Result<Shipped, Saying>> {
    let kind = event.required("type")?;
    if kind.text()? != "ObjectEvent" {
        let is_known = OTHER_EVENTS.contains(&kind.text()?) || kind.text()?.contains(':');
        if !is_known {
            return kind.wrong(say!("EPCIS has no such event"));
        }
        frame(event)?;
        return Ok(Err(say!("an event of the type {text} brings nothing by itself", text = kind.text()?)));
    }
    event.object(OBJECT_EVENT)?;
    frame(event)?;
    let is_withdrawn = is_withdrawn(event, withdrawn)?;
    let action = event.required("action")?;
    if !["OBSERVE", "ADD", "DELETE"].contains(&action.text()?) {
        return action.wrong(say!("write OBSERVE, ADD or DELETE"));
    }
    let objects = objects(event, "epcList", "quantityList")?;
    let (lot, expiry) = ilmd(event)?;
    let says = |step| Shipped { step, objects, lot, expiry, sources: vec![], destinations: vec![], papers: vec![] };
    let step = event.member("bizStep").map(|step| step.word()).transpose()?;
    let step = match step {
        _ if is_withdrawn => return Ok(Err(say!("whoever sent it says that it did not happen like this"))),
        _ if action.text()? == "DELETE" => return Ok(Err(say!("these objects are no more"))),
        Some("shipping" | "departing") => Step::Shipping,
        Some("receiving" | "arriving" | "accepting") => Step::Receiving,
        Some("commissioning" | "creating_class_instance") => Step::Commissioning,
        Some(step) => return Ok(Err(say!("the step {step} brings nothing", step))),
        None => return Ok(Err(say!("it does not say which step it is"))),
    };
    Ok(Ok(Shipped {
        sources: parties(event, "sourceList", "source")?,
        destinations: parties(event, "destinationList", "destination")?,
        papers: papers(event)?,
        ..says(step)
    }))
}

/// What every event has.
fn frame(event: &At<'_>) -> Result<()> {
    event.required("eventTime")?.time()?;
    let offset = event.required("eventTimeZoneOffset")?;
    if !is_offset(offset.text()?) {
        return offset.wrong(say!("write an offset as +01:00, up to 14:00"));
    }
    Ok(())
}

fn is_offset(text: &str) -> bool {
    let Some((hours, minutes)) = text.strip_prefix(['+', '-']).and_then(|text| text.split_once(':')) else {
        return false;
    };
    let number = |text: &str| text.parse::<u8>().ok().filter(|_| text.len() == 2 && !text.starts_with('+'));
    matches!((number(hours), number(minutes)), (Some(0..=13), Some(0..=59)) | (Some(14), Some(0)))
}

/// Single objects of one list, and classes of them of another.
pub(super) fn objects(event: &At<'_>, singles: &str, classes: &str) -> Result<Vec<Object>> {
    let mut objects = Vec::new();
    for single in event.list(singles, MOST_OBJECTS)? {
        let uri = single.uri()?.to_owned();
        objects.push(Object { at: single.pointer, uri, amount: None, unit: None });
    }
    for element in event.list(classes, MOST_OBJECTS)? {
        objects.push(some_of(&element)?);
    }
    Ok(objects)
}

/// EPCIS lets nothing else stand in a quantity element, not even extensions.
fn some_of(element: &At<'_>) -> Result<Object> {
    let members = element.object(&["epcClass", "quantity", "uom"])?;
    if let Some(name) = members.keys().find(|name| name.contains(':')) {
        return element.wrong(say!("{name} has no place here", name));
    }
    let class = element.required("epcClass")?;
    let uri = class.uri()?.to_owned();
    let amount = element.member("quantity").map(|quantity| amount(&quantity)).transpose()?;
    let unit = element.member("uom").map(|unit| self::unit(&unit)).transpose()?;
    Ok(Object { at: element.pointer.clone(), uri, amount, unit })
}

fn amount(quantity: &At<'_>) -> Result<String> {
    let Value::Number(number) = quantity.value else { return quantity.wrong(say!("this must be a number")) };
    match number.as_f64() {
        Some(value) if value > 0.0 => Ok(number.to_string()),
        _ => quantity.wrong(say!("so much cannot have been sent: it must be more than nothing")),
    }
}

/// A code of UN/ECE Recommendation 20.
fn unit(unit: &At<'_>) -> Result<String> {
    let code = unit.text()?;
    let fits =
        (2..=3).contains(&code.len()) && code.bytes().all(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit());
    if fits { Ok(code.to_owned()) } else { unit.wrong(say!("write the unit as its code: KGM, GRM, LTR")) }
}

/// The lot and the last day that hold for all objects of an event.
fn ilmd(event: &At<'_>) -> Result<(Option<String>, Option<Expiry>)> {
    let Some(ilmd) = event.member("ilmd") else { return Ok((None, None)) };
    let named = |name: &str| {
        ["cbvmda:", "urn:epcglobal:cbv:mda:"].iter().find_map(|prefix| ilmd.member(&format!("{prefix}{name}")))
    };
    ilmd.object(&[])?;
    let lot = named("lotNumber").map(|lot| lot.text().map(str::to_owned)).transpose()?;
    let kinds = [("itemExpirationDate", ExpiryKind::UseBy), ("bestBeforeDate", ExpiryKind::BestBefore)];
    for (name, kind) in kinds {
        if let Some(day) = named(name) {
            return Ok((lot, Some(Expiry { kind, on: self::day(&day)? })));
        }
    }
    Ok((lot, None))
}

/// A day, or the day of a time.
fn day(at: &At<'_>) -> Result<NaiveDate> {
    let text = at.text()?;
    match text.get(..10).unwrap_or(text).parse() {
        Ok(day) if text.len() == 10 || text.as_bytes().get(10) == Some(&b'T') => Ok(day),
        _ => at.wrong(say!("write a day as 2026-11-25")),
    }
}

fn parties(event: &At<'_>, list: &str, name: &str) -> Result<Vec<(String, String)>> {
    let mut found = Vec::new();
    for party in event.list(list, MOST_OBJECTS)? {
        party.object(&["type", name])?;
        party.required("type")?.text()?;
        let named = party.required(name)?;
        found.push((named.pointer.clone(), named.uri()?.to_owned()));
    }
    Ok(found)
}

fn papers(event: &At<'_>) -> Result<Vec<Paper>> {
    let mut found = Vec::new();
    for paper in event.list("bizTransactionList", MOST_OBJECTS)? {
        paper.object(&["type", "bizTransaction"])?;
        let kind = paper.member("type").map(|kind| kind.word()).transpose()?.unwrap_or("").to_owned();
        let uri = paper.required("bizTransaction")?.uri()?.to_owned();
        found.push(Paper { kind, number: number_of(&uri) });
    }
    Ok(found)
}

/// The number of a paper: the last part of its identifier.
fn number_of(uri: &str) -> String {
    let last = if uri.starts_with("urn:epc:id:") { uri.rsplit('.').next() } else { uri.rsplit([':', '/']).next() };
    let last = last.filter(|last| !last.is_empty()).unwrap_or(uri);
    tubtrail_domain::gs1::epc::decoded(last).unwrap_or_else(|| last.to_owned())
}
