//! Statements about what is in items and lots, and what is missing of them.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::master_data::Page;
use tubtrail_operations::statement_gaps::{GapsAsked, StatementGaps};
use tubtrail_operations::statements::{NewStatement, Statement, StatementsAsked, WrittenStatement};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, query};

pub fn configure(config: &mut ServiceConfig) {
    config.service(create_statement).service(list_statements).service(get_statement).service(list_statement_gaps);
}

/// Writes down what a supplier or the maker states of an item or of one lot.
///
/// A correction names the statement it stands in for (`corrects`) and why (`reason`). Either reaches every lot made from what
/// it is about at once; the answer, which the journal keeps, names the tubs that answer otherwise from now on.
#[utoipa::path(tag = "allergens", request_body = NewStatement, responses((status = 201, body = WrittenStatement)))]
#[post("/v1/statements")]
async fn create_statement(house: House, signed_in: SignedIn, body: Body<NewStatement>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, Tubtrail::create_statement).await
}

/// The statements that count, about items and about lots in reach, the first written down first.
#[utoipa::path(tag = "allergens", params(StatementsAsked), responses((status = 200, body = Page<Statement>)))]
#[get("/v1/statements")]
async fn list_statements(house: House, signed_in: SignedIn, asked: Query<StatementsAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_statements(request, &asked.0)).await
}

/// One statement.
#[utoipa::path(tag = "allergens", params(("statement" = i64, description = "Its number")),
    responses((status = 200, body = Statement)))]
#[get("/v1/statements/{statement}")]
async fn get_statement(house: House, signed_in: SignedIn, statement: web::Path<i64>) -> Outcome {
    query(house, signed_in, move |house, request| house.get_statement(request, *statement)).await
}

/// What is missing: ingredients in use without a statement in force today, and lots on hand that leave something unknown.
#[utoipa::path(tag = "allergens", params(GapsAsked), responses((status = 200, body = StatementGaps)))]
#[get("/v1/statement-gaps")]
async fn list_statement_gaps(house: House, signed_in: SignedIn, asked: Query<GapsAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_statement_gaps(request, &asked.0)).await
}
