//! Reports to hand over.

use actix_web::{get, web};
use serde::Deserialize;
use tubtrail_operations::trace::Direction;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::Query;
use crate::door::SignedIn;
use crate::house::{House, Outcome, off_thread};
use crate::reports::{self, ReportFormat};

pub fn configure(config: &mut ServiceConfig) {
    config.service(report_recall).service(report_lot_trace).service(report_delivery_trace);
}

/// How it is written.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Written {
    /// json, pdf, xlsx, csv or txt.
    #[param(inline)]
    #[serde(default)]
    format: ReportFormat,
}

/// Which way, and how it is written.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct TraceWritten {
    /// Which way.
    #[param(inline)]
    direction: Direction,
    /// json, pdf, xlsx, csv or txt.
    #[param(inline)]
    #[serde(default)]
    format: ReportFormat,
}

/// The report of a recall: a row a lot and place, with the data elements of 21 CFR 1.1340, 1.1345 and 1.1350 and of SFCR s. 90
/// where they apply.
///
/// As JSON it is the case with its `lines`. CSV and plain text (one file, for SFCR s. 91) are streamed; a PDF has some of the
/// columns and the first 5000 rows, and says how many more there are. Text that a spreadsheet would take for a formula has an
/// apostrophe before it. At most 16 of these, of traces and of lines are made at a time.
#[utoipa::path(tag = "recalls", params(("recall" = i64, description = "Its number"), Written),
    responses((status = 200, content(
        (Object = "application/json", example = json!({"caution": "This is what was recorded.", "lines": []})),
        (String = "text/csv", example = "Traceability lot code,Supplier's lot code"),
        (String = "application/pdf", example = "%PDF-1.7"),
        (String = "text/tab-separated-values", example = "Record\tLabel\tValue"),
        (String = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", example = "PK")))))]
#[get("/v1/recalls/{recall}/report")]
async fn report_recall(house: House, signed_in: SignedIn, recall: web::Path<i64>, written: Query<Written>) -> Outcome {
    let asking = signed_in.into_request(None);
    let (at, seat) = (house.clone(), house.traces.take()?);
    let source = off_thread(move || reports::recall(&at.tubtrail, &asking, *recall)).await?;
    reports::send(house, seat, written.0.format, source).await
}

/// The report of a lot's trace: a row a lot and place. Written as the report of a recall.
#[utoipa::path(tag = "trace", params(("lot", description = "Its number"), TraceWritten),
    responses((status = 200, content(
        (Object = "application/json", example = json!({"caution": "This is what was recorded.", "lines": []})),
        (String = "text/csv", example = "Traceability lot code,Supplier's lot code"),
        (String = "application/pdf", example = "%PDF-1.7"),
        (String = "text/tab-separated-values", example = "Record\tLabel\tValue"),
        (String = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", example = "PK")))))]
#[get("/v1/lots/{lot}/trace-report")]
async fn report_lot_trace(
    house: House,
    signed_in: SignedIn,
    lot: web::Path<String>,
    written: Query<TraceWritten>,
) -> Outcome {
    let TraceWritten { direction, format } = written.0;
    let asking = signed_in.into_request(None);
    let (at, seat) = (house.clone(), house.traces.take()?);
    let source = off_thread(move || {
        let trace = at.tubtrail.stream_lot_trace(&asking, &lot, direction)?;
        let of = trace.head.of.join("-");
        reports::trace(trace, &format!("lot-{of}"))
    });
    let source = source.await?;
    reports::send(house, seat, format, source).await
}

/// The report of a delivery's trace, forward: a row a lot and place. Written as the report of a recall.
#[utoipa::path(tag = "trace", params(("delivery" = i64, description = "Its number"), Written),
    responses((status = 200, content(
        (Object = "application/json", example = json!({"caution": "This is what was recorded.", "lines": []})),
        (String = "text/csv", example = "Traceability lot code,Supplier's lot code"),
        (String = "application/pdf", example = "%PDF-1.7"),
        (String = "text/tab-separated-values", example = "Record\tLabel\tValue"),
        (String = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", example = "PK")))))]
#[get("/v1/deliveries/{delivery}/trace-report")]
async fn report_delivery_trace(
    house: House,
    signed_in: SignedIn,
    delivery: web::Path<i64>,
    written: Query<Written>,
) -> Outcome {
    let asking = signed_in.into_request(None);
    let (at, seat) = (house.clone(), house.traces.take()?);
    let source = off_thread(move || {
        let trace = at.tubtrail.stream_delivery_trace(&asking, *delivery)?;
        reports::trace(trace, &format!("delivery-{delivery}"))
    });
    let source = source.await?;
    reports::send(house, seat, written.0.format, source).await
}
