//! Tubs.

use utoipa_actix_web::service_config::ServiceConfig;

pub fn configure(_config: &mut ServiceConfig) {}
