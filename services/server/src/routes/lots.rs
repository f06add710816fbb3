//! Lots.

use actix_web::{get, web};
use chrono::NaiveDate;
use serde::Deserialize;
use tubtrail_operations::lots::{Lot, LotKind, LotMovement, LotSearch};
use tubtrail_operations::master_data::Page;
use tubtrail_operations::{Request, Tubtrail};
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::{Paging, usual};
use crate::body::Query;
use crate::door::SignedIn;
use crate::house::{House, Outcome, ask_at_hand, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(list_lots).service(get_lot).service(list_lot_movements);
}

/// Which lots, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct LotsAsked {
    /// With this number of ours.
    #[param(max_length = 40, example = "261125-0042-7")]
    number: Option<String>,
    /// With exactly this code of the supplier's.
    #[param(max_length = 60)]
    supplier_lot_code: Option<String>,
    /// With a code of the supplier's that begins like this, case and all.
    #[param(max_length = 60)]
    supplier_lot_code_prefix: Option<String>,
    /// From this supplier, by code.
    #[param(max_length = 40)]
    supplier: Option<String>,
    /// Of this item, by code.
    #[param(max_length = 40)]
    item: Option<String>,
    /// Of this kind.
    #[param(inline)]
    kind: Option<LotKind>,
    /// Numbered on this day or later.
    #[serde(default, deserialize_with = "tubtrail_operations::days::optional_day")]
    day_from: Option<NaiveDate>,
    /// Numbered on this day or earlier.
    #[serde(default, deserialize_with = "tubtrail_operations::days::optional_day")]
    day_to: Option<NaiveDate>,
    /// That came to be at this site, or have ever been there, by code.
    #[param(max_length = 40)]
    site: Option<String>,
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    after: String,
    /// Most rows on the page, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "usual", deserialize_with = "tubtrail_operations::master_data::limit")]
    limit: u32,
}

/// Lots that came to be, or have ever been, where you may see them, in the order in which they were written down.
#[utoipa::path(tag = "lots", params(LotsAsked), responses((status = 200, body = Page<Lot>)))]
#[get("/v1/lots")]
async fn list_lots(house: House, signed_in: SignedIn, asked: Query<LotsAsked>) -> Outcome {
    let asked = asked.0;
    let search = LotSearch {
        number: asked.number,
        supplier_lot_code: asked.supplier_lot_code,
        supplier_lot_code_prefix: asked.supplier_lot_code_prefix,
        supplier: asked.supplier,
        item: asked.item,
        kind: asked.kind,
        day_from: asked.day_from,
        day_to: asked.day_to,
        site: asked.site,
    };
    query(house, signed_in, move |house, request| house.list_lots(request, &search, &asked.after, asked.limit)).await
}

/// One lot: where it came from, where it is, what became of it.
///
/// It is in reach of those at the site where it came to be and at every site where it has ever been.
#[utoipa::path(tag = "lots", params(("lot", description = "Its number")), responses((status = 200, body = Lot)))]
#[get("/v1/lots/{lot}")]
async fn get_lot(house: House, signed_in: SignedIn, lot: web::Path<String>) -> Outcome {
    let get_lot = |house: &Tubtrail, request: &Request, lot: &String| house.get_lot(request, lot);
    let at_hand = |house: &Tubtrail, request: &Request, lot: &String| house.get_lot_at_hand(request, lot);
    ask_at_hand(house, signed_in, lot.into_inner(), at_hand, get_lot).await
}

/// Where a lot has been, oldest first.
#[utoipa::path(tag = "lots", params(("lot", description = "Its number"), Paging),
    responses((status = 200, body = Page<LotMovement>)))]
#[get("/v1/lots/{lot}/movements")]
async fn list_lot_movements(
    house: House,
    signed_in: SignedIn,
    lot: web::Path<String>,
    paging: Query<Paging>,
) -> Outcome {
    query(house, signed_in, move |house, request| {
        house.list_lot_movements(request, &lot, &paging.0.after, paging.0.limit)
    })
    .await
}
