//! The events of a document and their parts, named as the standard names them.

use chrono::{DateTime, FixedOffset, NaiveDate, SecondsFormat, Utc};
use serde::{Serialize, Serializer};

/// An event.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "type")]
pub enum Event {
    /// Something happened to objects.
    ObjectEvent(ObjectEvent),
    /// Objects were put together, or taken apart again.
    AggregationEvent(AggregationEvent),
    /// Inputs became outputs.
    TransformationEvent(TransformationEvent),
}

/// What every event says.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct Common {
    /// Its identifier, a URI.
    #[serde(rename = "eventID")]
    pub event_id: String,
    /// When it happened, as the clock on the wall showed it; its offset stands once more beside it.
    #[serde(serialize_with = "local")]
    pub event_time: DateTime<FixedOffset>,
    /// The offset, as in `+01:00`.
    pub event_time_zone_offset: String,
    /// When it was written down.
    #[serde(serialize_with = "utc")]
    pub record_time: DateTime<Utc>,
    /// It did not happen like this.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error_declaration: Option<ErrorDeclaration>,
    /// Why it happened, in words of a person; ours, not the standard's.
    #[serde(rename = "tubtrail:reason", skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// Something happened to objects.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct ObjectEvent {
    /// What every event says.
    #[serde(flatten)]
    pub common: Common,
    /// OBSERVE, ADD or DELETE.
    pub action: &'static str,
    /// The step of the business, a word of CBV.
    pub biz_step: &'static str,
    /// How the objects stand afterwards, a word of CBV.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub disposition: Option<&'static str>,
    /// Where it happened.
    pub read_point: Place,
    /// Where the objects are afterwards.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub biz_location: Option<Place>,
    /// What it happened to.
    pub quantity_list: Vec<Quantity>,
    /// The papers.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub biz_transaction_list: Vec<BizTransaction>,
    /// Where it comes from.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub source_list: Vec<Source>,
    /// Where it goes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub destination_list: Vec<Destination>,
    /// What the book had where something else was counted; ours, not the standard's.
    #[serde(rename = "tubtrail:expectedQuantity", skip_serializing_if = "Option::is_none")]
    pub expected_quantity: Option<Kilograms>,
}

/// Objects were put together in something that goes as one, or taken out of it again.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct AggregationEvent {
    /// What every event says.
    #[serde(flatten)]
    pub common: Common,
    /// What goes as one, a URI.
    #[serde(rename = "parentID")]
    pub parent_id: String,
    /// What was put in or taken out, by class. Nothing here would mean all that is in it.
    pub child_quantity_list: Vec<Quantity>,
    /// ADD or DELETE.
    pub action: &'static str,
    /// The step of the business, a word of CBV.
    pub biz_step: &'static str,
    /// How the objects stand afterwards, a word of CBV.
    pub disposition: &'static str,
    /// Where it happened.
    pub read_point: Place,
    /// Where the objects are afterwards.
    pub biz_location: Place,
    /// The papers.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub biz_transaction_list: Vec<BizTransaction>,
}

/// Inputs became outputs.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct TransformationEvent {
    /// What every event says.
    #[serde(flatten)]
    pub common: Common,
    /// What it was, a URI.
    #[serde(rename = "transformationID")]
    pub transformation_id: String,
    /// The step of the business, a word of CBV.
    pub biz_step: &'static str,
    /// How the outputs stand afterwards, a word of CBV.
    pub disposition: &'static str,
    /// Where it happened.
    pub read_point: Place,
    /// Where the outputs are afterwards.
    pub biz_location: Place,
    /// What went in.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub input_quantity_list: Vec<Quantity>,
    /// What came out.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub output_quantity_list: Vec<Quantity>,
    /// What holds of all that came out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ilmd: Option<Ilmd>,
}

/// A place, a URI.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Place {
    /// Which.
    pub id: String,
}

/// So much of a class of objects.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct Quantity {
    /// Which class, a URI; one lot of an article for the most part.
    pub epc_class: String,
    /// How much.
    pub quantity: Kilograms,
    /// KGM.
    pub uom: &'static str,
}

impl Quantity {
    /// So many kilograms.
    pub fn of(epc_class: String, mass: Kilograms) -> Self {
        // UN/ECE Recommendation 20: kilogram.
        Self { epc_class, quantity: mass, uom: "KGM" }
    }
}

/// A mass in milligrams, written in kilograms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kilograms(pub i64);

impl Serialize for Kilograms {
    #[expect(clippy::cast_precision_loss, reason = "below 2^53 the nearest double prints as the decimal it came from")]
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if self.0 % 1_000_000 == 0 {
            serializer.serialize_i64(self.0 / 1_000_000)
        } else {
            serializer.serialize_f64(self.0 as f64 / 1_000_000.0)
        }
    }
}

/// A paper.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct BizTransaction {
    /// What sort, a word of CBV.
    #[serde(rename = "type")]
    pub kind: &'static str,
    /// Which, a URI.
    pub biz_transaction: String,
}

/// Where something comes from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Source {
    /// `possessing_party`, `owning_party` or `location`.
    #[serde(rename = "type")]
    pub kind: &'static str,
    /// Which, a URI.
    pub source: String,
}

/// Where something goes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Destination {
    /// `possessing_party`, `owning_party` or `location`.
    #[serde(rename = "type")]
    pub kind: &'static str,
    /// Which, a URI.
    pub destination: String,
}

/// An event did not happen as it was told.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct ErrorDeclaration {
    /// When that was said.
    #[serde(serialize_with = "utc")]
    pub declaration_time: DateTime<Utc>,
    /// `did_not_occur` or `incorrect_data`.
    pub reason: &'static str,
    /// The events that tell it as it was.
    #[serde(rename = "correctiveEventIDs")]
    pub corrective_event_ids: Vec<String>,
    /// Why, in words of a person; ours, not the standard's.
    #[serde(rename = "tubtrail:reason", skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
}

/// What holds of all instances and lots that came to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Ilmd {
    /// The last day on which it is at its best (CBV, from memory).
    #[serde(rename = "cbvmda:bestBeforeDate", skip_serializing_if = "Option::is_none")]
    pub best_before: Option<NaiveDate>,
    /// The last day on which it may be used (CBV, from memory).
    #[serde(rename = "cbvmda:itemExpirationDate", skip_serializing_if = "Option::is_none")]
    pub use_by: Option<NaiveDate>,
}

fn local<S: Serializer>(time: &DateTime<FixedOffset>, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&time.to_rfc3339_opts(SecondsFormat::AutoSi, false))
}

fn utc<S: Serializer>(time: &DateTime<Utc>, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&time.to_rfc3339_opts(SecondsFormat::AutoSi, true))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kilograms_are_exact() {
        let text = |mg| serde_json::to_string(&Kilograms(mg)).expect("a number");
        // 4 750 g and a half; a milligram; 41.28 kg; as heavy as anything may be.
        assert_eq!([4_750_500, 1, 41_280_000, 10_000_000].map(text), ["4.7505", "1e-6", "41.28", "10"]);
        assert_eq!(text(999_999_999_999_999), "999999999.999999");
    }
}
