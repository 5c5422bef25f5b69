//! Reads a `[[sink]]` of the kind `mqtt`: broker, login and topic.

use super::faults::{Fault, Faults, quoted};
use super::table::Table;
use super::tls::{self, TlsFiles, is_here};
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
    /// The files of its TLS connection.
    pub files: TlsFiles,
    /// User name for the broker; `None` logs in without one.
    pub user: Option<String>,
    /// File with the password, so that the configuration itself holds none.
    pub password_file: Option<PathBuf>,
    /// The first levels of every topic.
    pub topic: String,
    /// Name of this client at the broker; `None` uses one made of the journal's.
    pub client_id: Option<String>,
    /// User properties of every message.
    pub properties: Vec<(String, String)>,
}

/// The ports registered for MQTT, without and with TLS.
const PORTS: (u16, u16) = (1883, 8883);
const LONGEST_TOPIC: usize = 200;

/// Every key of such a sink except `name`, `kind` and those of [`tls`].
pub(super) const KEYS: [&str; 6] = [
    "broker",
    "user",
    "password_file",
    "topic",
    "client_id",
    "user_properties",
];
const LONGEST_ID: usize = 64;
const MOST_PROPERTIES: usize = 16;

/// Reads the settings. Relative paths are joined to `base`.
pub(super) fn read(table: &mut Table<'_>, faults: &mut Faults, base: &Path) -> Option<MqttConfig> {
    let broker = broker(table, faults);
    let secure = "broker = \"mqtts://…\"";
    let open = broker.as_ref().filter(|(_, _, tls)| !tls);
    let far = open.filter(|(host, _, _)| !is_here(host));
    let want = format!("want {secure}");
    let far = far.map(|_| (want.as_str(), "the broker needs a certificate"));
    let (user, password_file) = tls::login(table, faults, base, far);
    let files = tls::read(table, faults, base, open.map(|_| secure));
    let topic = topic(table, faults);
    let client_id = client_id(table, faults);
    let properties = properties(table, faults);
    let (host, port, tls) = broker?;
    Some(MqttConfig {
        host,
        port,
        tls,
        files,
        user,
        password_file,
        topic: topic?,
        client_id,
        properties,
    })
}

fn client_id(table: &mut Table<'_>, faults: &mut Faults) -> Option<String> {
    let text = table.text(faults, "client_id")?;
    let is_plain = |byte: u8| byte.is_ascii_graphic();
    let is_id = (1..=LONGEST_ID).contains(&text.value.len()) && text.value.bytes().all(is_plain);
    if !is_id {
        let got = format!("client_id is {}", quoted(&text.value));
        let want = format!("want at most {LONGEST_ID} characters of ASCII without blanks");
        faults.add(&text.place, Fault::new(got, want));
    }
    Some(text.value)
}

/// Reads `NAME=VALUE` texts.
fn properties(table: &mut Table<'_>, faults: &mut Faults) -> Vec<(String, String)> {
    let texts = table.texts(faults, "user_properties");
    if let Some(surplus) = texts.get(MOST_PROPERTIES) {
        let got = format!("{} user properties", texts.len());
        let fault = Fault::new(got, format!("want at most {MOST_PROPERTIES}"));
        faults.add(&surplus.place, fault);
    }
    let mut properties = Vec::new();
    let is_good = |(name, _): &(&str, &str)| !name.is_empty() && *name != "identity";
    for text in texts {
        let parts = text.value.split_once('=');
        if let Some((name, value)) = parts.filter(is_good) {
            properties.push((name.to_owned(), value.to_owned()));
        } else {
            let got = format!("a user property is {}", quoted(&text.value));
            let fault = Fault::new(got, "want \"NAME=VALUE\"");
            faults.add(
                &text.place,
                fault.help("identity is set by the sink itself"),
            );
        }
    }
    properties
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
