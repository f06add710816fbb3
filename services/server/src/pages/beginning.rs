//! The address with nothing behind it: everybody is led to what they have in hand.

use actix_web::{HttpRequest, get, web};
use tubtrail_operations::reach::Role;
use tubtrail_operations::sessions::Me;

use super::page::{Shown, Unable, see};
use super::visitor::Visitor;
use crate::house::{House, off_thread};

/// Where a day begins, by role. Of several roles the first here counts: who has something in their hands begins there, and an
/// owner who also cooks or serves is cooking or serving.
const BEGINNINGS: [(Role, &str); 5] = [
    (Role::Kitchen, "/making"),
    (Role::Shop, "/counter"),
    (Role::Device, "/counter"),
    (Role::Owner, "/upkeep"),
    (Role::Inspector, "/tracing"),
];

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(begin);
}

/// Leads on.
#[get("/")]
async fn begin(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let asks = visitor.asks();
    let me = off_thread(move || house.tubtrail.show_me(&asks)).await.map_err(Unable::of(&request))?;
    Ok(see(beginning_of(&me)))
}

fn beginning_of(me: &Me) -> &'static str {
    let is_theirs = |(role, _): &&(Role, &str)| me.roles.iter().any(|grant| grant.role == *role);
    BEGINNINGS.iter().find(is_theirs).map_or("/counter", |(_, path)| path)
}
