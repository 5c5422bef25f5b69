//! Reads a `[[sink]]` of the kind `mqtt`: broker, login and topic.

use super::faults::{At, Fault, Faults, quoted};
use super::table::Table;
use std::path::{Path, PathBuf};

/// Address and login of a broker, and the topic of entries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MqttConfig {
    /// Host name or address of the broker.
    pub host: String,
    /// TCP port; by default 1883 without TLS and 8883 with it.
    pub port: u16,
    /// Whether the connection is encrypted.
    pub tls: bool,
    /// File with trusted certificates of authorities, as PEM; `None` uses the system's.
    pub ca_file: Option<PathBuf>,
    /// User name for the broker; `None` logs in without one.
    pub user: Option<String>,
    /// File with the password, so that the configuration itself holds none.
    pub password_file: Option<PathBuf>,
    /// The first levels of every topic.
    pub topic: String,
}

/// The ports registered for MQTT, without and with TLS.
const PORTS: (u16, u16) = (1883, 8883);
const LONGEST_TOPIC: usize = 200;

/// Every key of such a sink except `name` and `kind`.
pub(super) const KEYS: [&str; 5] = ["broker", "ca_file", "user", "password_file", "topic"];

/// Reads the settings. Relative paths are joined to `base`.
pub(super) fn read(table: &mut Table<'_>, faults: &mut Faults, base: &Path) -> Option<MqttConfig> {
    let path = |text: At<String>| base.join(text.value);
    let broker = broker(table, faults);
    let user = table.text(faults, "user");
    let password = table.text(faults, "password_file");
    let ca_file = table.text(faults, "ca_file");
    let topic = topic(table, faults);
    if let (None, Some(password)) = (&user, &password) {
        let fault = Fault::new("a password without a user", "want `user` too");
        faults.add(&password.place, fault);
    }
    let (host, port, tls) = broker?;
    if let (false, false, Some(password)) = (tls, is_here(&host), &password) {
        let fault = Fault::new(
            "the password goes over a line that is not encrypted",
            "want broker = \"mqtts://…\"",
        );
        faults.warn(
            &password.place,
            fault.help("whoever listens on the network reads it; the broker needs a certificate"),
        );
    }
    if let (false, Some(ca_file)) = (tls, &ca_file) {
        let got = "certificates for a line that is not encrypted";
        let fault = Fault::new(got, "want broker = \"mqtts://…\", or no ca_file");
        faults.add(&ca_file.place, fault);
    }
    Some(MqttConfig {
        host,
        port,
        tls,
        ca_file: ca_file.map(path),
        user: user.map(|user| user.value),
        password_file: password.map(path),
        topic: topic?,
    })
}

/// Whether the broker is on this machine.
fn is_here(host: &str) -> bool {
    host == "localhost" || host == "[::1]" || host.starts_with("127.")
}

/// Reads `mqtt://HOST` or `mqtts://HOST:PORT`.
fn broker(table: &mut Table<'_>, faults: &mut Faults) -> Option<(String, u16, bool)> {
    let text = table.required_text(faults, "broker", "\"mqtts://broker.example\"")?;
    let parsed = address(&text.value);
    if parsed.is_none() {
        let got = format!("broker is {}", quoted(&text.value));
        let fault = Fault::new(
            got,
            "want \"mqtt://HOST\" or \"mqtts://HOST\", with :PORT if it is another",
        );
        let help = text.value.contains('@').then(|| {
            "who we are stands in `user` and `password_file`, where no listing shows it".to_owned()
        });
        faults.add(&text.place, fault.help_of(help));
    }
    parsed
}

fn address(text: &str) -> Option<(String, u16, bool)> {
    let (scheme, rest) = text.split_once("://")?;
    let (tls, port) = match scheme {
        "mqtt" => (false, PORTS.0),
        "mqtts" => (true, PORTS.1),
        _ => return None,
    };
    let rest = rest.strip_suffix('/').unwrap_or(rest);
    let (host, port) = host_and_port(rest, port)?;
    Some((host, port, tls))
}

/// Reads `HOST` or `HOST:PORT`; an IPv6 address stands in brackets.
pub(super) fn host_and_port(text: &str, usual: u16) -> Option<(String, u16)> {
    let (host, port) = match text.rsplit_once(':') {
        Some((host, digits)) if !digits.contains(']') => (host, digits.parse().ok()?),
        Some(_) | None => (text, usual),
    };
    let in_brackets = host.starts_with('[') && host.ends_with(']');
    let plain = |byte: u8| {
        byte.is_ascii_alphanumeric()
            || b".-_".contains(&byte)
            || (in_brackets && b"[:]".contains(&byte))
    };
    let is_host = !host.is_empty() && host.bytes().all(plain);
    (is_host && port > 0).then(|| (host.to_owned(), port))
}

/// Reads the first levels of every topic, separated by `/`. None may be empty or a wildcard.
fn topic(table: &mut Table<'_>, faults: &mut Faults) -> Option<String> {
    let Some(text) = table.text(faults, "topic") else {
        return Some("tallyjaw".to_owned());
    };
    let is_level = |level: &str| !level.is_empty() && !level.contains(['+', '#', '\0']);
    let is_topic = text.value.len() <= LONGEST_TOPIC
        && text.value.split('/').all(is_level)
        && !text.value.starts_with('$');
    if !is_topic {
        let got = format!("topic is {}", quoted(&text.value));
        let want = "want words separated by /, such as \"shop/bench-1\", without + and #";
        faults.add(&text.place, Fault::new(got, want));
        return None;
    }
    Some(text.value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broker_is_a_host_with_or_without_its_port() {
        let known = |host: &str, port, tls| Some((host.to_owned(), port, tls));
        assert_eq!(address("mqtt://broker"), known("broker", 1883, false));
        assert_eq!(
            address("mqtts://b.example/"),
            known("b.example", 8883, true)
        );
        assert_eq!(
            address("mqtt://127.0.0.1:2883"),
            known("127.0.0.1", 2883, false)
        );
        assert_eq!(address("mqtts://[::1]:99"), known("[::1]", 99, true));
        assert_eq!(address("mqtt://[::1]"), known("[::1]", 1883, false));
        for text in [
            "broker",
            "https://broker",
            "mqtt://",
            "mqtt://a b",
            "mqtt://a:0",
            "mqtt://a:70000",
            "mqtt://u:p@a",
            "mqtt://a/b",
            "mqtt://::1",
        ] {
            assert_eq!(address(text), None, "{text}");
        }
    }
}
