//! What a recall reaches, drawn.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, web};
use askama::Template;
use tubtrail_operations::{OperationError, Request, Tubtrail};

use super::title;
use crate::house::{House, off_thread};
use crate::pages::addresses::Address;
use crate::pages::fields::Fields;
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::pictures::{Drawn, Gathered, gather};
use crate::pages::visitor::Visitor;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(case_picture).service(case_picture_part);
}

#[derive(Template)]
#[template(path = "recall_picture.html")]
struct PicturePage {
    frame: Frame,
    title: String,
    recall: i64,
    drawn: Drawn,
    part: String,
}

/// What it reaches, drawn.
#[get("/recalls/{recall}/picture")]
async fn case_picture(house: House, visitor: Visitor, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let seat = house.traces.take().map_err(Unable::of(&request))?;
    let (asks, id) = (visitor.asks(), *recall);
    let found = off_thread(move || {
        let traced = traced(&house.tubtrail, &asks, id)?;
        drop(seat);
        Ok((house.tubtrail.show_me(&asks)?, house.tubtrail.get_recall(&asks, id)?, traced))
    });
    let (me, case, traced) = found.await.map_err(Unable::of(&request))?;
    let texts = visitor.texts;
    let page = PicturePage {
        title: title(texts, &case.recall),
        recall: id,
        drawn: traced.draw(texts, &picture_address(&request, id)),
        part: format!("/recalls/{id}/picture/part"),
        frame: Frame::of(&visitor, &request, me),
    };
    Ok(render(StatusCode::OK, &page))
}

/// The drawing alone.
#[get("/recalls/{recall}/picture/part")]
async fn case_picture_part(house: House, visitor: Visitor, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let seat = house.traces.take().map_err(Unable::of(&request))?;
    let (asks, id) = (visitor.asks(), *recall);
    let found = off_thread(move || {
        let traced = traced(&house.tubtrail, &asks, id);
        drop(seat);
        traced
    });
    let traced = found.await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &traced.draw(visitor.texts, &picture_address(&request, id))))
}

fn traced(tubtrail: &Tubtrail, asks: &Request, recall: i64) -> Result<Gathered, OperationError> {
    let traced = gather(tubtrail, asks, tubtrail.stream_recall_trace(asks, recall)?)?;
    Ok(traced.touching(tubtrail.recall_contacts(asks, recall)?))
}

fn picture_address(request: &HttpRequest, recall: i64) -> Address {
    let asked = Fields::parse(request.query_string().as_bytes());
    Address::of(&format!("/recalls/{recall}/picture"), &asked, &["open", "box"])
}
