//! Records for others.

use actix_web::get;
use chrono::NaiveDate;
use serde::Deserialize;
use tubtrail_operations::exports::EventsAsked;
use tubtrail_operations::reach::{EXPORT_EPCIS, EXPORT_FSMA204_CSV, EXPORT_FSMA204_XLSX, EXPORT_SFCR, Operation};
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::Query;
use crate::door::SignedIn;
use crate::exports;
use crate::house::{House, Outcome, off_thread};
use crate::reports::{self, ReportFormat};

pub fn configure(config: &mut ServiceConfig) {
    config.service(export_epcis).service(export_fsma204_xlsx).service(export_fsma204_csv).service(export_sfcr);
}

/// Of what: a lot, a recall, or days and a site; of everything in reach, if nothing is said.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct EventsWanted {
    /// A lot's number: its whole trace, what is in it and where it went.
    #[param(max_length = 20)]
    lot: Option<String>,
    /// A recall's number: all that it reaches, and what that was made from.
    #[param(minimum = 1)]
    recall: Option<i64>,
    /// What happened on this day or later, as the site counts its days.
    #[serde(default, deserialize_with = "tubtrail_operations::days::optional_day")]
    day_from: Option<NaiveDate>,
    /// What happened on this day or earlier, as the site counts its days.
    #[serde(default, deserialize_with = "tubtrail_operations::days::optional_day")]
    day_to: Option<NaiveDate>,
    /// At this site, by code.
    #[param(max_length = 40)]
    site: Option<String>,
}

/// Of which days and items.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct RecordsWanted {
    /// What happened on this day or later, as the site counts its days.
    #[serde(default, deserialize_with = "tubtrail_operations::days::optional_day")]
    day_from: Option<NaiveDate>,
    /// What happened on this day or earlier, as the site counts its days.
    #[serde(default, deserialize_with = "tubtrail_operations::days::optional_day")]
    day_to: Option<NaiveDate>,
    /// At this site, by code.
    #[param(max_length = 40)]
    site: Option<String>,
    /// Of these items only, by code, with commas between: `pistachio-paste,hazelnut-paste`. A batch is in it as a whole.
    #[param(max_length = 4100)]
    items: Option<String>,
}

impl RecordsWanted {
    fn asked(self) -> EventsAsked {
        let items = self.items.as_deref().unwrap_or("").split(',').map(str::trim).filter(|item| !item.is_empty());
        EventsAsked {
            day_from: self.day_from,
            day_to: self.day_to,
            site: self.site,
            items: items.map(str::to_owned).collect(),
            ..EventsAsked::default()
        }
    }
}

/// What happened, as an EPCIS 2.0 document (JSON-LD) in the words of CBV 2.0.
///
/// Deliveries and transfers that arrived are `receiving`, batches `TransformationEvent`s with all that went in and came out,
/// transfers that left and what went to customers `shipping`, what was thrown away `destroying`, counts `cycle_counting`. What is
/// served by the portion is not in it, and a batch is from when it is completed. All quantities are in kilograms (`KGM`), to the
/// milligram. A batch that was put right later is there once for each way it was written down, each but the last with an
/// `errorDeclaration` that names the next.
///
/// Lots of an article with a number of its own are called by it and by the code of whoever made the lot, as a GS1 Digital Link;
/// all else by addresses under the setting `public-url`, or under one that leads nowhere where that is not set. An `eventID` never
/// changes. An event is there as a whole, even if it happened to more lots than were asked for. Streamed; at most 16 of these, of
/// traces and of reports are made at a time.
#[utoipa::path(tag = "exports", params(EventsWanted),
    responses((status = 200, content_type = "application/ld+json", body = Object,
        example = json!({"type": "EPCISDocument", "schemaVersion": "2.0", "epcisBody": {"eventList": []}}))))]
#[get("/v1/exports/epcis")]
async fn export_epcis(house: House, signed_in: SignedIn, wanted: Query<EventsWanted>) -> Outcome {
    let EventsWanted { lot, recall, day_from, day_to, site } = wanted.0;
    let asked = EventsAsked { lot, recall, day_from, day_to, site, items: Vec::new() };
    let asking = signed_in.into_request(None);
    let (at, seat) = (house.clone(), house.traces.take()?);
    let events = off_thread(move || at.tubtrail.tracking_events(&asking, &EXPORT_EPCIS, &asked)).await?;
    exports::send_epcis(house, seat, events)
}

/// The electronic sortable spreadsheet of 21 CFR 1.1455: a row a lot and critical tracking event, with the key data elements of
/// receiving, transformation and shipping (21 CFR 1.1340, 1.1345, 1.1350).
///
/// What is not recorded is left empty and named in the last column. Which foods are on the Food Traceability List the responsible
/// person decides: `items` narrows it to them.
#[utoipa::path(tag = "exports", params(RecordsWanted),
    responses((status = 200, content_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", body = String,
        example = "PK")))]
#[get("/v1/exports/fsma204.xlsx")]
async fn export_fsma204_xlsx(house: House, signed_in: SignedIn, wanted: Query<RecordsWanted>) -> Outcome {
    fsma204(house, signed_in, wanted.0, &EXPORT_FSMA204_XLSX, ReportFormat::Xlsx).await
}

/// The same rows as the spreadsheet of 21 CFR 1.1455, comma-separated and streamed.
#[utoipa::path(tag = "exports", params(RecordsWanted),
    responses((status = 200, content_type = "text/csv", body = String, example = "Critical tracking event,Date")))]
#[get("/v1/exports/fsma204.csv")]
async fn export_fsma204_csv(house: House, signed_in: SignedIn, wanted: Query<RecordsWanted>) -> Outcome {
    fsma204(house, signed_in, wanted.0, &EXPORT_FSMA204_CSV, ReportFormat::Csv).await
}

/// The documents of the Safe Food for Canadians Regulations, section 90, as the single plain file of section 91: what was supplied,
/// what went into what, and what was provided to whom, with lot codes, names, addresses and days. What is not recorded is left
/// empty and named in the last column.
#[utoipa::path(tag = "exports", params(RecordsWanted),
    responses((status = 200, content_type = "text/csv", body = String, example = "Record,Date,Common name,Lot code")))]
#[get("/v1/exports/sfcr.csv")]
async fn export_sfcr(house: House, signed_in: SignedIn, wanted: Query<RecordsWanted>) -> Outcome {
    let asking = signed_in.into_request(None);
    let (at, seat) = (house.clone(), house.traces.take()?);
    let asked = wanted.0.asked();
    let source = off_thread(move || Ok(exports::sfcr(at.tubtrail.tracking_events(&asking, &EXPORT_SFCR, &asked)?)));
    let source = source.await?;
    reports::send(house, seat, ReportFormat::Csv, source).await
}

async fn fsma204(
    house: House,
    signed_in: SignedIn,
    wanted: RecordsWanted,
    operation: &'static Operation,
    format: ReportFormat,
) -> Outcome {
    let asking = signed_in.into_request(None);
    let (at, seat) = (house.clone(), house.traces.take()?);
    let asked = wanted.asked();
    let source = off_thread(move || Ok(exports::fsma204(at.tubtrail.tracking_events(&asking, operation, &asked)?)));
    let source = source.await?;
    reports::send(house, seat, format, source).await
}
