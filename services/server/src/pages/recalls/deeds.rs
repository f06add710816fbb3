//! How a recall ends by its page: closed, or withdrawn, each with a name and a reason.

use actix_web::{HttpRequest, post, web};
use tubtrail_operations::recalls::Closing;

use super::case::show;
use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::forms::{Form, see_said};
use crate::pages::page::{Shown, Unable};
use crate::pages::visitor::Sent;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(close_recall_form).service(withdraw_recall_form);
}

fn closing(fields: &Fields) -> Closing {
    let text = |name: &str| fields.get(name).unwrap_or("").to_owned();
    Closing { name: text("name"), reason: text("reason") }
}

/// Closes it.
#[post("/recalls/{recall}/closing")]
async fn close_recall_form(house: House, sent: Sent, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    end(house, sent, request, *recall, "closing").await
}

/// Withdraws it.
#[post("/recalls/{recall}/withdrawal")]
async fn withdraw_recall_form(house: House, sent: Sent, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    end(house, sent, request, *recall, "withdrawal").await
}

async fn end(house: House, sent: Sent, request: HttpRequest, recall: i64, way: &'static str) -> Shown {
    let commands = sent.commands(request.path());
    let (new, at) = (closing(&sent.fields), house.clone());
    let done = off_thread(move || match way {
        "closing" => at.tubtrail.close_recall(&commands, recall, new).map(drop),
        _ => at.tubtrail.withdraw_recall(&commands, recall, new).map(drop),
    });
    match done.await {
        Ok(()) => Ok(see_said(&format!("/recalls/{recall}"), "done")),
        Err(problem) => {
            let place = |field: &str| Some(format!("{way}.{field}")).filter(|_| ["name", "reason"].contains(&field));
            let form =
                Form::refused(&sent.visitor, sent.fields.clone(), problem, place).map_err(Unable::of(&request))?;
            show(house, &sent.visitor, &request, recall, form).await
        }
    }
}
