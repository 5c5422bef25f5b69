//! Decides which requests are allowed, before any route.
//!
//! - The host must be one of the page's names. This excludes the name of a hostile page that was made to point here.
//! - The origin, if the browser sends one, must be the page itself.
//! - A paired tablet may do what the page may. A device that is not paired gets the pairing page, and nothing else.
//! - On this machine reading needs no token. From elsewhere or through a proxy it does, except for the page's own files
//!   and the health, which reveal nothing. The page's own token may do all; a program's token by its scope.

use super::assets;
use super::connection::{Peer, Way};
use super::routes::Site;
use super::tablet::{Connection, Gate, bare_host};
use super::tokens::Held;
use crate::clients::Commander;
use crate::config::PageConfig;
use crate::message::Scope;
use axum::Extension;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::{AUTHORIZATION, CONTENT_SECURITY_POLICY, FORWARDED, HOST, ORIGIN};
use axum::http::header::{REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS};
use axum::http::uri::Authority;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::Response;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; \
    img-src 'self' data:; base-uri 'none'; frame-ancestors 'none'; form-action 'none'";

/// Names that always mean this machine.
const OWN_NAMES: [&str; 3] = ["localhost", "127.0.0.1", "[::1]"];

/// Open to every client, beside the page itself.
const OPEN: &str = "/healthz";

/// The host names of the page.
#[derive(Debug)]
pub(super) struct Hosts {
    /// Configured names, with or without a port.
    configured: Vec<String>,
    /// The address that the page listens at, if it is a specific one.
    listen: Option<IpAddr>,
}

impl Hosts {
    pub(super) fn new(config: &PageConfig, address: SocketAddr) -> Self {
        let ip = address.ip();
        Self {
            configured: config.hosts.clone(),
            listen: Some(ip).filter(|ip| !ip.is_unspecified()),
        }
    }

    /// Whether a `Host` is one of the names. With a name of the loopback interface any port is accepted: the port may
    /// be forwarded, and such a name never means another machine.
    fn know(&self, host: &str) -> bool {
        let host = host.to_ascii_lowercase();
        if self.configured.contains(&host) {
            return true;
        }
        let name = bare_host(&host);
        OWN_NAMES.contains(&name)
            || self.listen.is_some_and(|ip| {
                let bare = name.trim_start_matches('[').trim_end_matches(']');
                bare.parse() == Ok(ip)
            })
    }
}

/// Lets allowed requests through, and adds the security headers to every answer.
pub(super) async fn guard(
    State(site): State<Arc<Site>>,
    Extension(peer): Extension<Peer>,
    mut request: Request,
    next: Next,
) -> Response {
    let checked = match (&peer.way, &site.gate) {
        (Way::Plain(held), _) => of_plain(&site, (peer.address, held), &request),
        (Way::Tablet(connection), Some(gate)) => of_tablet(gate, connection, &request),
        (Way::Tablet(_), None) => Err(not_paired()),
    };
    let mut response = match checked {
        Err(refusal) => match (&peer.way, refusal.status) {
            // A person opens the page.
            (Way::Tablet(_), StatusCode::UNAUTHORIZED) if assets::is_visit(&request) => {
                assets::pairing(refusal.status)
            }
            _ => refusal.response(),
        },
        Ok(from) => {
            request.extensions_mut().insert(from);
            next.run(request).await
        }
    };
    let headers = response.headers_mut();
    for (name, value) in [
        (CONTENT_SECURITY_POLICY, POLICY),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (REFERRER_POLICY, "no-referrer"),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("permissions-policy"),
            "camera=(), microphone=(), geolocation=()",
        ),
    ] {
        // A report has its own policy.
        headers
            .entry(name)
            .or_insert(HeaderValue::from_static(value));
    }
    response
}

/// Why a request is refused.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Refusal {
    status: StatusCode,
    message: String,
    remedy: &'static str,
    /// The authentication scheme that a request without credentials must use, as an HTTP header.
    shows: &'static str,
}

/// The answer to a token that may only read: RFC 6750, section 3.1.
const COMMANDS: &str = "Bearer realm=\"tallyjaw\", error=\"insufficient_scope\", scope=\"command\"";

/// The page reacts to this answer by opening the pairing page.
const PAIRING: &str = "Pairing realm=\"tallyjaw\"";

impl Refusal {
    pub(super) fn new(
        status: StatusCode,
        message: impl Into<String>,
        remedy: &'static str,
    ) -> Self {
        Self {
            status,
            message: message.into(),
            remedy,
            shows: "Bearer realm=\"tallyjaw\"",
        }
    }

    /// The refusal in words, with the remedy on a line of its own.
    pub(super) fn response(self) -> Response {
        let text = format!("{}\nhelp: {}\n", self.message, self.remedy);
        let mut response = Response::new(Body::from(text));
        *response.status_mut() = self.status;
        let plain = HeaderValue::from_static("text/plain; charset=utf-8");
        response.headers_mut().insert("content-type", plain);
        if self.status == StatusCode::UNAUTHORIZED || self.shows == COMMANDS {
            let how = HeaderValue::from_static(self.shows);
            response.headers_mut().insert("www-authenticate", how);
        }
        response
    }
}

/// Checks a request over the network. Returns who it comes from; until it is paired, a device commands nothing.
fn of_tablet(
    gate: &Arc<Gate>,
    connection: &Connection,
    request: &Request,
) -> Result<Commander, Refusal> {
    let headers = request.headers();
    let host = host(headers, request)?;
    if !gate.knows(host, connection) {
        return Err(other_host(host));
    }
    if let Some(refusal) = foreign(headers, request, host, &["https://"]) {
        return Err(refusal);
    }
    match gate.who(headers, connection) {
        Some(name) => Ok(Commander::Tablet(name)),
        None if assets::is_of_pairing(request.uri().path()) => Ok(Commander::Machine),
        None => Err(not_paired()),
    }
}

fn not_paired() -> Refusal {
    Refusal {
        shows: PAIRING,
        ..Refusal::new(
            StatusCode::UNAUTHORIZED,
            "this device is not paired with the bench",
            "on the bench's machine: tallyjaw page --pair, then scan the code with this device",
        )
    }
}

fn other_host(host: &str) -> Refusal {
    Refusal::new(
        StatusCode::FORBIDDEN,
        format!("got the host {host:?}, want one of this page's names"),
        "use the address that `tallyjaw page` prints, or put the name in `hosts` of [page]",
    )
}

/// Checks a request on the page's own listener. Returns who it comes from.
fn of_plain(
    site: &Site,
    (peer, held): (SocketAddr, &Held),
    request: &Request,
) -> Result<Commander, Refusal> {
    let headers = request.headers();
    let host = host(headers, request)?;
    if !site.hosts.know(host) {
        return Err(other_host(host));
    }
    if let Some(refusal) = foreign(headers, request, host, &["http://", "https://"]) {
        return Err(refusal);
    }
    let path = request.uri().path();
    // This is decided by the method and not by a list of paths, so that no new path can be missed. Comments in a
    // configuration are not for everybody either.
    let is_read = matches!(*request.method(), Method::GET | Method::HEAD);
    let commands = !is_read || ["/control", "/setup", "/picture"].contains(&path);
    let reads_freely = peer.ip().is_loopback() && !is_forwarded(headers);
    let is_open = path == OPEN || assets::is_asset(path);
    let shown = bearer(headers);
    let program = shown.and_then(|shown| site.programs.who(shown, held));
    match (program, shown) {
        (Some((name, Scope::Read)), _) if commands => Err(only_reads(&name)),
        (Some((name, Scope::Read | Scope::Command)), _) => Ok(Commander::Token(name)),
        (None, _) if !commands && (reads_freely || is_open) => Ok(Commander::Machine),
        (None, Some(shown)) if site.token.is(shown) => Ok(Commander::Machine),
        (None, Some(_)) => Err(no_token("the token is wrong, or was revoked")),
        (None, None) => Err(no_token("no token, want Authorization: Bearer TOKEN")),
    }
}

/// The host of a request, of which there must be exactly one.
fn host<'r>(headers: &'r HeaderMap, request: &'r Request) -> Result<&'r str, Refusal> {
    let mut all = headers.get_all(HOST).iter();
    let host = match (all.next().map(HeaderValue::to_str), all.next()) {
        (Some(Ok(host)), None) => Some(host),
        (Some(Ok(_) | Err(_)) | None, _) => None,
    };
    let named = request.uri().authority().map(Authority::as_str);
    host.filter(|host| named.is_none_or(|named| named == *host))
        .ok_or_else(|| {
            Refusal::new(
                StatusCode::BAD_REQUEST,
                "no host in the request, or more than one",
                "send one header: Host: 127.0.0.1:8354",
            )
        })
}

/// The refusal of a request that another page has sent.
fn foreign(
    headers: &HeaderMap,
    request: &Request,
    host: &str,
    schemes: &[&str],
) -> Option<Refusal> {
    let remedy = "only the page itself may ask; programs say no origin";
    if let Some(origin) = headers.get(ORIGIN) {
        let origin = origin.to_str().unwrap_or("no text");
        let mut schemes = schemes.iter();
        let own = schemes.find_map(|scheme| origin.strip_prefix(scheme));
        if !own.is_some_and(|own| own.eq_ignore_ascii_case(host)) {
            let message = format!("got the origin {origin:?}, want the page's own");
            return Some(Refusal::new(StatusCode::FORBIDDEN, message, remedy));
        }
    }
    let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
    let from_elsewhere = site.is_some_and(|site| site != b"same-origin" && site != b"none");
    // A link to the page may be anywhere.
    let is_a_visit = request.method() == Method::GET
        && matches!(request.uri().path(), "/" | assets::PAIR)
        && headers
            .get("sec-fetch-mode")
            .is_some_and(|mode| mode == "navigate");
    (from_elsewhere && !is_a_visit).then(|| {
        Refusal::new(
            StatusCode::FORBIDDEN,
            "asked by a page of another site",
            remedy,
        )
    })
}

/// Whether a proxy has forwarded the request; most set one of these headers.
fn is_forwarded(headers: &HeaderMap) -> bool {
    headers.contains_key(FORWARDED)
        || ["x-forwarded-for", "x-forwarded-host", "x-real-ip", "via"]
            .iter()
            .any(|name| headers.contains_key(*name))
}

/// The token that a request shows. The name of the scheme is in any case: RFC 9110, section 11.1.
fn bearer(headers: &HeaderMap) -> Option<&[u8]> {
    let shown = headers.get(AUTHORIZATION)?.as_bytes();
    let (scheme, token) = shown.split_at_checked(b"Bearer ".len())?;
    scheme.eq_ignore_ascii_case(b"Bearer ").then_some(token)
}

fn no_token(message: &str) -> Refusal {
    Refusal::new(
        StatusCode::UNAUTHORIZED,
        message,
        "`tallyjaw page` prints the address with the token, `tallyjaw token add NAME` makes one for a program; use them as the user that runs the daemon",
    )
}

fn only_reads(name: &str) -> Refusal {
    Refusal {
        shows: COMMANDS,
        ..Refusal::new(
            StatusCode::FORBIDDEN,
            format!("the token {name} has the scope read, want command"),
            "make one that may command: tallyjaw token add NAME --scope command",
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_our_own_names_are_known() {
        let config = PageConfig {
            listen: "10.1.2.3:80".parse().unwrap(),
            hosts: vec!["bench.example".to_owned(), "odd.example:8443".to_owned()],
            tablet: None,
            edit: false,
        };
        let hosts = Hosts::new(&config, config.listen);
        for own in [
            "localhost",
            "LOCALHOST:1",
            "127.0.0.1:8354",
            "[::1]",
            "[::1]:8354",
            "10.1.2.3",
            "10.1.2.3:80",
            "Bench.example",
            "odd.example:8443",
        ] {
            assert!(hosts.know(own), "{own}");
        }
        for foreign in [
            "",
            "evil.example",
            "localhost.evil.example",
            "127.0.0.1.evil.example",
            "127.0.0.1@evil.example",
            "odd.example",
            "bench.example:81",
            "10.1.2.4",
            "[::2]",
            "127.1",
            "0.0.0.0",
            "2130706433",
        ] {
            assert!(!hosts.know(foreign), "{foreign}");
        }
    }

    #[test]
    fn an_address_that_is_any_is_nobodys_name() {
        let config = PageConfig {
            listen: "0.0.0.0:8354".parse().unwrap(),
            hosts: Vec::new(),
            tablet: None,
            edit: false,
        };
        let hosts = Hosts::new(&config, config.listen);
        assert!(hosts.know("127.0.0.1:8354"));
        assert!(!hosts.know("0.0.0.0:8354"));
    }
}
