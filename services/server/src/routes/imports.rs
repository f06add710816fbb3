//! Imports.

use actix_web::http::StatusCode;
use actix_web::{post, web};
use serde::Deserialize;
use tubtrail_operations::imports::{GUIDE, Imported};
use tubtrail_operations::proposals::DeliveryProposal;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::{Body, Csv, JsonLd, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    // The address with a parameter fits the other one too.
    config.service(propose_delivery).service(import_master_data);
}

/// Where it is to arrive.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Arriving {
    /// The code of the site.
    #[param(max_length = 40)]
    site: String,
}

/// Reads what a supplier says was sent (an EPCIS 2.0 document, JSON-LD), and proposes the delivery to receive. Nothing is written
/// down.
///
/// `delivery` can be sent to `/v1/deliveries` as it is, once the gaps in `missing` are filled. Of what left the supplier
/// (`shipping`), what arrived (`receiving`) and what was made (`commissioning`) the first counts that the document tells of; lots
/// and last days are taken from all of them. Items are found by their GTIN, the supplier by the location number. A field that is
/// wrong is named by its JSON pointer. Extensions are passed over. At most 1000 events and 1 MiB.
#[utoipa::path(tag = "imports", params(Arriving),
    request_body(content((JsonLd = "application/json", example = json!({
        "@context": ["https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"], "type": "EPCISDocument",
        "schemaVersion": "2.0", "creationDate": "2026-11-25T05:00:00Z", "epcisBody": {"eventList": [
            {"type": "ObjectEvent", "eventTime": "2026-11-25T05:00:00Z", "eventTimeZoneOffset": "+00:00",
                "action": "OBSERVE", "bizStep": "shipping", "quantityList": [
                {"epcClass": "https://id.gs1.org/01/09520123456788/10/24-118", "quantity": 40, "uom": "KGM"}]}]}})),
        (JsonLd = "application/ld+json", example = json!({
            "@context": ["https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"], "type": "EPCISDocument",
            "schemaVersion": "2.0", "creationDate": "2026-11-25T05:00:00Z", "epcisBody": {"eventList": []}})))),
    responses((status = 200, body = DeliveryProposal)))]
#[post("/v1/imports/epcis")]
async fn propose_delivery(house: House, signed_in: SignedIn, arriving: Query<Arriving>, body: JsonLd) -> Outcome {
    query(house, signed_in, move |house, request| house.propose_delivery(request, &arriving.0.site, &body.0)).await
}

// What it says in the description is the guide for people who write such files.
#[utoipa::path(tag = "imports", summary = "Takes in a CSV file of master data: all of it, or nothing.", description = GUIDE,
    request_body(content = String, content_type = "text/csv", example = "code,name,kind,time_zone,gln,active\nquay-kitchen,Kitchen on the quay,kitchen,Europe/Lisbon,,true\n"),
    params(("noun", description = "sites, partners, items, recipes, equipment, makers, item-labels or printers")),
    responses((status = 200, body = Imported)))]
#[post("/v1/imports/{noun}")]
async fn import_master_data(house: House, signed_in: SignedIn, noun: web::Path<String>, csv: Csv) -> Outcome {
    let body = Body { value: csv.bytes, hash: csv.hash };
    command(house, signed_in, body, StatusCode::OK, move |house, request, file| house.import(request, &noun, &file))
        .await
}
