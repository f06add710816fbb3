//! What the server says of itself: its log and its measurements.

use std::sync::OnceLock;

use actix_web::HttpMessage;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use metrics_exporter_prometheus::{Matcher, PrometheusBuilder, PrometheusHandle};
use tracing::Span;
use tracing_actix_web::{RequestId, RootSpanBuilder};
use tracing_subscriber::EnvFilter;

static METRICS: OnceLock<PrometheusHandle> = OnceLock::new();

/// Says how many parts of the index are still to be read after a start.
pub const UNREAD: &str = "tubtrail_index_parts_unread";

/// Upper bounds of the latency histogram, in seconds.
const SECONDS: [f64; 12] = [0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0];
/// Upper bounds of the histogram of commands per commit.
const COMMANDS: [f64; 8] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0];

/// What every line of the log that belongs to a request says of it. Few things, each written once: they are put into words for
/// every request, which otherwise takes longer than to answer most.
pub struct RequestSpan;

impl RootSpanBuilder for RequestSpan {
    fn on_request_start(request: &ServiceRequest) -> Span {
        let id = request.extensions().get::<RequestId>().copied();
        tracing::info_span!(
            "request",
            request_id = id.map(tracing::field::display),
            method = request.method().as_str(),
            target = %request.uri(),
            client = request.connection_info().realip_remote_addr(),
        )
    }

    /// Said by whoever answers: only there it is known as which operation.
    fn on_request_end<B: MessageBody>(_: Span, _: &Result<ServiceResponse<B>, actix_web::Error>) {}
}

/// Starts the log: JSON lines on standard error, one for each request when it is answered. `TUBTRAIL_LOG` says how much, as in
/// `info` or `warn,tubtrail_operations=debug`.
pub fn start_log() -> Result<(), String> {
    let wanted = std::env::var("TUBTRAIL_LOG").unwrap_or_else(|_| "info".into());
    let filter = EnvFilter::builder().parse(&wanted).map_err(|error| format!("TUBTRAIL_LOG: {error}"))?;
    tracing_subscriber::fmt()
        .json()
        .with_writer(std::io::stderr)
        // A line that cannot be written, because whoever read the log has gone, is lost; it must not take the server along.
        .log_internal_errors(false)
        .with_env_filter(filter)
        .with_span_list(false)
        .try_init()
        .map_err(|error| error.to_string())
}

/// Starts measuring.
pub fn start_metrics() -> Result<(), String> {
    let builder = PrometheusBuilder::new()
        .set_buckets_for_metric(Matcher::Suffix("_seconds".into()), &SECONDS)
        .and_then(|builder| builder.set_buckets_for_metric(Matcher::Suffix("_per_commit".into()), &COMMANDS))
        .map_err(|error| error.to_string())?;
    let handle = builder.install_recorder().map_err(|error| error.to_string())?;
    metrics::describe_counter!("tubtrail_requests_total", "Requests answered, by operation and status.");
    metrics::describe_histogram!("tubtrail_request_seconds", "How long a request took, by operation.");
    metrics::describe_histogram!("tubtrail_commands_per_commit", "Commands that shared one commit.");
    metrics::describe_gauge!("tubtrail_journal_position", "The last entry of the journal.");
    metrics::describe_gauge!(
        UNREAD,
        "Parts of the index that are not read yet; what they hold is answered more slowly."
    );
    METRICS.set(handle).map_err(|_| "measuring was started before".to_owned())
}

/// Everything measured so far, in Prometheus' text format.
pub fn render() -> String {
    METRICS.get().map_or_else(String::new, |handle| {
        handle.run_upkeep();
        handle.render()
    })
}
