//! Prints: what was printed, and what the printers made of it.

use actix_web::http::StatusCode;
use actix_web::{get, post, web};
use tubtrail_operations::master_data::Page;
use tubtrail_operations::print_queue::{PrintCancellation, PrintSettlement};
use tubtrail_operations::prints::{NewPrint, Print, PrintsAsked};
use tubtrail_operations::reach::{self, Operation};
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::body::{Body, Query};
use crate::door::SignedIn;
use crate::house::{House, Outcome, command, off_thread, query};
use crate::labels::{LabelFormat, answer, draw, fits};

pub fn configure(config: &mut ServiceConfig) {
    config
        .service(print_label)
        .service(list_lot_prints)
        .service(list_prints)
        .service(get_print)
        .service(draw_print_svg)
        .service(draw_print_png)
        .service(draw_print_pdf)
        .service(cancel_print)
        .service(settle_print);
}

/// Prints the label of a lot, or writes down that the caller does: the answer says which print of the lot it is.
///
/// With a printer it goes into that printer's queue and waits there while the printer is away. Without one the caller draws it
/// from the print and sees to it. From the second on it needs a reason. While something in it is unknown, or the lot is under
/// recall or was rejected, it is refused, unless an owner or a cook gives a reason, which then stands on the label. A lot on
/// hold may be labelled; the answer warns of it.
#[utoipa::path(tag = "labels", request_body = NewPrint, params(("lot", description = "Our number for it")),
    responses((status = 201, body = Print)))]
#[post("/v1/lots/{lot}/prints")]
async fn print_label(house: House, signed_in: SignedIn, lot: web::Path<String>, body: Body<NewPrint>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.print_label(request, &lot, new, fits())
    })
    .await
}

/// Every print of a lot, oldest first.
#[utoipa::path(tag = "labels", params(("lot", description = "Our number for it"), Paging),
    responses((status = 200, body = Page<Print>)))]
#[get("/v1/lots/{lot}/prints")]
async fn list_lot_prints(house: House, signed_in: SignedIn, lot: web::Path<String>, paging: Query<Paging>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_lot_prints(request, &lot, &paging.0.after, paging.0.limit))
        .await
}

/// What the printers have or had to print, oldest first.
#[utoipa::path(tag = "labels", params(PrintsAsked), responses((status = 200, body = Page<Print>)))]
#[get("/v1/prints")]
async fn list_prints(house: House, signed_in: SignedIn, asked: Query<PrintsAsked>) -> Outcome {
    query(house, signed_in, move |house, request| house.list_prints(request, &asked.0)).await
}

/// One print, and what its printer made of it.
#[utoipa::path(tag = "labels", params(("print" = i64, description = "Its number")), responses((status = 200, body = Print)))]
#[get("/v1/prints/{print}")]
async fn get_print(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    query(house, signed_in, move |house, request| house.get_print(request, *id)).await
}

/// The label of a print as outlines, in millimetres, as it was printed.
#[utoipa::path(tag = "labels", params(("print" = i64, description = "Its number")),
    responses((status = 200, content((String = "image/svg+xml", example = "<svg/>")))))]
#[get("/v1/prints/{print}/label.svg")]
async fn draw_print_svg(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    drawn(house, signed_in, *id, &reach::DRAW_PRINT_SVG, LabelFormat::Svg).await
}

/// The label of a print as black and white dots, one for each of the printer, as it was printed.
#[utoipa::path(tag = "labels", params(("print" = i64, description = "Its number")),
    responses((status = 200, content((String = "image/png", example = "PNG")))))]
#[get("/v1/prints/{print}/label.png")]
async fn draw_print_png(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    drawn(house, signed_in, *id, &reach::DRAW_PRINT_PNG, LabelFormat::Png).await
}

/// The label of a print as a page of its size, as it was printed.
#[utoipa::path(tag = "labels", params(("print" = i64, description = "Its number")),
    responses((status = 200, content((String = "application/pdf", example = "%PDF-1.7")))))]
#[get("/v1/prints/{print}/label.pdf")]
async fn draw_print_pdf(house: House, signed_in: SignedIn, id: web::Path<i64>) -> Outcome {
    drawn(house, signed_in, *id, &reach::DRAW_PRINT_PDF, LabelFormat::Pdf).await
}

async fn drawn(
    house: House,
    signed_in: SignedIn,
    id: i64,
    operation: &'static Operation,
    format: LabelFormat,
) -> Outcome {
    let request = signed_in.into_request(None);
    let drawn = off_thread(move || {
        let print = house.tubtrail.show_print(&request, operation, id)?;
        draw(&print.label, print.size, print.dpi, format)
    });
    Ok(answer(drawn.await?, format))
}

/// Takes a print back, as long as it is not on its way to the printer.
#[utoipa::path(tag = "labels", request_body = PrintCancellation, params(("print" = i64, description = "Its number")),
    responses((status = 201, body = Print)))]
#[post("/v1/prints/{print}/cancellation")]
async fn cancel_print(house: House, signed_in: SignedIn, id: web::Path<i64>, body: Body<PrintCancellation>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.cancel_print(request, *id, new)
    })
    .await
}

/// Says whether a print came out, of which nobody knows it or which the printer refused. If it did not, it is tried again.
#[utoipa::path(tag = "labels", request_body = PrintSettlement, params(("print" = i64, description = "Its number")),
    responses((status = 201, body = Print)))]
#[post("/v1/prints/{print}/settlement")]
async fn settle_print(house: House, signed_in: SignedIn, id: web::Path<i64>, body: Body<PrintSettlement>) -> Outcome {
    command(house, signed_in, body, StatusCode::CREATED, move |house, request, new| {
        house.settle_print(request, *id, new)
    })
    .await
}
