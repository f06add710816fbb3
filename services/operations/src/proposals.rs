//! What a supplier says was sent, as an EPCIS document, turned into a delivery that can be received: as far as it goes, and
//! what is still to be said. Reads only.

mod document;
mod lines;
mod pointer;
mod units;

use chrono::Datelike as _;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use tubtrail_domain::gs1::epc;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::gtins::{partner_with_gln, site_with_gln};
use tubtrail_storage::master_data::{Partner, Site};
use utoipa::ToSchema;

use self::document::Document;
use self::lines::Lines;
use crate::deliveries::Expiry;
use crate::error::{OperationError, Result};
use crate::fields;
use crate::names::partner_code;
use crate::quantities::QuantityEntered;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// What a document comes to: a delivery to be received, as far as the document goes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"delivery": {"supplier": "hollow-farm", "site": "quay-kitchen", "document": "DN-20417",
    "lines": [{"item": "whole-milk", "supplier_lot_code": "24-118", "quantity": {"amount": "40", "unit": "l"}}]},
    "missing": [], "cautions": [], "passed_over": []}))]
pub struct DeliveryProposal {
    /// As a delivery is sent to be received, with gaps where the document says too little.
    pub delivery: ProposedDelivery,
    /// The gaps. When all of them are filled, the delivery can be received.
    pub missing: Vec<Gap>,
    /// What to look at before it is received.
    #[schema(value_type = Vec<String>)]
    pub cautions: Vec<Saying>,
    /// Events of the document that bring nothing.
    pub passed_over: Vec<PassedOver>,
}

/// A delivery with gaps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProposedDelivery {
    /// The supplier's code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier: Option<String>,
    /// The code of the site it is to arrive at.
    pub site: String,
    /// The number on the supplier's paper.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub document: Option<String>,
    /// One line a supplier lot.
    pub lines: Vec<ProposedLine>,
}

/// A line of a delivery with gaps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProposedLine {
    /// The item's code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub item: Option<String>,
    /// The supplier's own code for the lot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier_lot_code: Option<String>,
    /// How much.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quantity: Option<QuantityEntered>,
    /// Its last day, where the document says it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expiry: Option<Expiry>,
}

/// A field of the delivery that the document does not fill.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"field": "lines[0].item", "why": "nobody has given 9520123456788 to an item"}))]
pub struct Gap {
    /// Which, as in `lines[0].item`.
    pub field: String,
    /// Why.
    #[schema(value_type = String)]
    pub why: Saying,
}

/// An event of the document that brings nothing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"at": "/epcisBody/eventList/2", "why": "an AggregationEvent brings nothing by itself"}))]
pub struct PassedOver {
    /// Where it stands in the document (JSON pointer, RFC 6901).
    pub at: String,
    /// Why.
    #[schema(value_type = String)]
    pub why: Saying,
}

impl Tubtrail {
    /// Reads a supplier's document for a site, and proposes what to receive. The field at fault is a JSON pointer into it.
    pub fn propose_delivery(&self, request: &Request, site: &str, document: &Value) -> Result<DeliveryProposal> {
        let now = (self.clock)();
        self.read_at_once(|conn| {
            let site = fields::site_for(conn, "site", site, &request.actor, &reach::PROPOSE_DELIVERY)?;
            let today = fields::day_at(&site, now)?;
            let mut document = document::read(document)?;
            let mut lines = Lines::new(conn, today);
            for shipped in &document.shipped {
                lines.add(shipped)?;
            }
            let lines = lines.done()?;
            // Who sent it, and with which paper, is for the events to say that the lines are of.
            document.shipped.retain(|shipped| Some(shipped.step.rank()) == lines.rank);
            let mut proposal = DeliveryProposal {
                delivery: ProposedDelivery {
                    supplier: None,
                    site: site.row.code.clone(),
                    document: None,
                    lines: lines.lines,
                },
                missing: Vec::new(),
                cautions: lines.cautions,
                passed_over: document.passed_over.clone(),
            };
            let year = today.year();
            proposal.name_supplier(conn, &document, &lines.suppliers, year)?;
            proposal.name_document(&document);
            proposal.missing.extend(lines.missing);
            proposal.compare_site(conn, &document, &site, year)?;
            Ok(proposal)
        })
    }
}

impl DeliveryProposal {
    fn lacks(&mut self, field: &str, why: impl Into<Saying>) {
        self.missing.push(Gap { field: field.to_owned(), why: why.into() });
    }

    /// By the location number of whoever sent it, else by the articles, where one supplier brings them all.
    fn name_supplier(
        &mut self,
        conn: &mut AnyConnection,
        document: &Document,
        of_articles: &[i64],
        year: i32,
    ) -> Result<()> {
        let mut named: Option<Partner> = None;
        let mut unknown = None;
        for (at, uri) in document.shipped.iter().flat_map(|shipped| &shipped.sources) {
            let number = epc::place(uri, year).map_err(|why| OperationError::invalid(at, why))?;
            let Some(number) = number.map(|number| number.to_string()) else { continue };
            let Some(partner) = partner_with_gln(conn, &number)? else {
                unknown = unknown.or(Some(number));
                continue;
            };
            if named.as_ref().is_some_and(|named| named.row.id != partner.row.id) {
                let detail = say!("this comes from another supplier than what stands before it: send each by itself");
                return Err(OperationError::invalid(at, detail));
            }
            named = Some(partner);
        }
        match (named, of_articles) {
            (Some(partner), _) if partner.current.supplies => self.delivery.supplier = Some(partner.row.code),
            (Some(partner), _) => {
                self.lacks("supplier", say!("{partner} is not a supplier", partner = partner.current.name));
            }
            (None, [only]) => self.delivery.supplier = Some(partner_code(conn, *only)?),
            (None, _) => {
                let not_said = || say!("the document does not say by a location number who sent it");
                let not_known = |number: String| say!("no partner has the location number {number}", number);
                self.lacks("supplier", unknown.map_or_else(not_said, not_known));
            }
        }
        Ok(())
    }

    fn name_document(&mut self, document: &Document) {
        // The note that goes with the goods first.
        let papers = || document.shipped.iter().flat_map(|shipped| &shipped.papers);
        let of = |kind: &str| papers().find(|paper| paper.kind == kind);
        let paper = ["desadv", "bol", "inv", "po"].into_iter().find_map(of).or_else(|| papers().next());
        let number = paper.map(|paper| fields::foreign_code("document", &paper.number));
        match number {
            Some(Ok(number)) => self.delivery.document = Some(number),
            Some(Err(error)) => self.lacks("document", error.detail),
            None => self.lacks("document", say!("the document names no paper")),
        }
    }

    fn compare_site(&mut self, conn: &mut AnyConnection, document: &Document, site: &Site, year: i32) -> Result<()> {
        for (at, uri) in document.shipped.iter().flat_map(|shipped| &shipped.destinations) {
            let number = epc::place(uri, year).map_err(|why| OperationError::invalid(at, why))?;
            let Some(number) = number.map(|number| number.to_string()) else { continue };
            if let Some(other) = site_with_gln(conn, &number)?.filter(|other| other.row.id != site.row.id) {
                let caution = say!("the document says that it goes to {other}", other = other.current.name);
                if !self.cautions.contains(&caution) {
                    self.cautions.push(caution);
                }
            }
        }
        Ok(())
    }
}
