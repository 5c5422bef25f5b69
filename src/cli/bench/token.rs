//! `tallyjaw token add|list|revoke`: exit 0; 2 without a configuration, if the name is wrong or taken, or if there is no
//! such token; 4 if the file cannot be written.

use super::page::{check_owner, daemon_runs, shown, unusable};
use super::{Context, Exit, Failure, client, configured};
use crate::clock;
use crate::config::Config;
use crate::entry::words::safe;
use crate::journal::StateLock;
use crate::message::Scope;
use crate::message::reply::{NewToken, TokenList, TokenMessage};
use crate::page::Programs;
use serde_json::json;
use std::io::Write;

/// Make, list and revoke tokens for programs that use the bench page or OPC UA
///
/// A program shows its token in each request: Authorization: Bearer SECRET. With the scope `read` it may read what the
/// page shows, /metrics among it; with `command` it may also give commands at a station, and each entry that follows has
/// the token's name. It may not pair tablets, make tokens or change the configuration. The token of `tallyjaw page` is
/// another one: it may do all that the page may. For an OPC UA client the token's name is the user name and its secret
/// the password.
///
/// The secret is shown once. Only its digest is kept, in page.tokens of the state folder, for this user alone.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw token add scraper                    a token that may only read
  tallyjaw token add cell-4 --scope command     one that may also start series
  curl -H 'Authorization: Bearer SECRET' http://127.0.0.1:8354/metrics
  tallyjaw token list                           names, scopes, and when each was last used
  tallyjaw token revoke scraper                 revoke it; its open connections are closed")]
pub(in crate::cli) struct Token {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Make a token, and show its secret
    Add {
        /// Name of the program that will have it, as it will stand in the journal
        name: String,
        /// What it may do: read, or command as well
        #[arg(long, value_name = "SCOPE", value_parser = scope, default_value = "read")]
        scope: Scope,
    },
    /// List the tokens, without their secrets
    List,
    /// Revoke a token at once, also while no daemon runs
    Revoke {
        /// Its name
        name: String,
    },
}

fn scope(text: &str) -> Result<Scope, String> {
    let known = Scope::ALL.into_iter().find(|scope| scope.name() == text);
    known.ok_or_else(|| "want read or command".to_owned())
}

impl Token {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (_, config) = context.load()?;
        match self.what {
            What::Add { name, scope } => add(context, &config, (&name, scope), out),
            What::List => list(context, &config, out),
            What::Revoke { name } => revoke(context, &config, &name, out),
        }
    }
}

/// The tokens of the state folder, while no daemon runs. The lock keeps one from writing the file meanwhile.
fn without_daemon(config: &Config) -> Result<(Programs, StateLock), Failure> {
    let state_dir = &config.daemon.state_dir;
    check_owner(state_dir, "token")?;
    let lock = StateLock::take(state_dir)
        .map_err(|error| Failure::usage(error.to_string()).with_remedy_of(error.remedy()))?;
    let programs = Programs::open(state_dir, clock::wall).map_err(|error| unusable(&error))?;
    Ok((programs, lock))
}

fn written(programs: &Programs) -> Result<(), Failure> {
    let written = programs.save();
    written.map_err(|error| Failure::io(error.to_string()))
}

fn add(
    context: &Context,
    config: &Config,
    (name, scope): (&str, Scope),
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    let made: NewToken = if daemon_runs(config)? {
        let control = config.daemon.runtime_dir.join(configured::CONTROL);
        let params = [
            ("token", Some(name.into())),
            ("scope", Some(scope.name().into())),
        ];
        let answer = client::call_at(&control, "token_add", &client::params(params))?;
        client::read(&answer)?
    } else {
        let (programs, _lock) = without_daemon(config)?;
        let made = programs.add(name, scope).map_err(client::refused)?;
        written(&programs)?;
        made
    };
    let NewToken {
        token,
        scope,
        secret,
    } = made;
    if context.json {
        let line = json!({"kind": "token", "token": token, "scope": scope, "secret": secret});
        writeln!(out, "{line}")?;
        return Ok(Exit::Yes);
    }
    writeln!(
        out,
        "{secret}\nThis is the token of {token}, scope {}. It is shown only now: give it to that program as Authorization: Bearer TOKEN.",
        scope.name()
    )?;
    if config.opcua.is_some() {
        writeln!(
            out,
            "For an OPC UA client {token} is the user name, and this the password."
        )?;
    }
    if !config.has_use_of_tokens() {
        writeln!(
            out,
            "Neither page nor OPC UA is served by this configuration, so it opens nothing yet: write [page] or [opcua] into it."
        )?;
    }
    Ok(Exit::Yes)
}

fn list(context: &Context, config: &Config, out: &mut dyn Write) -> Result<Exit, Failure> {
    let TokenList { tokens } = if config.has_use_of_tokens() && daemon_runs(config)? {
        let control = config.daemon.runtime_dir.join(configured::CONTROL);
        let answer = client::call_at(&control, "tokens", &client::params([]))?;
        client::read(&answer)?
    } else {
        let programs = Programs::open(&config.daemon.state_dir, clock::wall);
        programs.map_err(|error| unusable(&error))?.list()
    };
    let zone = clock::zone();
    for TokenMessage {
        token,
        scope,
        made_at,
        used_at,
    } in &tokens
    {
        if context.json {
            let line = json!({
                "kind": "token", "token": token, "scope": scope, "made_at": made_at, "used_at": used_at,
            });
            writeln!(out, "{line}")?;
            continue;
        }
        let used = used_at.as_ref().map_or_else(
            || "never used".to_owned(),
            |at| format!("last used {}", shown(at, &zone)),
        );
        writeln!(
            out,
            "{:<20}  {:<7}  made {}  {used}",
            safe(token),
            scope.name(),
            shown(made_at, &zone)
        )?;
    }
    if tokens.is_empty() && !context.json {
        writeln!(
            out,
            "there is no token; make one: tallyjaw token add scraper"
        )?;
    }
    Ok(Exit::Yes)
}

fn revoke(
    context: &Context,
    config: &Config,
    name: &str,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    if daemon_runs(config)? {
        let control = config.daemon.runtime_dir.join(configured::CONTROL);
        let params = client::params([("token", Some(name.into()))]);
        client::call_at(&control, "token_revoke", &params)?;
    } else {
        let (programs, _lock) = without_daemon(config)?;
        programs.revoke(name).map_err(client::refused)?;
        written(&programs)?;
    }
    if context.json {
        writeln!(out, "{}", json!({"kind": "revoked", "token": name}))?;
    } else {
        writeln!(
            out,
            "the token {} is revoked: it may neither read nor command, and its open connections are closed",
            safe(name)
        )?;
    }
    Ok(Exit::Yes)
}
