//! Reads the files of a TLS connection: whom we trust, and who we are.

use super::faults::{At, Fault, Faults};
use super::table::Table;
use std::path::{Path, PathBuf};

/// The files of a TLS connection, all in PEM.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TlsFiles {
    /// Certificates of the authorities that a server is checked against; `None` uses those of the system.
    pub ca_file: Option<PathBuf>,
    /// Our certificate and its key; `None` shows none.
    pub identity: Option<(PathBuf, PathBuf)>,
}

/// The keys.
pub(super) const KEYS: [&str; 3] = ["ca_file", "client_certificate", "client_key"];

/// Reads the files. `open` says how the address would be written for an encrypted line, if this one is not.
pub(super) fn read(
    table: &mut Table<'_>,
    faults: &mut Faults,
    base: &Path,
    open: Option<&str>,
) -> TlsFiles {
    let [ca_file, certificate, key] = KEYS.map(|key| table.text(faults, key));
    let first = [&ca_file, &certificate, &key].into_iter().flatten().next();
    if let (Some(secure), Some(file)) = (open, first) {
        let got = "certificates for a line that is not encrypted";
        let named = KEYS
            .into_iter()
            .find(|key| table.taken(key).as_ref() == Some(&file.place));
        let want = format!("want {secure}, or no {}", named.unwrap_or_default());
        faults.add(&file.place, Fault::new(got, want));
    } else {
        one_alone(certificate.as_ref(), key.as_ref(), faults);
    }
    let path = |text: At<String>| base.join(text.value);
    TlsFiles {
        ca_file: ca_file.map(path),
        identity: certificate
            .zip(key)
            .map(|(one, other)| (path(one), path(other))),
    }
}

fn one_alone(certificate: Option<&At<String>>, key: Option<&At<String>>, faults: &mut Faults) {
    match (certificate, key) {
        (Some(certificate), None) => {
            let fault = Fault::new("a certificate without its key", "want `client_key` too");
            faults.add(&certificate.place, fault);
        }
        (None, Some(key)) => {
            let fault = Fault::new(
                "a key without its certificate",
                "want `client_certificate` too",
            );
            faults.add(&key.place, fault);
        }
        (None, None) | (Some(_), Some(_)) => {}
    }
}

/// Whether a host is this machine.
pub(super) fn is_here(host: &str) -> bool {
    // No name ends with digits, so that this is an address.
    let is_number = |rest: &str| {
        rest.bytes()
            .all(|byte| byte.is_ascii_digit() || byte == b'.')
    };
    host == "localhost" || host == "[::1]" || host.strip_prefix("127.").is_some_and(is_number)
}

/// Reads `user` and `password_file`. `open` says how to encrypt the line, if it is not and leads to another machine.
pub(super) fn login(
    table: &mut Table<'_>,
    faults: &mut Faults,
    base: &Path,
    open: Option<(&str, &'static str)>,
) -> (Option<String>, Option<PathBuf>) {
    let user = table.text(faults, "user");
    let password = table.text(faults, "password_file");
    if let (None, Some(password)) = (&user, &password) {
        let fault = Fault::new("a password without a user", "want `user` too");
        faults.add(&password.place, fault);
    }
    if let (Some((want, needs)), Some(password)) = (open, &password) {
        let fault = Fault::new(
            "the password goes over a line that is not encrypted",
            want.to_owned(),
        );
        let help = format!("whoever listens on the network reads it; {needs}");
        faults.warn(&password.place, fault.help(help));
    }
    let password = password.map(|file| base.join(file.value));
    (user.map(|user| user.value), password)
}

#[cfg(test)]
mod tests {
    use super::is_here;

    #[test]
    fn this_machine_is_its_name_or_an_address_of_it_and_no_name_that_begins_like_one() {
        for (host, is) in [
            ("localhost", true),
            ("127.0.0.1", true),
            ("127.9.9.9", true),
            ("[::1]", true),
            ("127.broker.example", false),
            ("127.0.0.1.example", false),
            ("127.x", false),
            ("[::2]", false),
            ("10.0.0.1", false),
        ] {
            assert_eq!(is_here(host), is, "{host}");
        }
    }
}
