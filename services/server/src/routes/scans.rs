//! Scans.

use actix_web::post;
use tubtrail_operations::Tubtrail;
use tubtrail_operations::scans::{NewScan, Scan};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::Body;
use crate::door::SignedIn;
use crate::house::{House, Outcome, ask_at_hand};

pub fn configure(config: &mut ServiceConfig) {
    config.service(scan);
}

/// Says what was scanned: a lot of ours, a supplier's case, a place, a pallet, or what is wrong with the code, and where.
#[utoipa::path(tag = "scans", request_body = NewScan, responses((status = 200, body = Scan)))]
#[post("/v1/scans")]
async fn scan(house: House, signed_in: SignedIn, body: Body<NewScan>) -> Outcome {
    ask_at_hand(house, signed_in, body.value, Tubtrail::scan_at_hand, Tubtrail::scan).await
}
