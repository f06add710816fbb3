//! Consignments: what is handed to a customer as a whole: tubs above all.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::moving::Act;
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_storage::stock::MovementRow;
use utoipa::ToSchema;

use crate::discards::wanted_mg;
use crate::error::{OperationError, Result};
use crate::quantities::QuantityEntered;
use crate::reach::{self, Request};
use crate::tubs::{Found, Moved, Step};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// A lot is handed to a customer.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"customer": "old-mill-bistro", "document": "DN-311"}))]
pub struct Consignment {
    /// The customer's code: a partner that takes tubs.
    #[schema(max_length = 40)]
    pub customer: String,
    /// The code of the site it leaves; needed only where the book does not tell.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub site: Option<String>,
    /// How much; all of it, if absent. A tub goes whole.
    #[serde(default)]
    pub quantity: Option<QuantityEntered>,
    /// The number of the paper it goes with.
    #[serde(default)]
    #[schema(max_length = 60)]
    pub document: Option<String>,
    /// When; now, if absent.
    #[serde(default)]
    pub consigned_at: Option<DateTime<Utc>>,
}

impl Tubtrail {
    /// Hands a lot to a customer.
    pub fn consign_lot(&self, request: &Request, lot: &str, consignment: Consignment) -> Result<Answered<Moved>> {
        let found = Found::of(request, &reach::CONSIGN_LOT, lot)?;
        self.write_with_recalls(request, &reach::CONSIGN_LOT, move |tx, index| {
            let (standing, site) = found.standing(tx, consignment.site.as_deref(), &[State::Available])?;
            let at = fields::occurred_at("consigned_at", consignment.consigned_at, tx.now())?;
            let document = consignment.document.as_deref();
            let document = document.map(|text| fields::foreign_code("document", text)).transpose()?;
            let customer = fields::partner(tx.conn()?, "customer", &consignment.customer)?;
            if !customer.current.takes_tubs {
                let detail = say!("{customer} takes no tubs from us", customer = customer.current.name);
                return Err(OperationError::new(&problems::WRONG_KIND, detail).at("customer"));
            }
            let wanted_mg = wanted_mg(tx, &standing, consignment.quantity.as_ref())?;
            standing.may(index, Act::Consign, &site, at)?;
            standing.refuse_before_it_was("consigned_at", at)?;
            let from = Place::new(site.row.id, State::Available);
            let mass_mg = standing.take(from, &site.row.code, wanted_mg, standing.is_tub())?;
            let to = Place::new(site.row.id, State::Consigned);
            let step = Step { kind: "consigned", from, to, mass_mg, at };
            let partner_id = Some(customer.row.id);
            step.done(tx, &standing, &site, |row| MovementRow { partner_id, document, ..row })
        })
    }
}
