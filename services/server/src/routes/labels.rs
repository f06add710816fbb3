//! Labels, as they would be printed now.

use actix_web::{get, web};
use serde::Deserialize;
use tubtrail_operations::allergen_words::AllergenList;
use tubtrail_operations::labels::{Dpi, Label, LabelSize};
use utoipa::{IntoParams, ToSchema};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::Query;
use crate::door::SignedIn;
use crate::house::{House, Outcome, off_thread, query};
use crate::labels::{LabelFormat, answer, draw};

pub fn configure(config: &mut ServiceConfig) {
    config.service(show_label).service(draw_label_svg).service(draw_label_png).service(draw_label_pdf);
}

/// In which language.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
enum Language {
    /// English.
    #[default]
    En,
}

/// Whose law, and in which language.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct LabelAsked {
    /// Whose law it follows: eu, us or ca; the maker's, if absent.
    #[param(inline)]
    jurisdiction: Option<AllergenList>,
    /// The language of its words: en.
    #[param(inline)]
    #[serde(default, rename = "language")]
    _language: Language,
}

/// Whose law, in which language, on what.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct DrawingAsked {
    /// The size of the label in millimetres: 60x40 or 100x50.
    #[param(inline)]
    #[serde(default)]
    size: LabelSize,
    /// Dots of the printer in an inch: 203 or 300.
    #[param(value_type = u32, minimum = 203, maximum = 300)]
    #[serde(default)]
    dpi: Dpi,
    /// Whose law it follows: eu, us or ca; the maker's, if absent.
    #[param(inline)]
    jurisdiction: Option<AllergenList>,
    /// The language of its words: en.
    #[param(inline)]
    #[serde(default, rename = "language")]
    _language: Language,
}

/// What the label of a lot says: its ingredients by what really went in, what it contains and may contain, by the law of a
/// place.
///
/// Refused while something in it is unknown (`label-unknown`), or the lot is under recall or was rejected; a print may be
/// ordered despite that, with a reason, and the label then says so. To look at only: what is printed is asked for as a print,
/// which is counted.
#[utoipa::path(tag = "labels", params(("lot", description = "Our number for it"), LabelAsked),
    responses((status = 200, body = Label)))]
#[get("/v1/lots/{lot}/label.json")]
async fn show_label(house: House, signed_in: SignedIn, lot: web::Path<String>, asked: Query<LabelAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.show_label(request, &lot, asked.0.jurisdiction)).await
}

/// The label of a lot as outlines, in millimetres. What does not fit is refused, naming the part (`label-no-room`); nothing is
/// cut off. Refused as what it says is.
#[utoipa::path(tag = "labels", params(("lot", description = "Our number for it"), DrawingAsked),
    responses((status = 200, content((String = "image/svg+xml", example = "<svg/>")))))]
#[get("/v1/lots/{lot}/label.svg")]
async fn draw_label_svg(
    house: House,
    signed_in: SignedIn,
    lot: web::Path<String>,
    asked: Query<DrawingAsked>,
) -> Outcome {
    drawn(house, signed_in, lot, asked.0, LabelFormat::Svg).await
}

/// The label of a lot as black and white dots, one for each of the printer. What does not fit is refused, naming the part (`label-no-room`); nothing is
/// cut off. Refused as what it says is.
#[utoipa::path(tag = "labels", params(("lot", description = "Our number for it"), DrawingAsked),
    responses((status = 200, content((String = "image/png", example = "PNG")))))]
#[get("/v1/lots/{lot}/label.png")]
async fn draw_label_png(
    house: House,
    signed_in: SignedIn,
    lot: web::Path<String>,
    asked: Query<DrawingAsked>,
) -> Outcome {
    drawn(house, signed_in, lot, asked.0, LabelFormat::Png).await
}

/// The label of a lot as a page of its size. What does not fit is refused, naming the part (`label-no-room`); nothing is
/// cut off. Refused as what it says is.
#[utoipa::path(tag = "labels", params(("lot", description = "Our number for it"), DrawingAsked),
    responses((status = 200, content((String = "application/pdf", example = "%PDF-1.7")))))]
#[get("/v1/lots/{lot}/label.pdf")]
async fn draw_label_pdf(
    house: House,
    signed_in: SignedIn,
    lot: web::Path<String>,
    asked: Query<DrawingAsked>,
) -> Outcome {
    drawn(house, signed_in, lot, asked.0, LabelFormat::Pdf).await
}

async fn drawn(
    house: House,
    signed_in: SignedIn,
    lot: web::Path<String>,
    asked: DrawingAsked,
    format: LabelFormat,
) -> Outcome {
    let request = signed_in.into_request(None);
    let drawn = off_thread(move || {
        let label = house.tubtrail.show_label(&request, &lot, asked.jurisdiction)?;
        draw(&label, asked.size, asked.dpi, format)
    });
    Ok(answer(drawn.await?, format))
}
