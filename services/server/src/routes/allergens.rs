//! What is recorded of allergens: checks, sheets, contents of lots, and the order of a day's batches.

use actix_web::{HttpResponse, get, post, web};
use serde::Deserialize;
use tubtrail_documents::allergen_sheet::{self, Legend, SheetAnswer, SheetRow};
use tubtrail_documents::pdf::{self, Paper};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::allergen_checks::{AllergenCheck, LotContents, NewAllergenCheck};
use tubtrail_operations::allergen_sheets::{AllergenSheet, SheetTub};
use tubtrail_operations::allergen_words::{AllergenList, Answer};
use tubtrail_operations::batch_orders::{BatchOrder, NewBatchOrder};
use utoipa::{IntoParams, ToSchema};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::{Query, Question};
use crate::door::SignedIn;
use crate::house::{House, Outcome, ask, ask_at_hand, off_thread, query};
use crate::problem::Problem;

pub fn configure(config: &mut ServiceConfig) {
    config.service(check_allergens).service(show_lot_contents).service(show_allergen_sheet).service(order_batches);
}

/// What the sheet is to be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
enum Format {
    /// Figures.
    #[default]
    Json,
    /// A page to print or to show.
    Html,
    /// A page to print.
    Pdf,
}

/// Which sheet.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct SheetAsked {
    /// Whose list.
    #[param(inline)]
    #[serde(default)]
    list: AllergenList,
    /// As what.
    #[param(inline)]
    #[serde(default)]
    format: Format,
}

/// What is recorded of some allergens in one tub, in a portion of several, or in everything open at a site now.
///
/// For each: contains, `may_contain`, unknown or `not_recorded`, the worst first, with the evidence. No answer says that
/// something is not there. It only reads: nothing is written down by it.
#[utoipa::path(tag = "allergens", request_body = NewAllergenCheck, responses((status = 200, body = AllergenCheck)))]
#[post("/v1/allergen-checks")]
async fn check_allergens(house: House, signed_in: SignedIn, question: Question<NewAllergenCheck>) -> Outcome {
    ask_at_hand(house, signed_in, question.0, Tubtrail::check_allergens_at_hand, Tubtrail::check_allergens).await
}

/// All that is recorded of what is in a lot, by what went in and what ran before it; what a scoop did is not in this.
#[utoipa::path(tag = "allergens", params(("lot", description = "Its number")),
    responses((status = 200, body = LotContents)))]
#[get("/v1/lots/{lot}/contents")]
async fn show_lot_contents(house: House, signed_in: SignedIn, lot: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.lot_contents(request, &lot)).await
}

/// All flavours in the case of a site by all allergens of a list, from the tubs that stand open now and not from recipes.
#[utoipa::path(tag = "allergens", params(("site", description = "Its code"), SheetAsked),
    responses((status = 200, content((AllergenSheet = "application/json"),
        (String = "text/html", example = "a page"), (String = "application/pdf", example = "a page")))))]
#[get("/v1/sites/{site}/allergen-sheet")]
async fn show_allergen_sheet(
    house: House,
    signed_in: SignedIn,
    site: web::Path<String>,
    asked: Query<SheetAsked>,
) -> Outcome {
    let SheetAsked { list, format } = asked.0;
    let asking = signed_in.into_request(None);
    let sheet = off_thread(move || house.tubtrail.allergen_sheet(&asking, &site, list)).await?;
    if format == Format::Json {
        return Ok(HttpResponse::Ok().json(sheet));
    }
    let printed = web::block(move || print(&to_print(sheet), format)).await;
    let (kind, bytes) = printed.map_err(|stopped| Problem::internal(&stopped))??;
    Ok(HttpResponse::Ok().content_type(kind).body(bytes))
}

/// In which order to make a day's batches on one machine so that it is cleaned as few times as can be.
///
/// A proposal: nothing is set aside by it, and it only reads.
#[utoipa::path(tag = "batches", request_body = NewBatchOrder, responses((status = 200, body = BatchOrder)))]
#[post("/v1/batch-orders")]
async fn order_batches(house: House, signed_in: SignedIn, question: Question<NewBatchOrder>) -> Outcome {
    ask(house, signed_in, question, |house, request, new| house.order_batches(request, &new)).await
}

fn print(sheet: &allergen_sheet::AllergenSheet, format: Format) -> Result<(&'static str, Vec<u8>), Problem> {
    if format == Format::Pdf {
        let bytes = allergen_sheet::pdf(sheet, Paper::A4).map_err(|error| Problem::internal(&error))?;
        return Ok((pdf::MEDIA_TYPE, bytes));
    }
    let page = allergen_sheet::html(sheet).map_err(|error| Problem::internal(&error))?;
    Ok(("text/html; charset=utf-8", page.into_bytes()))
}

fn to_print(sheet: AllergenSheet) -> allergen_sheet::AllergenSheet {
    let held = sheet
        .rows
        .iter()
        .flat_map(|row| row.tubs.iter().filter_map(|tub| Some(format!("{} {}: {}", row.name, tub.lot, kept_by(tub)?))));
    allergen_sheet::AllergenSheet {
        held: held.collect(),
        site: sheet.name,
        day: sheet.day,
        printed_at: sheet.clock,
        journal_position: sheet.journal_position,
        list_names: vec![sheet.law],
        columns: sheet.columns.into_iter().map(|column| column.title).collect(),
        rows: sheet
            .rows
            .into_iter()
            .map(|row| SheetRow {
                flavour: row.name,
                tubs: row.tubs.into_iter().map(|tub| tub.lot).collect(),
                cells: row.answers.into_iter().map(cell).collect(),
            })
            .collect(),
        caution: sheet.caution,
        legend: Legend {
            contains: "It is in there.".into(),
            may_contain: "It may be in there.".into(),
            unknown: "Nobody has said whether it is in there.".into(),
            not_recorded: "Nothing on record puts it there. That clears nothing.".into(),
        },
        language: "en".into(),
    }
}

/// Why a tub must not be served, if it must not.
fn kept_by(tub: &SheetTub) -> Option<String> {
    if let Some(recall) = tub.recalls.first() {
        return Some(format!("under recall {recall}, not to be served"));
    }
    tub.on_hold.as_ref().map(|hold| format!("on hold, not to be served: {}", hold.reason))
}

const fn cell(answer: Answer) -> SheetAnswer {
    match answer {
        Answer::Contains => SheetAnswer::Contains,
        Answer::MayContain => SheetAnswer::MayContain,
        Answer::Unknown => SheetAnswer::Unknown,
        Answer::NotRecorded => SheetAnswer::NotRecorded,
    }
}
