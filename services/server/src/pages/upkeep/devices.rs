//! Devices: tills, scales and printers, each with a key that is shown once.

use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use tubtrail_operations::devices::{Device, DeviceWithToken, NewDevice, Revocation};
use tubtrail_operations::master_data::MOST;
use tubtrail_operations::reach;
use tubtrail_operations::sites::Site;

use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::forms::{Form, same_name, see_said};
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::rights::may_anywhere;
use crate::pages::visitor::{Sent, Visitor};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(devices_page).service(add_device).service(revoke_device);
}

#[derive(Template)]
#[template(path = "upkeep_devices.html")]
struct Page {
    frame: Frame,
    devices: Vec<Device>,
    sites: Vec<Site>,
    form: Form,
    /// The form that takes a key back, with the device it is about.
    revoking: Option<(String, Form)>,
    /// What was just given: its key is shown this once.
    given: Option<DeviceWithToken>,
    may_keep: bool,
    /// What the forms that take keys back repeat.
    mark: String,
}

/// What is shown beside the list.
struct Shows {
    form: Form,
    revoking: Option<(String, Form)>,
    given: Option<DeviceWithToken>,
}

impl Shows {
    fn nothing(visitor: &Visitor) -> Self {
        Self { form: Form::new(visitor, Fields::default()), revoking: None, given: None }
    }
}

/// The devices.
#[get("/upkeep/devices")]
async fn devices_page(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let shows = Shows::nothing(&visitor);
    show(house, &visitor, &request, shows).await
}

/// Gives a new device its key. The answer is the page itself: nowhere is the key kept from which another could show it.
#[post("/upkeep/devices")]
async fn add_device(house: House, sent: Sent, request: HttpRequest) -> Shown {
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let text = |name: &str| fields.get(name).unwrap_or("").trim().to_owned();
    let new = NewDevice { code: text("code"), name: text("name"), site: text("site") };
    let inside = house.clone();
    let mut shows = Shows::nothing(&visitor);
    match off_thread(move || inside.tubtrail.create_device(&commands, new)).await {
        Ok(done) => shows.given = Some(done.answer),
        Err(problem) => {
            let form = Form::refused(&visitor, fields, problem, same_name(&["code", "name", "site"]));
            shows.form = form.map_err(Unable::of(&request))?;
        }
    }
    show(house, &visitor, &request, shows).await
}

/// Takes a key back.
#[post("/upkeep/devices/{code}/revoke")]
async fn revoke_device(house: House, sent: Sent, request: HttpRequest, code: web::Path<String>) -> Shown {
    let code = code.into_inner();
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let (inside, at) = (house.clone(), code.clone());
    let revocation = Revocation { reason: fields.get("reason").unwrap_or("").to_owned() };
    let done = off_thread(move || inside.tubtrail.revoke_device(&commands, &at, revocation)).await;
    let Err(problem) = done else { return Ok(see_said("/upkeep/devices", "done")) };
    let form = Form::refused(&visitor, fields, problem, same_name(&["reason"])).map_err(Unable::of(&request))?;
    let shows = Shows { revoking: Some((code, form)), ..Shows::nothing(&visitor) };
    show(house, &visitor, &request, shows).await
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, shows: Shows) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || {
        let tubtrail = &house.tubtrail;
        let devices = tubtrail.list_devices(&asks, "", MOST)?.items;
        Ok((tubtrail.show_me(&asks)?, devices, tubtrail.list::<Site>(&asks, "", MOST)?.items))
    });
    let (me, devices, sites) = found.await.map_err(Unable::of(request))?;
    let Shows { form, revoking, given } = shows;
    let status = revoking.as_ref().map_or(form.status(), |(_, form)| form.status());
    let page = Page {
        may_keep: may_anywhere(&me, &reach::CREATE_DEVICE),
        frame: Frame::of(visitor, request, me),
        mark: visitor.mark.clone(),
        devices,
        sites,
        form,
        revoking,
        given,
    };
    Ok(render(status, &page))
}

impl Page {
    /// What speaks against taking this one's key back.
    fn refused(&self, device: &Device) -> Option<&Form> {
        self.revoking.as_ref().filter(|(code, _)| *code == device.code).map(|(_, form)| form)
    }
}
