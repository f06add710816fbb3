//! The server: the app, its middlewares, and a graceful stop.

use actix_web::web;
use actix_web::{App, HttpServer};
use utoipa_actix_web::AppExt;

use crate::body::LARGEST;
use crate::house::House;

/// Serves until it is told to stop; says on standard output where it listens.
pub async fn serve(house: House, listen: &str) -> std::io::Result<()> {
    let server = HttpServer::new(move || {
        App::new()
            .app_data(house.clone())
            .app_data(web::PayloadConfig::new(LARGEST))
            .wrap(tracing_actix_web::TracingLogger::default())
            .into_utoipa_app()
            .configure(crate::routes::configure)
            .into_app()
    })
    .bind(listen)?;
    for address in server.addrs() {
        println!("listening on http://{address}");
    }
    server.run().await
}
