//! The server: the app, what stands before and behind every handler, and a graceful stop.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::http::{ConnectionType, Method};
use actix_web::middleware::{Compress, Next, from_fn};
use actix_web::{App, HttpRequest, HttpServer, web};
use tokio::signal::unix::{SignalKind, signal};
use tracing_actix_web::TracingLogger;
use tubtrail_domain::say;
use tubtrail_operations::{OperationError, problems};
use utoipa_actix_web::AppExt;
use utoipa_swagger_ui::{Config, SwaggerUi};

use crate::body::LARGEST;
use crate::door::{guard, request_id};
use crate::house::{House, Outcome};
use crate::routed::{self, Routed};
use crate::telemetry::RequestSpan;

/// How long a request may take to say what it wants, in its headers.
const HEADERS_WITHIN: Duration = Duration::from_secs(10);
/// How long an idle connection is kept.
const KEEP_ALIVE: Duration = Duration::from_secs(5);
/// How long requests at work may take to finish when the server is told to stop, in seconds.
const STOP_WITHIN: u64 = 25;

/// What is no page loads nothing from anywhere.
const STRICT: &str = "default-src 'none'; frame-ancestors 'none'";
/// The API browser loads its own scripts and styles, and asks this server; its pictures lie in its styles.
const BROWSER: &str = "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; \
    connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Set once the server was told to stop: connections are then closed after their answer.
static STOPPING: AtomicBool = AtomicBool::new(false);

/// Serves until it is told to stop; says on standard output where it listens.
pub async fn serve(house: House, listen: &str) -> std::io::Result<()> {
    serve_with(house, listen, |_| ()).await
}

/// The same, with handlers that are asked before ours where they are at the same address: behind the same door, and measured
/// and logged alike.
pub async fn serve_with<F>(house: House, listen: &str, instead: F) -> std::io::Result<()>
where
    F: Fn(&mut web::ServiceConfig) + Clone + Send + 'static,
{
    let shared = house.clone();
    let server = HttpServer::new(move || {
        App::new()
            .app_data(shared.clone())
            .app_data(web::PayloadConfig::new(LARGEST))
            .app_data(web::PathConfig::default().error_handler(|_, request| nothing_there(request).into()))
            .wrap(from_fn(guard))
            .wrap(Compress::default())
            .wrap(from_fn(observe))
            .wrap(TracingLogger::<RequestSpan>::new())
            .configure(instead.clone())
            .into_utoipa_app()
            .configure(crate::routes::configure)
            .into_app()
            .configure(crate::pages::configure)
            .service(web::redirect("/api", "/api/"))
            .service(SwaggerUi::new("/api/{_:.*}").config(Config::from("/openapi.json")))
            .default_service(web::to(not_found))
    })
    .client_request_timeout(HEADERS_WITHIN)
    .keep_alive(KEEP_ALIVE)
    // A streamed answer goes out in pieces: the second would otherwise wait, 40 ms and more, until the first is acknowledged.
    .tcp_nodelay(true)
    .shutdown_timeout(STOP_WITHIN)
    .disable_signals()
    .bind(listen)?;
    let addresses = server.addrs();
    let server = server.run();
    let mut told = Signals::new()?;
    let handle = server.handle();
    actix_web::rt::spawn(async move {
        told.wait(&house).await;
        STOPPING.store(true, Ordering::Relaxed);
        house.followers.stop();
        handle.stop(true).await;
    });
    for address in addresses {
        println!("listening on http://{address}");
    }
    server.await
}

struct Signals {
    terminate: tokio::signal::unix::Signal,
    interrupt: tokio::signal::unix::Signal,
    hang_up: tokio::signal::unix::Signal,
}

impl Signals {
    fn new() -> std::io::Result<Self> {
        Ok(Self {
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            hang_up: signal(SignalKind::hangup())?,
        })
    }

    /// Until it is told to stop; meanwhile reads the keys again whenever it is told to.
    async fn wait(&mut self, house: &House) {
        loop {
            tokio::select! {
                _ = self.terminate.recv() => break,
                _ = self.interrupt.recv() => break,
                _ = self.hang_up.recv() => match house.door.keys.reload() {
                    Ok(count) => tracing::info!(count, "the keys were read again"),
                    Err(error) => tracing::error!(%error, "the keys could not be read again; all stays as it was"),
                },
            }
        }
        tracing::info!("stopping");
    }
}

/// Stands before and behind everything: measures, and sets what every answer carries.
async fn observe(
    mut request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    let began = Instant::now();
    // A HEAD is a GET whose body is not sent, which the connection sees to.
    if request.method() == Method::HEAD {
        request.head_mut().method = Method::GET;
    }
    let operation = match routed::find(request.method(), request.match_info().as_str()) {
        Routed::To(route) => route.id.as_str(),
        Routed::OtherMethods(_) | Routed::Nowhere => "none",
    };
    let id = request_id(request.request());
    let is_browser = request.path().starts_with("/api/");
    let mut response = next.call(request).await?;
    let (status, took) = (response.status().as_u16(), began.elapsed());
    tracing::info!(operation, status, seconds = took.as_secs_f64(), "answered");
    metrics::counter!("tubtrail_requests_total", "operation" => operation, "status" => status.to_string()).increment(1);
    metrics::histogram!("tubtrail_request_seconds", "operation" => operation).record(took);
    set_headers(&mut response, id, is_browser);
    Ok(response)
}

/// Pages and their files say for themselves what they may load and whether they may be kept.
fn set_headers<B>(response: &mut ServiceResponse<B>, id: Option<String>, is_browser: bool) {
    let head = response.response_mut().head_mut();
    let mut set = |name: HeaderName, value: &'static str| {
        if !head.headers.contains_key(&name) {
            head.headers.insert(name, HeaderValue::from_static(value));
        }
    };
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    set(header::REFERRER_POLICY, "no-referrer");
    set(header::CONTENT_SECURITY_POLICY, if is_browser { BROWSER } else { STRICT });
    if !is_browser {
        set(header::CACHE_CONTROL, "no-store");
    }
    if let Some(Ok(id)) = id.map(|id| HeaderValue::from_str(&id)) {
        head.headers.insert(HeaderName::from_static("x-request-id"), id);
    }
    if STOPPING.load(Ordering::Relaxed) {
        head.set_connection_type(ConnectionType::Close);
    }
}

async fn not_found(request: HttpRequest) -> Outcome {
    crate::pages::nothing_there(&request, nothing_there(&request))
}

fn nothing_there(request: &HttpRequest) -> crate::problem::Problem {
    OperationError::new(&problems::NOT_FOUND, say!("there is nothing at {path}", path = request.path())).into()
}
