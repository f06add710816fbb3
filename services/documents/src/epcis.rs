//! Events for others as an EPCIS 2.0 document in JSON-LD: who has what, when, where and why, in the words of CBV 2.0.
//!
//! Plain structs that say what they are given: which identifiers and words belong there is for the caller to know.

mod event;

use chrono::{DateTime, SecondsFormat, Utc};
use serde_json::json;

pub use self::event::{
    AggregationEvent, BizTransaction, Common, Destination, ErrorDeclaration, Event, Ilmd, Kilograms, ObjectEvent,
    Place, Quantity, Source, TransformationEvent,
};
use crate::error::Result;

/// The media type of what is made here.
pub const MEDIA_TYPE: &str = "application/ld+json";

/// The context that gives the standard's words their meaning (EPCIS 2.0, its published examples).
const CONTEXT: &str = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld";

/// Makes a document a chunk of events at a time: the head, then events as often as wanted, then the foot.
#[derive(Debug, Default)]
pub struct DocumentWriter {
    is_begun: bool,
}

impl DocumentWriter {
    /// What stands before the events. `terms` is the address under which our own words are (`tubtrail:`).
    pub fn head(&self, created_at: DateTime<Utc>, terms: &str) -> Result<Vec<u8>> {
        let mut head = serde_json::to_vec(&json!({
            "@context": [CONTEXT, {"tubtrail": terms}],
            "type": "EPCISDocument",
            "schemaVersion": "2.0",
            "creationDate": created_at.to_rfc3339_opts(SecondsFormat::AutoSi, true),
        }))?;
        // The body goes into the same object.
        head.pop();
        head.extend(b",\"epcisBody\":{\"eventList\":[");
        Ok(head)
    }

    /// Some events.
    pub fn events(&mut self, events: &[Event]) -> Result<Vec<u8>> {
        let mut bytes = Vec::new();
        for event in events {
            if std::mem::replace(&mut self.is_begun, true) {
                bytes.extend(b",\n");
            }
            serde_json::to_writer(&mut bytes, event)?;
        }
        Ok(bytes)
    }

    /// What stands behind the events.
    pub fn foot(&self) -> Vec<u8> {
        b"]}}".to_vec()
    }
}
