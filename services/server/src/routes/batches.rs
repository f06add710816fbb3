//! Batches.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use chrono::NaiveDate;
use serde::Deserialize;
use tubtrail_operations::batch_equipment::{EquipmentRuns, NewEquipmentRuns};
use tubtrail_operations::batches::{Batch, BatchSummary, NewBatch, WhichBatches};
use tubtrail_operations::completions::{Completed, NewCompletion};
use tubtrail_operations::master_data::Page;
use tubtrail_operations::readings::{NewReadings, ReadingVoid, Readings};
use tubtrail_operations::uses::{AddedUses, BatchUse, NewUses};
use tubtrail_operations::voids::UseVoid;
use tubtrail_operations::write_ups::NewWriteUp;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(write_up_batch)
        .service(start_batch)
        .service(list_batches)
        .service(get_batch)
        .service(add_uses)
        .service(void_use)
        .service(add_batch_equipment)
        .service(add_readings)
        .service(void_reading)
        .service(complete_batch);
}

/// Which batches.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Which {
    /// Only at this site, by code.
    #[param(max_length = 40)]
    site: Option<String>,
    /// Begun on this day or later, as days are counted at their site.
    #[param(example = "2026-11-25")]
    #[serde(default, deserialize_with = "tubtrail_operations::days::optional_day")]
    from: Option<NaiveDate>,
    /// Begun on this day or earlier.
    #[param(example = "2026-11-25")]
    #[serde(default, deserialize_with = "tubtrail_operations::days::optional_day")]
    until: Option<NaiveDate>,
    /// Only of this recipe, by code, whatever its version.
    #[param(max_length = 40)]
    recipe: Option<String>,
    /// Only those not completed.
    #[serde(default)]
    open: bool,
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    after: String,
    /// Most rows on the page, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "super::usual", deserialize_with = "tubtrail_operations::master_data::limit")]
    limit: u32,
}

impl From<Which> for WhichBatches {
    fn from(which: Which) -> Self {
        let Which { site, from, until, recipe, open, after, limit } = which;
        Self { site, from, until, recipe, open, after, limit }
    }
}

/// Begins a batch of the version of a recipe that is in force.
#[utoipa::path(tag = "batches", request_body = NewBatch, responses((status = 201, body = Batch)))]
#[post("/v1/batches")]
async fn start_batch(house: House, signed_in: SignedIn, body: Body<NewBatch>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, |house, request, new| house.start_batch(request, new)).await
}

/// Writes up a whole batch from the sheet on which it was kept: all of it, or nothing.
///
/// A use without a time of its own went in when the batch began. Everything is judged as if it were written down step by
/// step; the field at fault says where, as in `uses[2].quantity.amount`.
#[utoipa::path(tag = "batches", request_body = NewWriteUp, responses((status = 201, body = Batch)))]
#[post("/v1/batches/write-up")]
async fn write_up_batch(house: House, signed_in: SignedIn, body: Body<NewWriteUp>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, |house, request, new| house.write_up_batch(request, new)).await
}

/// Batches, the last written down first.
#[utoipa::path(tag = "batches", params(Which), responses((status = 200, body = Page<BatchSummary>)))]
#[get("/v1/batches")]
async fn list_batches(house: House, signed_in: SignedIn, which: Query<Which>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_batches(request, &which.0.into())).await
}

/// One batch: what went in, what it ran on, the temperatures, and what came out.
#[utoipa::path(tag = "batches", params(("batch" = i64, description = "Its number")),
    responses((status = 200, body = Batch)))]
#[get("/v1/batches/{batch}")]
async fn get_batch(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    query(house, signed_in, move |house, request| house.get_batch(request, *id)).await
}

/// Writes down what went into a batch: all of it, or nothing.
///
/// The first that speaks against a use is named, in this order: the lot is on hold, was rejected, is not at the site, is an
/// open tub, was not there yet, is past its date, is not mature, is not enough. An owner may have a lot used before it is
/// mature, with a reason. A batch already completed takes late uses that carry a reason, unless one would make a lot
/// contain itself.
#[utoipa::path(tag = "batches", request_body = NewUses, params(("batch" = i64, description = "Its number")),
    responses((status = 201, body = AddedUses)))]
#[post("/v1/batches/{batch}/uses")]
async fn add_uses(house: House, signed_in: SignedIn, id: web::Path<i64>, body: Body<NewUses>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| house.add_uses(request, *id, new))
        .await
}

/// Says that a use did not happen: what was used is back on the shelf, and nothing descends from it any more.
#[utoipa::path(tag = "batches", request_body = UseVoid, params(("use" = i64, description = "The use's number")),
    responses((status = 201, body = BatchUse)))]
#[post("/v1/uses/{use}/void")]
async fn void_use(house: House, signed_in: SignedIn, id: web::Path<i64>, body: Body<UseVoid>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| house.void_use(request, *id, new))
        .await
}

/// Writes down what a batch ran on: all of it, or nothing.
#[utoipa::path(tag = "batches", request_body = NewEquipmentRuns, params(("batch" = i64, description = "Its number")),
    responses((status = 201, body = EquipmentRuns)))]
#[post("/v1/batches/{batch}/equipment")]
async fn add_batch_equipment(
    house: House,
    signed_in: SignedIn,
    id: web::Path<i64>,
    body: Body<NewEquipmentRuns>,
) -> Outcome {
    let add = move |house: &tubtrail_operations::Tubtrail, request: &tubtrail_operations::Request, new| {
        house.add_batch_equipment(request, *id, new)
    };
    command(house, signed_in, body, StatusCode::CREATED, add).await
}

/// Writes down temperatures of a batch: all of them, or nothing.
#[utoipa::path(tag = "batches", request_body = NewReadings, params(("batch" = i64, description = "Its number")),
    responses((status = 201, body = Readings)))]
#[post("/v1/batches/{batch}/readings")]
async fn add_readings(house: House, signed_in: SignedIn, id: web::Path<i64>, body: Body<NewReadings>) -> Outcome {
    let created = StatusCode::CREATED;
    command(house, signed_in, body, created, move |house, request, new| house.add_readings(request, *id, new)).await
}

/// Says that a temperature was not as it was written down: it counts for nothing any more, and is still told.
///
/// One that was only mistyped is put right in one go: what it was in truth takes its place, of the same step and time.
#[utoipa::path(tag = "batches", request_body = ReadingVoid, params(("reading" = i64, description = "The reading's number")),
    responses((status = 201, body = Readings)))]
#[post("/v1/readings/{reading}/void")]
async fn void_reading(house: House, signed_in: SignedIn, id: web::Path<i64>, body: Body<ReadingVoid>) -> Outcome {
    let created = StatusCode::CREATED;
    command(house, signed_in, body, created, move |house, request, new| house.void_reading(request, *id, new)).await
}

/// Completes a batch: its outputs become lots under numbers of their own.
///
/// No more may come out than went in; what is missing was lost. A lot rests as long as the recipe says, and keeps as long as
/// it is given, or as long as its item says.
#[utoipa::path(tag = "batches", request_body = NewCompletion, params(("batch" = i64, description = "Its number")),
    responses((status = 201, body = Completed)))]
#[post("/v1/batches/{batch}/completion")]
async fn complete_batch(house: House, signed_in: SignedIn, id: web::Path<i64>, body: Body<NewCompletion>) -> Outcome {
    let created = StatusCode::CREATED;
    command(house, signed_in, body, created, move |house, request, new| house.complete_batch(request, *id, new)).await
}
