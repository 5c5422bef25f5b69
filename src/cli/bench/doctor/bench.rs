//! Examines the configuration, its ports, the sockets and the daemon.

use super::super::{client, configured, ports, surroundings};
use super::{Finding, Is, authorities, tablets};
use crate::cli::Context;
use crate::cli::columns::count;
use crate::clients::{self, Seen};
use crate::config::{Config, DaemonConfig, PortConfig, Severity};
use crate::daemon::VERSION;
use crate::files;
use crate::message::reply::Status;
use crate::serial::discover::{self, PortInfo};
use std::path::{Path, PathBuf};

/// Examines the configuration and its ports. Returns the daemon's folders too, if the configuration can be read.
pub(super) fn configuration(context: &Context) -> (Vec<Finding>, Option<DaemonConfig>) {
    let adapters: Vec<PortInfo> = discover::ports()
        .unwrap_or_default()
        .into_iter()
        .filter(|port| port.usb.is_some())
        .collect();
    match context.load() {
        Ok((path, config)) => {
            let mut findings = vec![what_check_says(&path, &config)];
            findings.extend(
                surroundings::warnings(&config)
                    .into_iter()
                    .map(|warning| Finding::new("configuration", Is::Wrong, warning)),
            );
            findings.extend(instruments(&config, &adapters));
            findings.extend(tablets::look(&config));
            findings.extend(authorities::look(&config));
            (findings, Some(config.daemon))
        }
        Err(failure) => {
            let mut finding = Finding::new("configuration", Is::Wrong, failure.to_string());
            finding = finding.help_of(failure.remedy());
            let mut findings = vec![finding];
            findings.extend(adapters.iter().map(|port| adapter(port, Is::Note)));
            if adapters.is_empty() {
                findings.push(no_adapter());
            }
            let path = context.config_path().ok();
            (
                findings,
                path.and_then(|path| Some(files::main_alone(&path)?.0)),
            )
        }
    }
}

fn what_check_says(path: &Path, config: &Config) -> Finding {
    let warnings = config.warnings.diagnostics.iter();
    let warnings = warnings
        .filter(|fault| fault.severity == Severity::Warning)
        .count();
    let path = path.display();
    if warnings == 0 {
        return Finding::new("configuration", Is::Good, format!("{path}: no errors"));
    }
    let says = format!("{path}: no errors, {}", count(warnings, "warning"));
    Finding::new("configuration", Is::Note, says).help("read them: tallyjaw check")
}

fn instruments(config: &Config, adapters: &[PortInfo]) -> Vec<Finding> {
    let control = control_of(&config.daemon);
    let daemon = match clients::look(&control) {
        Ok(Seen::Listens { pid }) => pid,
        Ok(Seen::Absent | Seen::Stale | Seen::NotAllowed) | Err(_) => None,
    };
    let mut used = Vec::new();
    let mut findings = Vec::new();
    for port in &config.ports {
        let (finding, path) = instrument(port, daemon);
        findings.push(finding);
        used.extend(path.and_then(|path| path.canonicalize().ok()));
    }
    if config.ports.is_empty() {
        findings.push(
            Finding::new(
                "ports",
                Is::Wrong,
                "no instrument is in the configuration, so nothing can be measured",
            )
            .help("plug the caliper's adapter in, then: tallyjaw listen PORT --write"),
        );
        if adapters.is_empty() {
            findings.push(no_adapter());
        }
    }
    let others = adapters.iter().filter(|port| !used.contains(&port.path));
    findings.extend(others.map(|port| adapter(port, Is::Note)));
    findings
}

/// Examines the port of one instrument.
fn instrument(port: &PortConfig, daemon: Option<i32>) -> (Finding, Option<PathBuf>) {
    let name = &port.instrument;
    let path = match discover::resolve(&port.selector) {
        Ok(path) => path,
        Err(error) => {
            let finding = Finding::new("ports", Is::Wrong, format!("{name}: {error}"));
            return (finding.help_of(error.remedy()), None);
        }
    };
    let info = discover::inspect(&path);
    let shown = path.display();
    let own = info
        .holders
        .iter()
        .any(|holder| i32::try_from(holder.pid).ok() == daemon);
    let finding = match &info.obstacle {
        None => Finding::new("ports", Is::Good, format!("{name}: {shown} can be opened")),
        Some(_) if own && info.holders.len() == 1 => Finding::new(
            "ports",
            Is::Good,
            format!("{name}: the daemon reads {shown}"),
        ),
        Some(obstacle) => Finding::new("ports", Is::Wrong, format!("{name}: {obstacle}"))
            .help_of(obstacle.remedy()),
    };
    (finding, Some(path))
}

/// A finding about an adapter that no instrument uses.
fn adapter(port: &PortInfo, is: Is) -> Finding {
    let path = port.path.display();
    let usb = port.usb.as_ref();
    let usb = usb.map_or_else(String::new, |usb| format!(" ({usb})"));
    match &port.obstacle {
        None => Finding::new(
            "ports",
            is,
            format!("{path}{usb} is the port of no instrument"),
        )
        .help(format!("to use it: tallyjaw listen {path} --write")),
        Some(obstacle) => {
            Finding::new("ports", is, obstacle.to_string()).help_of(obstacle.remedy())
        }
    }
}

fn no_adapter() -> Finding {
    Finding::new("ports", Is::Wrong, ports::NO_ADAPTER).help(ports::PLUG_IT_IN)
}

pub(super) fn control_of(daemon: &DaemonConfig) -> PathBuf {
    daemon.runtime_dir.join(configured::CONTROL)
}

/// Examines the control socket, and the daemon that answers there.
pub(super) fn sockets(daemon: &DaemonConfig) -> Vec<Finding> {
    let control = control_of(daemon);
    let shown = control.display();
    let absent = || {
        let finding = Finding::new(
            "daemon",
            Is::Note,
            "no daemon runs, so nothing is measured now",
        );
        finding.help("start it: tallyjaw serve")
    };
    match clients::look(&control) {
        Err(error) => {
            let finding = Finding::new("sockets", Is::Wrong, error.to_string());
            vec![finding.help(error.remedy())]
        }
        Ok(Seen::Absent) => vec![
            Finding::new("sockets", Is::Good, format!("{shown} is free for a daemon")),
            absent(),
        ],
        Ok(Seen::Stale) => vec![
            Finding::new(
                "sockets",
                Is::Wrong,
                format!("{shown} was left by a daemon that was killed; nobody listens there"),
            )
            .help("start the daemon again, it replaces the socket: tallyjaw serve"),
        ],
        Ok(Seen::NotAllowed) => vec![
            Finding::new(
                "sockets",
                Is::Wrong,
                format!("this user may not connect to {shown}"),
            )
            .help("give commands as the user that runs the daemon"),
        ],
        Ok(Seen::Listens { pid }) => {
            let process = pid.map_or_else(String::new, |pid| format!(" (process {pid})"));
            let mut findings = vec![Finding::new(
                "sockets",
                Is::Good,
                format!("a daemon{process} listens at {shown}"),
            )];
            findings.extend(answers(&control));
            findings
        }
    }
}

/// Findings from the daemon's answer to `status`.
fn answers(control: &Path) -> Vec<Finding> {
    let answer = client::call_at(control, "status", &client::params([]));
    let status = match answer.and_then(|answer| client::read::<Status>(&answer)) {
        Ok(status) => status,
        Err(failure) => {
            let finding = Finding::new("daemon", Is::Wrong, failure.to_string());
            return vec![finding.help_of(failure.remedy())];
        }
    };
    let mut findings = vec![match status.journal_health.as_str() {
        "ok" => Finding::new("daemon", Is::Good, "it answers, and the journal is written"),
        health => Finding::new(
            "daemon",
            Is::Wrong,
            format!("the journal is {health}: nothing counts"),
        )
        .help("look at the disk of state_dir and at the daemon's messages"),
    }];
    findings.push(if status.version == VERSION {
        Finding::new(
            "versions",
            Is::Good,
            format!("daemon and command are {VERSION}"),
        )
    } else {
        let says = format!(
            "the daemon is {}, this command is {VERSION}",
            status.version
        );
        Finding::new("versions", Is::Wrong, says)
            .help("restart the daemon, so that both are the same")
    });
    for trouble in &status.troubles {
        let says = format!("{}: {}", trouble.instrument, trouble.message);
        findings.push(Finding::new("daemon", Is::Wrong, says).help_of(trouble.remedy.clone()));
    }
    for trouble in &status.folders {
        let says = format!("pictures of {}: {}", trouble.station, trouble.message);
        findings.push(Finding::new("daemon", Is::Wrong, says).help(trouble.remedy.clone()));
    }
    if let Some(trouble) = &status.key_trouble {
        let says = format!("outcomes are not sealed: {}", trouble.message);
        findings.push(Finding::new("daemon", Is::Wrong, says).help(trouble.remedy.clone()));
    }
    for sink in &status.sinks {
        if let Some(failing) = &sink.failing {
            let says = format!(
                "sink {} fails since {}: {}",
                sink.sink, failing.since, failing.error
            );
            findings.push(Finding::new("daemon", Is::Wrong, says).help(failing.remedy.clone()));
        }
    }
    findings
}
