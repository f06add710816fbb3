//! Recipes.

use actix_web::http::StatusCode;
use actix_web::{get, post, put, web};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::master_data::Page;
use tubtrail_operations::picks::{Picks, PicksWanted};
use tubtrail_operations::recipes::Recipe;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(list_recipes)
        .service(get_recipe)
        .service(list_recipe_versions)
        .service(create_recipe)
        .service(change_recipe)
        .service(propose_picks);
}

/// The recipes, in order of code.
#[utoipa::path(tag = "recipes", params(Paging), responses((status = 200, body = Page<Recipe>)))]
#[get("/v1/recipes")]
async fn list_recipes(house: House, signed_in: SignedIn, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list::<Recipe>(request, &paging.0.after, paging.0.limit)).await
}

/// One recipe.
#[utoipa::path(tag = "recipes", params(("recipe", description = "Its code")), responses((status = 200, body = Recipe)))]
#[get("/v1/recipes/{recipe}")]
async fn get_recipe(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.get::<Recipe>(request, &code)).await
}

/// Every version of a recipe, oldest first.
#[utoipa::path(tag = "recipes", params(("recipe", description = "Its code")), responses((status = 200, body = Vec<Recipe>)))]
#[get("/v1/recipes/{recipe}/versions")]
async fn list_recipe_versions(house: House, signed_in: SignedIn, code: web::Path<String>) -> Outcome {
    query(house, signed_in, move |house, request| house.versions::<Recipe>(request, &code)).await
}

/// Creates a recipe.
#[utoipa::path(tag = "recipes", request_body = Recipe, responses((status = 201, body = Recipe)))]
#[post("/v1/recipes")]
async fn create_recipe(house: House, signed_in: SignedIn, body: Body<Recipe>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::create).await
}

/// Changes a recipe: the whole of it, as of the version it was read at.
#[utoipa::path(tag = "recipes", request_body = Recipe, params(("recipe", description = "Its code")),
    responses((status = 200, body = Recipe)))]
#[put("/v1/recipes/{recipe}")]
async fn change_recipe(house: House, signed_in: SignedIn, code: web::Path<String>, body: Body<Recipe>) -> Outcome {
    command(house, signed_in, body, StatusCode::OK, move |house, request, next| house.change(request, &code, next))
        .await
}

/// Which lots to take for a recipe as it stands, what expires first going first. A proposal: nothing is set aside by it.
///
/// Only what lies available at the site, neither on hold nor rejected, not past its last day there, and mature.
#[utoipa::path(tag = "recipes", params(("recipe", description = "Its code"), PicksWanted),
    responses((status = 200, body = Picks)))]
#[get("/v1/recipes/{recipe}/picks")]
async fn propose_picks(
    house: House,
    signed_in: SignedIn,
    code: web::Path<String>,
    wanted: Query<PicksWanted>,
) -> Outcome {
    query(house, signed_in, move |house, request| house.propose_picks(request, &code, &wanted.0)).await
}
