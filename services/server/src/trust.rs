//! Whom this machine trusts when it speaks to others over TLS: webhooks' receivers, and printers.

use std::sync::Arc;

use ureq::tls::{Certificate, RootCerts, TlsConfig};

/// As of now; `any_certificate` where whoever registered the other side said that it cannot prove itself.
pub fn tls(any_certificate: bool) -> TlsConfig {
    TlsConfig::builder()
        .root_certs(authorities())
        .disable_verification(any_certificate)
        .unversioned_rustls_crypto_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .build()
}

/// The authorities that this machine trusts.
fn authorities() -> RootCerts {
    let found = rustls_native_certs::load_native_certs();
    for error in &found.errors {
        tracing::warn!(%error, "an authority that this machine trusts cannot be read");
    }
    let authorities = found.certs.iter().map(|authority| Certificate::from_der(authority).to_owned());
    RootCerts::Specific(Arc::new(authorities.collect()))
}
