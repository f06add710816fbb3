//! One delivery, sent. Connects to addresses that were allowed and to no others, follows no redirect, asks no proxy, and
//! waits and reads only so long.

use std::io::{self, Read as _};
use std::net::{Ipv4Addr, SocketAddr};
use std::time::{Duration, Instant};

use tubtrail_operations::webhooks::{Delivery, Outcome, Outgoing};
use ureq::http::Uri;
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
        let (status, said) = match self.try_send(delivery) {
            Ok((status, said)) => (Some(status), said),
            Err(why) => (None, why),
        };
        Outcome { took: began.elapsed(), status, said }
    }

    fn try_send(&self, delivery: &Delivery) -> Result<(u16, String), String> {
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
        Ok((response.status().as_u16(), String::from_utf8_lossy(&said).into_owned()))
    }
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
        let allowed = self.outgoing.addresses(host, port).map_err(|why| ureq::Error::Io(io::Error::other(why)))?;
        let mut addresses = ArrayVec::from_fn(|_| SocketAddr::from((Ipv4Addr::UNSPECIFIED, 0)));
        for address in allowed.into_iter().take(ADDRESSES) {
            addresses.push(address);
        }
        Ok(addresses)
    }
}
