//! A server that answers the same to all, as fast as the framework can: as many threads as ours, no database, no door, no log,
//! no measurements.

use actix_web::{App, HttpResponse, HttpServer, web};

/// Serves so many bytes at any path, on a free port, until it is killed.
///
/// # Errors
/// If it cannot listen.
pub fn serve(bytes: usize) -> std::io::Result<()> {
    let body = web::Bytes::from(vec![b' '; bytes]);
    let server = HttpServer::new(move || {
        let body = body.clone();
        App::new().default_service(web::to(move || {
            let body = body.clone();
            async move { HttpResponse::Ok().content_type("application/json").body(body) }
        }))
    })
    .bind("127.0.0.1:0")?;
    for address in server.addrs() {
        println!("listening on http://{address}");
    }
    actix_web::rt::System::new().block_on(server.run())
}
