//! Recalls.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, get, post, web};
use serde::Deserialize;
use tubtrail_documents::labels::SVG_MEDIA_TYPE;
use tubtrail_operations::Tubtrail;
use tubtrail_operations::master_data::Page;
use tubtrail_operations::recalls::{
    Begun, Closing, Confirmed, DrillReport, DrillsAsked, Ending, LinesFound, LinesWanted, NewConfirmations, NewNotice,
    NewRecall, NewReplies, Notice, PullList, Recall, RecallCase, RecallConsignees, RecallLine, RecallLines,
    RecallLinesHead, RecallOutlook, RecallStream, RecallsAsked, Replies, SeedsAsked,
};
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::trace::{Format, Pieces, streamed, wants_stream};
use super::usual;
use crate::body::{Body, Query, Question};
use crate::door::SignedIn;
use crate::house::{House, Outcome, ask, command, off_thread, query};
use crate::pages::drawn_alone;

const LINES: Pieces<RecallStream, RecallLinesHead, RecallLine> = Pieces {
    head: |stream| &stream.head,
    more: Tubtrail::more_recall_lines,
    is_at_its_end: RecallStream::is_at_its_end,
};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(begin_recall)
        .service(foresee_recall)
        .service(draw_recall)
        .service(list_recalls)
        .service(get_recall)
        .service(list_recall_lines)
        .service(find_recall_lines)
        .service(show_pull_list)
        .service(confirm_recall_lines)
        .service(list_recall_consignees)
        .service(note_recall_notice)
        .service(note_recall_replies)
        .service(close_recall)
        .service(withdraw_recall)
        .service(show_drill_report);
}

/// Which lines of a recall, and how.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct LinesAsked {
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    after: String,
    /// Most lots on the page, 1 to 500; a lot has a line for each site where any of it is or was.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "usual", deserialize_with = "tubtrail_operations::master_data::limit")]
    limit: u32,
    /// `ndjson` streams all of them; so does `Accept: application/x-ndjson`.
    #[param(inline)]
    format: Option<Format>,
}

/// Whose list.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Whose {
    /// The site's code.
    #[param(max_length = 40)]
    site: String,
}

/// Begins a recall, or a drill of one. From its commit on everything it reaches is on hold, wherever it is, and so is what is
/// made or becomes known later.
///
/// Nothing of it can be used, moved, opened, served or consigned any more (`lot-recalled`); what is on its way may be
/// received, and anything may be counted, discarded and confirmed. What it begins with is named in one of seven ways, and
/// each must fit at least one lot (`nothing-fits`).
#[utoipa::path(tag = "recalls", request_body = NewRecall, responses((status = 201, body = Begun)))]
#[post("/v1/recalls")]
async fn begin_recall(house: House, signed_in: SignedIn, body: Body<NewRecall>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, |house, request, new| house.begin_recall(request, new)).await
}

/// What a recall that begins with this would reach, as things stand: lots, sites, customers, and where all of it is. Nothing is
/// written down, and nothing held.
#[utoipa::path(tag = "recalls", request_body = SeedsAsked, responses((status = 200, body = RecallOutlook)))]
#[post("/v1/recalls/outlook")]
async fn foresee_recall(house: House, signed_in: SignedIn, question: Question<SeedsAsked>) -> Outcome {
    ask(house, signed_in, question, |house, request, new| house.foresee_recall(request, &new)).await
}

/// What a recall reaches as a picture, with the way it took; drawn as the trace of a lot. What it reaches by contact alone is
/// dashed: how much of what is recalled is in it is not known.
#[utoipa::path(tag = "recalls", params(("recall" = i64, description = "Its number")),
    responses((status = 200, content((String = "image/svg+xml", example = "<svg/>")))))]
#[get("/v1/recalls/{recall}/trace.svg")]
async fn draw_recall(house: House, signed_in: SignedIn, recall: web::Path<i64>) -> Outcome {
    let (seat, asking) = (house.traces.take()?, signed_in.into_request(None));
    let drawn = off_thread(move || {
        let trace = house.tubtrail.stream_recall_trace(&asking, *recall)?;
        let reached = house.tubtrail.recall_contacts(&asking, *recall)?;
        let drawn = drawn_alone(&house.tubtrail, &asking, trace, reached);
        drop(seat);
        drawn
    });
    Ok(HttpResponse::Ok().content_type(SVG_MEDIA_TYPE).body(drawn.await?))
}

/// Recalls and drills, the last begun first.
#[utoipa::path(tag = "recalls", params(RecallsAsked), responses((status = 200, body = Page<Recall>)))]
#[get("/v1/recalls")]
async fn list_recalls(house: House, signed_in: SignedIn, asked: Query<RecallsAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_recalls(request, &asked.0)).await
}

/// A recall with where everything is: per site, per place, and whether it adds up to the milligram.
///
/// Who may see a recall sees the whole of it, like a trace.
#[utoipa::path(tag = "recalls", params(("recall" = i64, description = "Its number")),
    responses((status = 200, body = RecallCase)))]
#[get("/v1/recalls/{recall}")]
async fn get_recall(house: House, signed_in: SignedIn, recall: web::Path<i64>) -> Outcome {
    query(house, signed_in, move |house, request| house.get_recall(request, *recall)).await
}

/// The lines of a recall: each lot at each site, what became of it there, to whom it went, and who confirmed it.
///
/// Written as a trace is: pages are cut from it as it is when they are asked for (`trace-moved`), and as NDJSON the first line
/// is what they say as a whole. At most 16 of these and of traces are streamed at a time.
#[utoipa::path(tag = "recalls", params(("recall" = i64, description = "Its number"), LinesAsked),
    responses((status = 200, content((RecallLines = "application/json"), (String = "application/x-ndjson",
        example = "one object a line")))))]
#[get("/v1/recalls/{recall}/lines")]
async fn list_recall_lines(
    house: House,
    signed_in: SignedIn,
    recall: web::Path<i64>,
    asked: Query<LinesAsked>,
    request: HttpRequest,
) -> Outcome {
    let LinesAsked { after, limit, format } = asked.0;
    if wants_stream(&request, format, &after)? {
        let asking = signed_in.into_request(None);
        let begin = move |tubtrail: &Tubtrail| tubtrail.stream_recall_lines(&asking, *recall);
        return streamed(house, LINES, begin).await;
    }
    query(house, signed_in, move |house, request| house.list_recall_lines(request, *recall, &after, limit)).await
}

/// Looks through the lines of a recall: of a site, by what is to be done about them, by number; so many at a time.
///
/// The order stays: `next` and `earlier` name a lot, so that a page is the same although others were confirmed meanwhile. With
/// it comes how many there are of each sort. Once nothing is left where a page began, the last one is shown.
#[utoipa::path(tag = "recalls", params(("recall" = i64, description = "Its number"), LinesWanted),
    responses((status = 200, body = LinesFound)))]
#[get("/v1/recalls/{recall}/lines/search")]
async fn find_recall_lines(
    house: House,
    signed_in: SignedIn,
    recall: web::Path<i64>,
    asked: Query<LinesWanted>,
) -> Outcome {
    query(house, signed_in, move |house, request| house.find_recall_lines(request, *recall, &asked.0)).await
}

/// What a site has of a recall, to go through the rooms with: what is still to be confirmed comes first.
#[utoipa::path(tag = "recalls", params(("recall" = i64, description = "Its number"), Whose),
    responses((status = 200, body = PullList)))]
#[get("/v1/recalls/{recall}/pull-list")]
async fn show_pull_list(house: House, signed_in: SignedIn, recall: web::Path<i64>, whose: Query<Whose>) -> Outcome {
    query(house, signed_in, move |house, request| house.show_pull_list(request, *recall, &whose.0.site)).await
}

/// Writes down what a site found of lots of a recall, by name: all of it, or nothing.
///
/// What is destroyed goes off the book as thrown away, what is not found as a count difference, in the same command.
#[utoipa::path(tag = "recalls", request_body = NewConfirmations, params(("recall" = i64, description = "Its number")),
    responses((status = 201, body = Confirmed)))]
#[post("/v1/recalls/{recall}/confirmations")]
async fn confirm_recall_lines(
    house: House,
    signed_in: SignedIn,
    recall: web::Path<i64>,
    body: Body<NewConfirmations>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.confirm_recall_lines(request, *recall, new)
    })
    .await
}

/// Who was handed lots of a recall, how to reach them, what to tell them, and what they answered.
#[utoipa::path(tag = "recalls", params(("recall" = i64, description = "Its number")),
    responses((status = 200, body = RecallConsignees)))]
#[get("/v1/recalls/{recall}/consignees")]
async fn list_recall_consignees(house: House, signed_in: SignedIn, recall: web::Path<i64>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_recall_consignees(request, *recall)).await
}

/// Writes down that a customer was told.
#[utoipa::path(tag = "recalls", request_body = NewNotice, params(("recall" = i64, description = "Its number")),
    responses((status = 201, body = Notice)))]
#[post("/v1/recalls/{recall}/notices")]
async fn note_recall_notice(
    house: House,
    signed_in: SignedIn,
    recall: web::Path<i64>,
    body: Body<NewNotice>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.note_recall_notice(request, *recall, new)
    })
    .await
}

/// Writes down what a customer answered for lots they were handed: all of it, or nothing.
#[utoipa::path(tag = "recalls", request_body = NewReplies, params(("recall" = i64, description = "Its number")),
    responses((status = 201, body = Replies)))]
#[post("/v1/recalls/{recall}/replies")]
async fn note_recall_replies(
    house: House,
    signed_in: SignedIn,
    recall: web::Path<i64>,
    body: Body<NewReplies>,
) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.note_recall_replies(request, *recall, new)
    })
    .await
}

/// Closes a recall once every line is confirmed or explained and every customer has answered (`recall-open-lines`); what is
/// left of it stays on hold. What a drill held is free again.
#[utoipa::path(tag = "recalls", request_body = Closing, params(("recall" = i64, description = "Its number")),
    responses((status = 201, body = Ending)))]
#[post("/v1/recalls/{recall}/closing")]
async fn close_recall(house: House, signed_in: SignedIn, recall: web::Path<i64>, body: Body<Closing>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.close_recall(request, *recall, new)
    })
    .await
}

/// Withdraws a recall that was none, closed or not: nothing is on hold by it any more.
#[utoipa::path(tag = "recalls", request_body = Closing, params(("recall" = i64, description = "Its number")),
    responses((status = 201, body = Ending)))]
#[post("/v1/recalls/{recall}/withdrawal")]
async fn withdraw_recall(house: House, signed_in: SignedIn, recall: web::Path<i64>, body: Body<Closing>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.withdraw_recall(request, *recall, new)
    })
    .await
}

/// How the last drills went: how long each took, what it reached, and whether it added up.
#[utoipa::path(tag = "recalls", params(DrillsAsked), responses((status = 200, body = DrillReport)))]
#[get("/v1/drill-report")]
async fn show_drill_report(house: House, signed_in: SignedIn, asked: Query<DrillsAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.show_drill_report(request, asked.0)).await
}
