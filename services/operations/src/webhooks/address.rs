//! Where something may be sent to.

use std::io;
use std::net::{IpAddr, SocketAddr, ToSocketAddrs as _};
use std::sync::Arc;
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use tubtrail_domain::outside;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use url::{Host, Url};

use super::secrets::Key;
use crate::error::{OperationError, Result};
use crate::problems;

/// Most characters of an address.
const LONGEST: usize = 500;
/// How long looking up a name may take.
const PATIENCE: Duration = Duration::from_secs(5);

/// Looks up a name: every address it stands for, with the port.
pub type Resolve = Arc<dyn Fn(&str, u16) -> io::Result<Vec<SocketAddr>> + Send + Sync>;

/// What the house says of sending things out.
#[derive(Clone)]
pub struct Outgoing {
    pub(super) key: Option<Key>,
    inside: bool,
    resolve: Resolve,
}

impl Outgoing {
    /// With the key that secrets are made with, where there is one. `inside`: things may also be sent to this machine and to
    /// networks that are not public, and over http.
    pub fn new(key: Option<Key>, inside: bool) -> Self {
        Self { key, inside, resolve: Arc::new(look_up) }
    }

    /// The same with something else to look names up.
    #[must_use]
    pub fn with_names(self, resolve: Resolve) -> Self {
        Self { resolve, ..self }
    }

    /// Whether things may be sent over http, and to networks that are not public.
    pub const fn inside(&self) -> bool {
        self.inside
    }

    /// The addresses that a name stands for now, or the address that it is. Whoever connects takes these and looks nothing
    /// up again: by then the name may stand for others.
    ///
    /// # Errors
    /// Why nothing may be sent there: it is not known, or one of its addresses is not to be sent to.
    pub fn addresses(&self, host: &str, port: u16) -> std::result::Result<Vec<SocketAddr>, Saying> {
        let bare = host.strip_prefix('[').and_then(|host| host.strip_suffix(']')).unwrap_or(host);
        let addresses = match bare.parse::<IpAddr>() {
            Ok(address) => vec![SocketAddr::new(address, port)],
            Err(_) => (self.resolve)(host, port)
                .map_err(|error| say!("{host} cannot be found: {error}", host, error = error.to_string()))?,
        };
        if addresses.is_empty() {
            return Err(say!("{host} stands for no address", host));
        }
        for address in &addresses {
            self.allow(address.ip())
                .map_err(|why| say!("{ip} is not to be sent to: {why}", ip = address.ip().to_string(), why))?;
        }
        Ok(addresses)
    }

    fn allow(&self, address: IpAddr) -> std::result::Result<(), outside::NotOutside> {
        outside::check(address).or_else(|sort| if self.inside && !sort.is_nobody() { Ok(()) } else { Err(sort) })
    }

    /// A web address that something may be sent to, as it is written by the book; looks its name up.
    pub(super) fn check(&self, field: &str, text: &str) -> Result<String> {
        let url = self.read(text).map_err(|detail| OperationError::invalid(field, detail))?;
        let refused = |detail: Saying| OperationError::new(&problems::ADDRESS_REFUSED, detail).at(field);
        let (Some(host), Some(port)) = (url.host_str(), url.port_or_known_default()) else {
            return Err(OperationError::invalid(field, say!("this address names no server")));
        };
        self.addresses(host, port).map_err(refused)?;
        Ok(url.into())
    }

    fn read(&self, text: &str) -> std::result::Result<Url, Saying> {
        if text.chars().count() > LONGEST {
            return Err(say!("this is longer than {most} characters", most = LONGEST));
        }
        let url =
            Url::parse(text).map_err(|error| say!("this is no web address: {error}", error = error.to_string()))?;
        match url.scheme() {
            "https" => {}
            "http" if self.inside => {}
            _ => return Err(say!("an address begins with https://")),
        }
        if !url.username().is_empty() || url.password().is_some() {
            return Err(say!("leave name and password out: each delivery is signed instead"));
        }
        if url.fragment().is_some() {
            return Err(say!("what stands behind # is never sent; leave it out"));
        }
        if url.as_str().len() > 2 * LONGEST {
            return Err(say!("this is too long once it is written by the book"));
        }
        match url.host() {
            Some(Host::Domain("")) | None => Err(say!("this address names no server")),
            Some(_) => Ok(url),
        }
    }
}

/// Asks the system, on a thread of its own: it may not answer for long.
fn look_up(host: &str, port: u16) -> io::Result<Vec<SocketAddr>> {
    let (told, hears) = sync_channel(1);
    let name = (host.to_owned(), port);
    std::thread::Builder::new().name("names".into()).spawn(move || {
        let found = (name.0.as_str(), name.1).to_socket_addrs().map(Iterator::collect);
        // Whoever asked may have given up meanwhile.
        let _ = told.send(found);
    })?;
    hears.recv_timeout(PATIENCE).unwrap_or_else(|_| Err(io::Error::from(io::ErrorKind::TimedOut)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outgoing(inside: bool, names: &'static [(&str, &[&str])]) -> Outgoing {
        Outgoing::new(None, inside).with_names(Arc::new(move |host, port| {
            let found = names.iter().find(|(name, _)| *name == host).ok_or(io::ErrorKind::NotFound)?;
            Ok(found.1.iter().map(|address| SocketAddr::new(address.parse().expect("an address"), port)).collect())
        }))
    }

    fn refused(outgoing: &Outgoing, url: &str) -> (&'static str, String) {
        let error = outgoing.check("url", url).expect_err(url);
        assert_eq!(error.field.as_deref(), Some("url"));
        (error.problem.word, error.detail.to_string())
    }

    const NAMES: &[(&str, &[&str])] = &[
        ("out.northquay.example", &["198.20.0.1", "2600::1"]),
        ("half.northquay.example", &["198.20.0.1", "10.0.0.7"]),
        ("none.northquay.example", &[]),
    ];

    #[test]
    fn only_https_addresses_outside_are_taken() {
        let house = outgoing(false, NAMES);
        assert_eq!(
            house.check("url", "https://OUT.northquay.example/a?b=c").ok().as_deref(),
            Some("https://out.northquay.example/a?b=c")
        );
        assert!(house.check("url", "https://198.20.0.1:8443/").is_ok());
        for url in [
            "http://out.northquay.example/",
            "ftp://out.northquay.example/",
            "out.northquay.example",
            "https://",
            "https://a@out.northquay.example/",
            "https://a:b@out.northquay.example/",
            "https://out.northquay.example/#a",
            "javascript:alert(1)",
            "",
        ] {
            assert_eq!(refused(&house, url).0, "invalid", "{url}");
        }
        assert_eq!(refused(&house, &format!("https://out.northquay.example/{}", "a".repeat(500))).0, "invalid");
    }

    /// One of each class, and the spellings of an IPv4 address that the URL Standard reads.
    #[test]
    fn an_address_inside_is_refused_however_it_is_written() {
        let house = outgoing(false, NAMES);
        for host in [
            "127.0.0.1",
            "127.1",
            "2130706433",
            "0x7f.1",
            "0177.0.0.1",
            "10.0.0.1",
            "172.16.0.1",
            "192.168.1.1",
            "169.254.169.254",
            "100.64.0.1",
            "224.0.0.1",
            "0.0.0.0",
            "[::1]",
            "[::]",
            "[fe80::1]",
            "[fc00::1]",
            "[ff02::1]",
            "[::ffff:8.8.8.8]",
            "[64:ff9b::808:808]",
        ] {
            assert_eq!(refused(&house, &format!("https://{host}/")).0, "address-refused", "{host}");
        }
        assert!(refused(&house, "https://half.northquay.example/").1.contains("10.0.0.7"), "one of them is enough");
        assert!(refused(&house, "https://none.northquay.example/").1.contains("no address"));
        assert!(refused(&house, "https://unknown.northquay.example/").1.contains("cannot be found"));
    }

    #[test]
    fn a_house_may_allow_what_lies_inside() {
        let house = outgoing(true, NAMES);
        for url in ["http://127.0.0.1:8080/", "https://10.0.0.1/", "http://[::1]/", "http://half.northquay.example/"] {
            assert!(house.check("url", url).is_ok(), "{url}");
        }
        for url in ["http://0.0.0.0/", "http://224.0.0.1/", "http://[::]/", "http://[ff02::1]/"] {
            assert_eq!(refused(&house, url).0, "address-refused", "{url}");
        }
    }

    #[test]
    fn a_name_is_looked_up_each_time() {
        use std::sync::atomic::{AtomicUsize, Ordering};
        let asked = AtomicUsize::new(0);
        let house = Outgoing::new(None, false).with_names(Arc::new(move |_, port| {
            let address: IpAddr =
                if asked.fetch_add(1, Ordering::SeqCst) == 0 { [198, 20, 0, 1].into() } else { [127, 0, 0, 1].into() };
            Ok(vec![SocketAddr::new(address, port)])
        }));
        assert!(house.addresses("turns.northquay.example", 443).is_ok());
        let refused = house.addresses("turns.northquay.example", 443).expect_err("by then it is this machine");
        assert!(refused.to_string().contains("127.0.0.1"), "{refused}");
    }
}
