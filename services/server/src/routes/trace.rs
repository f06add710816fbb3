//! Tracing.

use actix_web::http::header::{ACCEPT, CONTENT_ENCODING};
use actix_web::{HttpRequest, HttpResponse, get, web};
use futures_util::stream;
use serde::{Deserialize, Serialize};
use tubtrail_documents::labels::SVG_MEDIA_TYPE;
use tubtrail_domain::say;
use tubtrail_operations::recalls::ReachedByContact;
use tubtrail_operations::trace::{Direction, Path, Trace, TraceHead, TraceStream, TracedLot};
use tubtrail_operations::{OperationError, Tubtrail, problems};
use utoipa::{IntoParams, ToSchema};
use utoipa_actix_web::service_config::ServiceConfig;

use super::usual;
use crate::body::Query;
use crate::door::SignedIn;
use crate::house::{House, Outcome, off_thread, query};
use crate::pages::drawn_alone;
use crate::problem::Problem;

const NDJSON: &str = "application/x-ndjson";

pub fn configure(config: &mut ServiceConfig) {
    config.service(trace_lot).service(draw_lot_trace).service(show_path).service(trace_delivery);
}

/// How the answer is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(super) enum Format {
    /// A page, as JSON.
    Json,
    /// All of it, a JSON object a line: what it says as a whole, then its lots.
    Ndjson,
}

/// Which part of a trace, and how.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct TraceAsked {
    /// Which way.
    #[param(inline)]
    direction: Direction,
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    after: String,
    /// Most lots on the page, 1 to 500. A page may hold fewer and still not be the last: only `next` tells.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "usual", deserialize_with = "tubtrail_operations::master_data::limit")]
    limit: u32,
    /// `ndjson` streams the whole of it; so does `Accept: application/x-ndjson`.
    #[param(inline)]
    format: Option<Format>,
}

/// Which part of a delivery's trace, and how.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct DeliveryTraceAsked {
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    after: String,
    /// Most lots on the page, 1 to 500. A page may hold fewer and still not be the last: only `next` tells.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "usual", deserialize_with = "tubtrail_operations::master_data::limit")]
    limit: u32,
    /// `ndjson` streams the whole of it; so does `Accept: application/x-ndjson`.
    #[param(inline)]
    format: Option<Format>,
}

/// Where the way leads.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct PathAsked {
    /// The number of the lot it ends with.
    #[param(max_length = 40, example = "261125-0051-7")]
    to: String,
}

/// Every lot that holds any of a lot, or every lot that is in it, in grams.
///
/// A trace crosses sites: who may see the lot sees the whole of its trace. Pages are cut from the trace as it is when they
/// are asked for; if the part already read has changed since, the next page is refused (`trace-moved`) and is to be read again
/// from the first. As NDJSON the first line is what a page says as a whole, its `total` the number of lines that follow; a
/// stream with fewer was cut short. At most 16 are streamed at a time.
#[utoipa::path(tag = "trace", params(("lot", description = "Its number"), TraceAsked),
    responses((status = 200, content((Trace = "application/json"), (String = "application/x-ndjson",
        example = "one object a line")))))]
#[get("/v1/lots/{lot}/trace")]
async fn trace_lot(
    house: House,
    signed_in: SignedIn,
    lot: web::Path<String>,
    asked: Query<TraceAsked>,
    request: HttpRequest,
) -> Outcome {
    let TraceAsked { direction, after, limit, format } = asked.0;
    if wants_stream(&request, format, &after)? {
        let asking = signed_in.into_request(None);
        let begin = move |tubtrail: &Tubtrail| tubtrail.stream_lot_trace(&asking, &lot, direction);
        return streamed(house, TRACE, begin).await;
    }
    query(house, signed_in, move |house, request| house.trace_lot(request, &lot, direction, &after, limit)).await
}

/// Which way to draw it.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct DrawingAsked {
    /// Which way.
    #[param(inline)]
    direction: Direction,
}

/// The trace of a lot as a picture: lots from left to right as they were made, a lane a site, a box for lots alike where there
/// are many, lines as wide as what went from one into another. Its words are English.
#[utoipa::path(tag = "trace", params(("lot", description = "Its number"), DrawingAsked),
    responses((status = 200, content((String = "image/svg+xml", example = "<svg/>")))))]
#[get("/v1/lots/{lot}/trace.svg")]
async fn draw_lot_trace(
    house: House,
    signed_in: SignedIn,
    lot: web::Path<String>,
    asked: Query<DrawingAsked>,
) -> Outcome {
    let (seat, asking) = (house.traces.take()?, signed_in.into_request(None));
    let drawn = off_thread(move || {
        let trace = house.tubtrail.stream_lot_trace(&asking, &lot, asked.0.direction)?;
        let drawn = drawn_alone(&house.tubtrail, &asking, trace, ReachedByContact::default());
        drop(seat);
        drawn
    });
    Ok(HttpResponse::Ok().content_type(SVG_MEDIA_TYPE).body(drawn.await?))
}

/// Every lot that holds any lot of a delivery, traced together, forward. Written as the trace of one lot.
#[utoipa::path(tag = "trace", params(("delivery" = i64, description = "Its number"), DeliveryTraceAsked),
    responses((status = 200, content((Trace = "application/json"), (String = "application/x-ndjson",
        example = "one object a line")))))]
#[get("/v1/deliveries/{delivery}/trace")]
async fn trace_delivery(
    house: House,
    signed_in: SignedIn,
    delivery: web::Path<i64>,
    asked: Query<DeliveryTraceAsked>,
    request: HttpRequest,
) -> Outcome {
    let DeliveryTraceAsked { after, limit, format } = asked.0;
    if wants_stream(&request, format, &after)? {
        let asking = signed_in.into_request(None);
        let begin = move |tubtrail: &Tubtrail| tubtrail.stream_delivery_trace(&asking, *delivery);
        return streamed(house, TRACE, begin).await;
    }
    query(house, signed_in, move |house, request| house.trace_delivery(request, *delivery, &after, limit)).await
}

/// A shortest way by which one lot got into another, in plain words: evidence for a trace.
#[utoipa::path(tag = "trace", params(("lot", description = "The number of the lot it begins with"), PathAsked),
    responses((status = 200, body = Path)))]
#[get("/v1/lots/{lot}/path")]
async fn show_path(house: House, signed_in: SignedIn, lot: web::Path<String>, asked: Query<PathAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.show_path(request, &lot, &asked.0.to)).await
}

pub(super) fn wants_stream(request: &HttpRequest, format: Option<Format>, after: &str) -> Result<bool, Problem> {
    let accepts = request.headers().get(ACCEPT).and_then(|value| value.to_str().ok());
    let accepts =
        accepts.is_some_and(|value| value.split(',').any(|kind| kind.split(';').next().map(str::trim) == Some(NDJSON)));
    let wanted = format.map_or(accepts, |format| format == Format::Ndjson);
    if wanted && !after.is_empty() {
        let detail = say!("a stream begins at the beginning");
        return Err(OperationError::new(&problems::INVALID, detail).at("after").into());
    }
    Ok(wanted)
}

/// How something is read a piece at a time.
pub(super) struct Pieces<S, H, R> {
    /// What it says as a whole.
    pub head: fn(&S) -> &H,
    /// Its next rows; none at its end.
    pub more: fn(&Tubtrail, &mut S) -> Result<Vec<R>, OperationError>,
    /// Whether all of it was read.
    pub is_at_its_end: fn(&S) -> bool,
}

const TRACE: Pieces<TraceStream, TraceHead, TracedLot> =
    Pieces { head: |stream| &stream.head, more: Tubtrail::more_of_trace, is_at_its_end: TraceStream::is_at_its_end };

/// Sends what is read a piece at a time: its head, then a line a row. What fails on the way breaks the connection off, so
/// that no part passes for the whole.
pub(super) async fn streamed<S, H, R>(
    house: House,
    pieces: Pieces<S, H, R>,
    begin: impl FnOnce(&Tubtrail) -> Result<S, OperationError> + Send + 'static,
) -> Outcome
where
    S: Send + 'static,
    H: Serialize + 'static,
    R: Serialize + 'static,
{
    let seat = house.traces.take()?;
    let Pieces { head, more, is_at_its_end } = pieces;
    let at = house.clone();
    let (first, source) = off_thread(move || {
        let mut source = begin(&at.tubtrail)?;
        let rows = more(&at.tubtrail, &mut source)?;
        let mut first = Vec::new();
        let written = line(&mut first, head(&source)).and_then(|()| lines(&mut first, &rows));
        Ok((written.map(|()| first), source))
    })
    .await?;
    let first = first?;
    let mut response = HttpResponse::Ok();
    response.content_type(NDJSON).insert_header((CONTENT_ENCODING, "identity"));
    if is_at_its_end(&source) {
        return Ok(response.body(first));
    }
    // The seat goes with the stream, to its end or until the client is gone.
    let state = (house, seat, source, Some(first));
    let pieces = stream::try_unfold(state, move |(house, seat, mut source, first)| async move {
        if let Some(first) = first {
            return Ok::<_, Problem>(Some((web::Bytes::from(first), (house, seat, source, None))));
        }
        if is_at_its_end(&source) {
            return Ok(None);
        }
        let at = house.clone();
        let (bytes, source) = off_thread(move || {
            let rows = more(&at.tubtrail, &mut source)?;
            let mut bytes = Vec::new();
            Ok((lines(&mut bytes, &rows).map(|()| bytes), source))
        })
        .await?;
        Ok(Some((web::Bytes::from(bytes?), (house, seat, source, None))))
    });
    Ok(response.streaming(pieces))
}

fn lines<T: Serialize>(bytes: &mut Vec<u8>, rows: &[T]) -> Result<(), Problem> {
    rows.iter().try_for_each(|row| line(bytes, row))
}

fn line<T: Serialize>(bytes: &mut Vec<u8>, row: &T) -> Result<(), Problem> {
    serde_json::to_writer(&mut *bytes, row).map_err(|error| Problem::internal(&error))?;
    bytes.push(b'\n');
    Ok(())
}
