//! Where somebody is: the sites they have a role at, to choose one for a page.

use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use askama::Template;
use tubtrail_operations::reach::Role;
use tubtrail_operations::sites::Site;
use tubtrail_operations::{OperationError, Request, Tubtrail};

use super::page::{Frame, Shown, Unable, render, see};
use super::visitor::Visitor;
use crate::house::{House, off_thread};

/// Most sites to choose from.
const MOST_SITES: u32 = 500;

#[derive(Template)]
#[template(path = "where.html")]
struct Where {
    frame: Frame,
    /// The page that is gone to, with a site behind it.
    base: &'static str,
    sites: Vec<Site>,
}

/// Lets somebody choose a site for a page; who has one alone is sent there.
pub async fn choose(
    house: House,
    visitor: Visitor,
    request: HttpRequest,
    base: &'static str,
    roles: &'static [Role],
) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, sites(&house.tubtrail, &asks, roles)?)));
    let (me, sites) = found.await.map_err(Unable::of(&request))?;
    if let [site] = sites.as_slice() {
        return Ok(see(&format!("{base}/{}", site.code)));
    }
    Ok(render(StatusCode::OK, &Where { frame: Frame::of(&visitor, &request, me), base, sites }))
}

/// The sites in use at which somebody has one of these roles.
pub fn sites(tubtrail: &Tubtrail, asks: &Request, roles: &[Role]) -> Result<Vec<Site>, OperationError> {
    let me = tubtrail.show_me(asks)?;
    let mut sites = tubtrail.list::<Site>(asks, "", MOST_SITES)?.items;
    sites.retain(|site| {
        let is_theirs = |at: &Option<String>| at.as_ref().is_none_or(|at| *at == site.code);
        site.active && me.roles.iter().any(|role| roles.contains(&role.role) && is_theirs(&role.site))
    });
    Ok(sites)
}
