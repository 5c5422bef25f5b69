//! Pairs and revokes tablets, lists them, and replaces their certificate.

use super::super::{Context, Exit, Failure, client, configured};
use super::qr;
use crate::clients::{self, Seen};
use crate::clock;
use crate::config::{Config, PageConfig, TabletConfig};
use crate::entry::words::safe;
use crate::journal::StateLock;
use crate::message::reply::{Pairing, TabletMessage, Tablets};
use crate::page::tablet::{self, Certificate, TabletError, Tokens};
use crate::quantity::{WallMicros, Zone};
use serde_json::json;
use std::io::Write;
use std::path::Path;

/// The configuration; a failure if it does not allow tablets.
fn configured(context: &Context) -> Result<(Config, TabletConfig, Vec<String>), Failure> {
    let (_, config) = context.load()?;
    match &config.page {
        Some(PageConfig {
            tablet: Some(tablet),
            hosts,
            ..
        }) => {
            let (tablet, hosts) = (tablet.clone(), hosts.clone());
            Ok((config, tablet, hosts))
        }
        Some(_) | None => Err(
            Failure::usage("no tablet may connect by this configuration")
                .with_remedy("write tablet = true under [page], then start the daemon again"),
        ),
    }
}

/// Whether a daemon listens at the control socket of this configuration.
pub(in crate::cli::bench) fn daemon_runs(config: &Config) -> Result<bool, Failure> {
    let control = config.daemon.runtime_dir.join(configured::CONTROL);
    match clients::look(&control) {
        Ok(Seen::Absent | Seen::Stale) => Ok(false),
        Ok(Seen::NotAllowed | Seen::Listens { .. }) => Ok(true),
        Err(error) => Err(Failure::io(error.to_string()).with_remedy(error.remedy())),
    }
}

pub(in crate::cli::bench) fn unusable(error: &TabletError) -> Failure {
    Failure::usage(error.to_string()).with_remedy(error.remedy())
}

/// Refuses to make a file as another user, because the daemon could not read it.
pub(in crate::cli::bench) fn check_owner(state_dir: &Path, command: &str) -> Result<(), Failure> {
    let own = rustix::process::geteuid().as_raw();
    let owner = rustix::fs::stat(state_dir).map(|about| about.st_uid);
    match owner {
        Ok(uid) if uid != own => Err(Failure::usage(format!(
            "{} belongs to uid {uid}, this is uid {own}",
            state_dir.display()
        ))
        .with_remedy(format!(
            "run this as the user of the daemon: sudo -u tallyjaw tallyjaw {command} …"
        ))),
        Ok(_) | Err(_) => Ok(()),
    }
}

/// Requests a pairing code from the daemon, and shows it.
pub(super) fn pair(
    context: &Context,
    out: &mut dyn Write,
    name: Option<String>,
) -> Result<Exit, Failure> {
    let (config, ..) = configured(context)?;
    let control = config.daemon.runtime_dir.join(configured::CONTROL);
    let name = name.map(Into::into);
    let answer = client::call_at(&control, "pair", &client::params([("tablet", name)]))?;
    let pairing: Pairing = client::read(&answer)?;
    let Some(address) = pairing.addresses.first() else {
        return Err(Failure::io("this machine is in no network now")
            .with_remedy("connect it to the network of the tablet, then try again"));
    };
    let url = format!(
        "{address}pair#c={}&f={}",
        pairing.code.replace('-', ""),
        base64(&pairing.sha256)
    );
    if context.json {
        let Pairing {
            tablet,
            addresses,
            code,
            expires_at,
            sha256,
        } = pairing;
        let line = json!({
            "kind": "pairing", "tablet": tablet, "url": url, "addresses": addresses, "code": code,
            "expires_at": expires_at, "sha256": sha256,
        });
        writeln!(out, "{line}")?;
        return Ok(Exit::Yes);
    }
    let drawn = qr::drawn(&url)
        .map_err(|error| Failure::usage(format!("the code cannot be drawn: {error}")))?;
    let zone = clock::zone();
    let until = shown(&pairing.expires_at, &zone);
    writeln!(
        out,
        "Scan this with the tablet's camera, or open the address in its browser and type the code.\n\n{drawn}"
    )?;
    writeln!(out, "  address      {address}pair")?;
    for other in pairing.addresses.iter().skip(1) {
        writeln!(out, "  or           {other}pair")?;
    }
    writeln!(out, "  code         {}", pairing.code)?;
    writeln!(out, "  good         once, until {until}")?;
    writeln!(out, "  name         {}", safe(&pairing.tablet))?;
    writeln!(
        out,
        "\n\
The browser warns once, because no authority vouches for this machine. Go on only if the certificate that it shows has
this SHA-256 fingerprint:
  {}
  {}
A paired tablet can start series and retract readings as the operator does: pair only tablets that stay at the bench.
If it cannot connect, open the port for your network in the firewall of this machine.",
        pairing.sha256.get(..48).unwrap_or_default(),
        pairing.sha256.get(48..).unwrap_or_default(),
    )?;
    Ok(Exit::Yes)
}

/// Revokes a pairing, through the daemon if one runs.
pub(super) fn revoke(context: &Context, out: &mut dyn Write, name: &str) -> Result<Exit, Failure> {
    let (_, config) = context.load()?;
    if daemon_runs(&config)? {
        let control = config.daemon.runtime_dir.join(configured::CONTROL);
        client::call_at(
            &control,
            "revoke",
            &client::params([("tablet", Some(name.into()))]),
        )?;
    } else {
        let state_dir = &config.daemon.state_dir;
        check_owner(state_dir, "page")?;
        // The lock keeps a daemon from writing the file meanwhile.
        let lock = StateLock::take(state_dir)
            .map_err(|error| Failure::usage(error.to_string()).with_remedy_of(error.remedy()))?;
        let tokens = Tokens::of_tablets(state_dir).map_err(|error| unusable(&error))?;
        if !tokens.revoke_for_later(name) {
            return Err(Failure::usage(format!("no tablet {name:?} is paired"))
                .with_remedy("list them: tallyjaw page --tablets"));
        }
        tokens
            .save()
            .map_err(|error| Failure::io(error.to_string()))?;
        drop(lock);
    }
    if context.json {
        writeln!(out, "{}", json!({"kind": "revoked", "tablet": name}))?;
    } else {
        writeln!(
            out,
            "the pairing of {} is revoked: it may neither read nor give commands",
            safe(name)
        )?;
    }
    Ok(Exit::Yes)
}

/// Lists the paired tablets.
pub(super) fn list(context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
    let (_, config) = context.load()?;
    let asks = daemon_runs(&config)? && matches!(&config.page, Some(page) if page.tablet.is_some());
    let tablets = if asks {
        let control = config.daemon.runtime_dir.join(configured::CONTROL);
        let answer = client::call_at(&control, "tablets", &client::params([]))?;
        let Tablets { tablets } = client::read(&answer)?;
        tablets
    } else {
        let tokens =
            Tokens::of_tablets(&config.daemon.state_dir).map_err(|error| unusable(&error))?;
        let known = tokens.list().into_iter();
        known
            .map(|tablet| TabletMessage {
                tablet: tablet.name,
                paired_at: tablet.since,
                used_at: tablet.used,
            })
            .collect()
    };
    let zone = clock::zone();
    for TabletMessage {
        tablet,
        paired_at,
        used_at,
    } in &tablets
    {
        if context.json {
            let line = json!({
                "kind": "tablet", "tablet": tablet, "paired_at": paired_at, "used_at": used_at,
            });
            writeln!(out, "{line}")?;
            continue;
        }
        let used = used_at.as_ref().map_or_else(
            || "never used".to_owned(),
            |at| format!("last used {}", shown(at, &zone)),
        );
        let paired = shown(paired_at, &zone);
        writeln!(out, "{:<20}  paired {paired}  {used}", safe(tablet))?;
    }
    if tablets.is_empty() && !context.json {
        writeln!(out, "no tablet is paired; pair one: tallyjaw page --pair")?;
    }
    Ok(Exit::Yes)
}

/// Makes a new certificate; the daemon uses it from its next start.
pub(super) fn new_certificate(context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
    let (config, tablet, hosts) = configured(context)?;
    let state_dir = &config.daemon.state_dir;
    check_owner(state_dir, "page")?;
    let names = tablet::names(tablet.listen.ip(), &hosts);
    let made = Certificate::make(state_dir, &names, clock::wall());
    let made = made.map_err(|error| unusable(&error))?;
    let (sha256, until) = (made.fingerprint.to_string(), &made.until);
    if context.json {
        let line = json!({"kind": "certificate", "sha256": sha256, "names": names, "until": until});
        writeln!(out, "{line}")?;
        return Ok(Exit::Yes);
    }
    writeln!(
        out,
        "a new certificate was made, good until {until}, for {}",
        names.join(", ")
    )?;
    writeln!(out, "its SHA-256 fingerprint is\n  {sha256}")?;
    let start = if daemon_runs(&config)? {
        "Start the daemon again: until then it shows the old one. "
    } else {
        ""
    };
    writeln!(
        out,
        "{start}Each tablet then warns once: compare this fingerprint before you go on there. They stay paired."
    )?;
    Ok(Exit::Yes)
}

/// A time as people read it, in local time.
pub(in crate::cli::bench) fn shown(at: &str, zone: &Zone) -> String {
    let at = at.parse::<WallMicros>();
    at.map_or_else(|_| "–".to_owned(), |at| at.local(zone))
}

/// A fingerprint `AB:CD:…` in the shortest form that an address can hold: base 64 for addresses (RFC 4648, section 5).
fn base64(fingerprint: &str) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    let bytes = fingerprint.split(':');
    let bytes: Vec<u32> = bytes
        .filter_map(|hex| u32::from_str_radix(hex, 16).ok())
        .collect();
    let mut text = String::new();
    for three in bytes.chunks(3) {
        let whole =
            three.iter().fold(0, |whole, byte| whole << 8 | byte) << (8 * (3 - three.len()));
        for digit in 0..=three.len() {
            let at = usize::try_from(whole >> (18 - 6 * digit) & 63).unwrap_or_default();
            text.extend(DIGITS.get(at).map(|digit| char::from(*digit)));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::base64;

    #[test]
    fn a_fingerprint_is_as_rfc_4648_has_it() {
        for (bytes, text) in [
            ("66", "Zg"),
            ("66:6F", "Zm8"),
            ("66:6F:6F", "Zm9v"),
            ("FF:FE:FD:FC", "__79_A"),
        ] {
            assert_eq!(base64(bytes), text);
        }
    }
}
