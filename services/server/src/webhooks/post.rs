//! One delivery, sent. Connects to addresses that were allowed and to no others, follows no redirect, asks no proxy, and
//! waits and reads only so long.

use std::io::{self, Read as _};
use std::net::{Ipv4Addr, SocketAddr};
use std::time::{Duration, Instant, SystemTime};

use tubtrail_operations::webhooks::{Delivery, Outcome, Outgoing};
use ureq::http::Uri;
use ureq::http::header::RETRY_AFTER;
use ureq::unversioned::resolver::{ArrayVec, ResolvedSocketAddrs, Resolver};
use ureq::unversioned::transport::{DefaultConnector, NextTimeout};

use crate::trust::tls;

/// How long a delivery may take from beginning to end (Standard Webhooks 1.0.0, "Request timeouts": 15 to 30 seconds).
const WITHIN: Duration = Duration::from_secs(15);
/// How long connecting may take of it.
const CONNECT_WITHIN: Duration = Duration::from_secs(5);
/// Bytes of an answer that are read.
const READ: u64 = 4096;
/// Addresses of one name that are tried.
const ADDRESSES: usize = 16;

/// What sends deliveries.
#[derive(Clone)]
pub struct Post {
    agent: ureq::Agent,
}

impl Post {
    /// One that sends where the house allows it.
    pub fn new(outgoing: &Outgoing) -> Self {
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .https_only(!outgoing.inside())
            .max_redirects(0)
            .proxy(None)
            .max_idle_connections(0)
            .timeout_global(Some(WITHIN))
            .timeout_connect(Some(CONNECT_WITHIN))
            .user_agent(concat!("tubtrail/", env!("CARGO_PKG_VERSION")))
            .tls_config(tls(false))
            .build();
        let names = Names { outgoing: outgoing.clone() };
        Self { agent: ureq::Agent::with_parts(config, DefaultConnector::default(), names) }
    }

    /// Sends a delivery and says what came of it.
    pub fn send(&self, delivery: &Delivery) -> Outcome {
        let began = Instant::now();
        let none = |why| Outcome { took: Duration::ZERO, status: None, said: why, asks_to_wait: None };
        let outcome = self.try_send(delivery).unwrap_or_else(none);
        Outcome { took: began.elapsed(), ..outcome }
    }

    fn try_send(&self, delivery: &Delivery) -> Result<Outcome, String> {
        let lost = "not sent: the key that its secret was made with is gone; give the webhook another secret";
        let signatures = delivery.signatures.as_ref().ok_or(lost)?;
        let request = self
            .agent
            .post(&delivery.url)
            .header("Content-Type", "application/json")
            .header("webhook-id", &delivery.message_id)
            .header("webhook-timestamp", delivery.timestamp.to_string())
            .header("webhook-signature", signatures);
        let mut response = request.send(&delivery.body).map_err(|error| in_words(&error))?;
        let mut said = Vec::new();
        // The status stands, whatever becomes of the rest.
        let _ = response.body_mut().as_reader().take(READ).read_to_end(&mut said);
        let asked = response.headers().get(RETRY_AFTER).and_then(|value| value.to_str().ok());
        Ok(Outcome {
            took: Duration::ZERO,
            status: Some(response.status().as_u16()),
            said: String::from_utf8_lossy(&said).into_owned(),
            asks_to_wait: asked.and_then(|asked| asks_to_wait(asked, SystemTime::now())),
        })
    }
}

/// How long someone asks to be left alone: seconds, or until a date (RFC 9110, 10.2.3). One that is past asks for nothing.
fn asks_to_wait(header: &str, now: SystemTime) -> Option<Duration> {
    let header = header.trim();
    if let Ok(seconds) = header.parse() {
        return Some(Duration::from_secs(seconds));
    }
    let until = httpdate::parse_http_date(header).ok()?;
    Some(until.duration_since(now).unwrap_or(Duration::ZERO))
}

fn in_words(error: &ureq::Error) -> String {
    match error {
        ureq::Error::Io(error) => error.to_string(),
        ureq::Error::Timeout(_) => format!("no answer within {} seconds", WITHIN.as_secs()),
        error => error.to_string(),
    }
}

/// Looks names up as the house does; what it refuses is not connected to.
struct Names {
    outgoing: Outgoing,
}

impl std::fmt::Debug for Names {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Names")
    }
}

impl Resolver for Names {
    fn resolve(&self, uri: &Uri, _: &ureq::config::Config, _: NextTimeout) -> Result<ResolvedSocketAddrs, ureq::Error> {
        let port = uri.port_u16().or(match uri.scheme_str() {
            Some("https") => Some(443),
            Some("http") => Some(80),
            _ => None,
        });
        let (Some(host), Some(port)) = (uri.host(), port) else { return Err(ureq::Error::HostNotFound) };
        let allowed =
            self.outgoing.addresses(host, port).map_err(|why| ureq::Error::Io(io::Error::other(why.to_string())))?;
        let mut addresses = ArrayVec::from_fn(|_| SocketAddr::from((Ipv4Addr::UNSPECIFIED, 0)));
        for address in allowed.into_iter().take(ADDRESSES) {
            addresses.push(address);
        }
        Ok(addresses)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The dates are those of RFC 9110, 5.6.7: one moment in its three forms, 784 111 777 s after 1970.
    #[test]
    fn seconds_and_dates_are_both_understood() {
        let now = SystemTime::UNIX_EPOCH + Duration::from_secs(784_111_777 - 90);
        for header in
            ["Sun, 06 Nov 1994 08:49:37 GMT", "Sunday, 06-Nov-94 08:49:37 GMT", "Sun Nov  6 08:49:37 1994", " 90 "]
        {
            assert_eq!(asks_to_wait(header, now), Some(Duration::from_secs(90)), "{header}");
        }
        let later = now + Duration::from_hours(1);
        assert_eq!(asks_to_wait("Sun, 06 Nov 1994 08:49:37 GMT", later), Some(Duration::ZERO));
        for nonsense in ["", "-5", "soon", "1.5", "99999999999999999999999"] {
            assert_eq!(asks_to_wait(nonsense, now), None, "{nonsense}");
        }
    }
}
