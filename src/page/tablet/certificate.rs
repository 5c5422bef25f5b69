//! The certificate that the page shows to tablets, with its key. It is made at the first start and kept in the state
//! folder.
//!
//! No authority has signed it. A person compares its fingerprint once, and from then on the browser knows it. So it is
//! replaced only when a person requests that, even if the address of the machine has changed: the browser recognizes
//! the key.

use super::TabletError;
use crate::durable::secret;
use crate::durable::{Access, failed, put};
use crate::quantity::WallMicros;
use rcgen::{CertificateParams, DnType, ExtendedKeyUsagePurpose, KeyPair, KeyUsagePurpose};
use sha2::{Digest, Sha256};
use std::fmt;
use std::path::Path;
use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::pem::PemObject as _;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};

/// Name of the file in the state folder.
pub const CERTIFICATE_FILE: &str = "page.certificate";

/// A longer file was not written by us.
const LARGEST: u64 = 64 * 1024;

/// Time for which it is valid. Browsers refuse certificates that are valid for more than 825 days.
const VALID_MICROS: i64 = 820 * 86_400_000_000;
/// It is valid from this time before now, because the clock of a tablet may be behind.
const BEFORE_MICROS: i64 = 2 * 86_400_000_000;

/// SHA-256 of the certificate, which a person compares.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fingerprint(pub [u8; 32]);

impl fmt::Display for Fingerprint {
    /// In the form of browsers: `AB:CD:…`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, byte) in self.0.iter().enumerate() {
            let colon = if at == 0 { "" } else { ":" };
            write!(f, "{colon}{byte:02X}")?;
        }
        Ok(())
    }
}

/// A certificate with its key.
pub struct Certificate {
    /// The fingerprint, which a person compares.
    pub fingerprint: Fingerprint,
    /// The names and addresses in it.
    pub names: Vec<String>,
    /// The day from which browsers treat it as expired, `2028-03-01`.
    pub until: String,
    der: CertificateDer<'static>,
    key: PrivateKeyDer<'static>,
}

impl fmt::Debug for Certificate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Certificate")
            .field(&self.fingerprint)
            .finish()
    }
}

impl Certificate {
    /// The certificate of a state folder; `None` if there is none.
    pub fn read(state_dir: &Path) -> Result<Option<Self>, TabletError> {
        let path = state_dir.join(CERTIFICATE_FILE);
        let Some(text) = secret::read(&path, LARGEST)? else {
            return Ok(None);
        };
        let damaged = || TabletError::Damaged {
            path: path.clone(),
            want: "a certificate and its key",
        };
        let line = |name: &str| {
            let mut lines = text.lines();
            lines.find_map(|line| line.strip_prefix(name)?.strip_prefix(": "))
        };
        let names = line("names").ok_or_else(damaged)?;
        let until = line("until").ok_or_else(damaged)?.to_owned();
        let der = CertificateDer::from_pem_slice(text.as_bytes()).map_err(|_| damaged())?;
        let key = PrivateKeyDer::from_pem_slice(text.as_bytes()).map_err(|_| damaged())?;
        Ok(Some(Self {
            fingerprint: Fingerprint(Sha256::digest(&der).into()),
            names: names.split(", ").map(str::to_owned).collect(),
            until,
            der,
            key,
        }))
    }

    /// Makes a new certificate, which replaces the present one.
    pub fn make(state_dir: &Path, names: &[String], now: WallMicros) -> Result<Self, TabletError> {
        let path = state_dir.join(CERTIFICATE_FILE);
        let made = |error: rcgen::Error| TabletError::Make {
            cause: error.to_string(),
        };
        let key = KeyPair::generate().map_err(made)?;
        let mut params = CertificateParams::new(names).map_err(made)?;
        let name = names.first().map_or("bench", String::as_str);
        params
            .distinguished_name
            .push(DnType::CommonName, format!("tallyjaw on {name}"));
        params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        let (from, _) = day(WallMicros(now.0.saturating_sub(BEFORE_MICROS)));
        let (to, until) = day(WallMicros(now.0.saturating_add(VALID_MICROS)));
        (params.not_before, params.not_after) = (
            rcgen::date_time_ymd(from.0, from.1, from.2),
            rcgen::date_time_ymd(to.0, to.1, to.2),
        );
        let certificate = params.self_signed(&key).map_err(made)?;
        let text = format!(
            "The certificate of the page for tablets, and its key. Whoever has this file can pass for this bench.\n\
             names: {}\nuntil: {until}\n{}{}",
            names.join(", "),
            certificate.pem(),
            key.serialize_pem()
        );
        put(&path, text.as_bytes(), true, Access::Private)
            .map_err(|cause| secret::SecretError::from(failed("write", &path)(cause)))?;
        Self::read(state_dir)?.ok_or(TabletError::Damaged {
            path,
            want: "the file that was just written",
        })
    }

    /// The settings of TLS connections: TLS 1.2 and newer.
    pub(super) fn server(&self) -> Result<ServerConfig, TabletError> {
        let made = |error: tokio_rustls::rustls::Error| TabletError::Make {
            cause: error.to_string(),
        };
        let provider = ring::default_provider().into();
        let mut server = ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .map_err(made)?
            .with_no_client_auth()
            .with_single_cert(vec![self.der.clone()], self.key.clone_key())
            .map_err(made)?;
        server.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(server)
    }
}

/// The day of a time as numbers and as text; if the clock is far off, the first day that file formats allow.
fn day(at: WallMicros) -> ((i32, u8, u8), String) {
    let text = at.to_string();
    let parts = || {
        let mut parts = text.get(..10)?.split('-');
        let numbers = (
            parts.next()?.parse().ok()?,
            parts.next()?.parse().ok()?,
            parts.next()?.parse().ok()?,
        );
        Some((numbers, text.get(..10)?.to_owned()))
    };
    parts().unwrap_or_else(|| ((1970, 1, 1), "1970-01-01".to_owned()))
}
