//! The certificate of the server, and the folders of those of its clients.
//!
//! `opcua` in the state folder has `own/cert.der` and `private/private.pem`, made at the first start, and the folders
//! `trusted` and `rejected`. A client's certificate that is in neither is put into `rejected`. A person moves it to
//! `trusted`.

use super::{OpcuaError, Ready};
use crate::config::OpcuaConfig;
use crate::durable::make_folder;
use opcua::crypto::{CertificateStore, X509Data};
use std::fs;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};

/// Time for which the certificate is valid. Clients must trust a new one again.
const VALID_DAYS: u32 = 10 * 365;

/// Length of its key: valid under every policy that is offered.
const KEY_BITS: u32 = 2048;

/// Maximum number of certificates that are kept in `rejected`: whoever can connect can show any number of them.
const REJECTED: usize = 100;

/// Certificate, key and folders.
pub(super) struct Certificates {
    pub(super) folder: PathBuf,
    /// The name by which clients reach this machine.
    pub(super) host: String,
    /// The URI of this server, which its certificate has too.
    pub(super) application: String,
    thumbprint: String,
}

impl Certificates {
    /// The certificate, in its folder.
    pub(super) const OWN: &'static str = "own/cert.der";
    /// Its key.
    pub(super) const KEY: &'static str = "private/private.pem";

    /// Those of a state folder; certificate and key are made if there are none.
    pub(super) fn of(state_dir: &Path, opcua: &OpcuaConfig) -> Result<Self, OpcuaError> {
        let folder = state_dir.join("opcua");
        let wrong = |why: String| OpcuaError::Certificate {
            folder: folder.clone(),
            why,
        };
        make_folders(&folder).map_err(|error| wrong(error.to_string()))?;
        let host = host(opcua);
        let application = format!("urn:{host}:tallyjaw:opcua");
        let (own, key) = (folder.join(Self::OWN), folder.join(Self::KEY));
        if !own.exists() && !key.exists() {
            let names = names(&application, &host);
            CertificateStore::create_certificate_and_key(&names, false, &own, &key)
                .map_err(&wrong)?;
            tracing::info!(certificate = %own.display(), "a new certificate");
        }
        CertificateStore::read_pkey(&key).map_err(&wrong)?;
        let certificate = CertificateStore::read_cert(&own).map_err(&wrong)?;
        // Before somebody relies on an address that the certificate does not have.
        certificate
            .is_application_uri_valid(&application)
            .map_err(|_| {
                wrong(format!(
                    "the certificate is not for {application}: the host has another name now"
                ))
            })?;
        let thumbprint = certificate.thumbprint().as_hex_string();
        Ok(Self {
            folder,
            host,
            application,
            thumbprint,
        })
    }

    /// The address of the server.
    pub(super) fn url(&self, port: u16) -> String {
        format!("opc.tcp://{}:{port}/", self.host)
    }

    /// Removes all but the newest certificates that were shown and are not trusted.
    pub(super) fn forget_old_rejected(&self) {
        let Ok(files) = fs::read_dir(self.folder.join("rejected")) else {
            return;
        };
        let files = files.filter_map(Result::ok).filter_map(|file| {
            let modified = file.metadata().and_then(|file| file.modified()).ok()?;
            Some((modified, file.path()))
        });
        let mut files: Vec<_> = files.collect();
        files.sort_unstable();
        let surplus = files.len().saturating_sub(REJECTED);
        for (_, path) in files.iter().take(surplus) {
            // If it cannot be removed, the next look tries again.
            let _ = fs::remove_file(path);
        }
    }

    /// What the operator is shown at the start.
    pub(super) fn ready(&self, listen: SocketAddr, opcua: &OpcuaConfig) -> Ready {
        Ready {
            url: self.url(listen.port()),
            thumbprint: self.thumbprint.clone(),
            trusted: self.folder.join("trusted"),
            rejected: self.folder.join("rejected"),
            open: opcua.listen.ip().is_loopback(),
        }
    }
}

/// The folders, which only the daemon's user can enter.
fn make_folders(folder: &Path) -> io::Result<()> {
    let folders = ["own", "private", "trusted", "rejected"];
    folders
        .iter()
        .try_for_each(|name| make_folder(&folder.join(name), 0o700))
}

/// The name by which clients reach this machine: the configured one, the address it listens on, or the system's name.
fn host(opcua: &OpcuaConfig) -> String {
    let address = match opcua.listen.ip() {
        ip if ip.is_unspecified() => None,
        IpAddr::V4(ip) => Some(ip.to_string()),
        IpAddr::V6(ip) => Some(format!("[{ip}]")),
    };
    let of_system = || X509Data::computer_hostnames().into_iter().next();
    let host = opcua.host.clone().or(address).or_else(of_system);
    host.unwrap_or_else(|| "localhost".to_owned())
}

fn names(application: &str, host: &str) -> X509Data {
    let address = host.trim_matches(['[', ']']).to_owned();
    X509Data {
        key_size: KEY_BITS,
        common_name: "tallyjaw".to_owned(),
        organization: host.to_owned(),
        organizational_unit: String::new(),
        country: String::new(),
        state: String::new(),
        alt_host_names: X509Data::alt_host_names(
            application,
            Some(vec![address]),
            false,
            false,
            false,
        ),
        certificate_duration_days: VALID_DAYS,
    }
}
