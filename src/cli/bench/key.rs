//! `tallyjaw key make|show|rotate`: exit 0; 1 if there is no key to show; 2 without a configuration, if there is a key
//! already or none to replace, or if others may have read it; 4 if it cannot be read or written.

use super::{Context, Exit, Failure, signed};
use crate::durable::make_folder;
use crate::signing::{KEY_FILE, Key, KeyError, PUBLIC_KEY_FILE};
use anstyle::{AnsiColor, Style};
use serde_json::json;
use std::io::Write;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

const HELP: Style = AnsiColor::Cyan.on_default();

/// Make, show or replace the key that seals the journal and signs files
///
/// With a key, the daemon seals the journal after each outcome, every 1,000 entries and at its stop, and reports,
/// labels and exports that this user makes get a signature, FILE.sig, beside them. Anyone with the public part can
/// check both: tallyjaw verify --key, or ssh-keygen alone. Publish it, and keep it on another machine: a key that only
/// this machine vouches for proves nothing. The private part stays in the state folder, where only the user of the
/// daemon can read it.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw key make && tallyjaw reload       make the key, and seal from now on
  tallyjaw key show > tallyjaw.allowed    the public part, for verify --key and ssh-keygen
  tallyjaw key rotate && tallyjaw reload     go on with a new key that the old one vouches for")]
pub(in crate::cli) struct KeyCommand {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Make the key, where there is none
    Make,
    /// Show the public part, as a line of a file of allowed signers
    Show,
    /// Make a new key that the old one signs; the old one is removed
    Rotate,
}

impl KeyCommand {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let state_dir = context.load()?.1.daemon.state_dir;
        match self.what {
            What::Show => return show(context, &state_dir, out),
            What::Make => {
                of_this_user(&state_dir)?;
                let key = Key::make(&state_dir).map_err(|error| signed::failure(&error))?;
                say(context, &state_dir, &key, None, out)?;
            }
            What::Rotate => {
                of_this_user(&state_dir)?;
                let (old, new) =
                    Key::rotate(&state_dir).map_err(|error| signed::failure(&error))?;
                say(context, &state_dir, &new, Some(&old), out)?;
            }
        }
        Ok(Exit::Yes)
    }
}

/// Refuses to make a key as another user, because the daemon could not read it.
fn of_this_user(state_dir: &Path) -> Result<(), Failure> {
    let io = |cause: std::io::Error| {
        Failure::io(format!("cannot make {}", state_dir.display())).because(&cause)
    };
    make_folder(state_dir, 0o700).map_err(io)?;
    let owner = std::fs::metadata(state_dir).map_err(io)?.uid();
    if owner == rustix::process::geteuid().as_raw() {
        return Ok(());
    }
    let folder = state_dir.display();
    Err(Failure::usage(format!(
        "{folder} belongs to user {owner}, want the user of the daemon"
    ))
    .with_remedy(format!(
        "run it as that user: sudo -u '#{owner}' tallyjaw key …"
    )))
}

fn show(context: &Context, state_dir: &Path, out: &mut dyn Write) -> Result<Exit, Failure> {
    let key = Key::open(state_dir).map_err(|error| signed::failure(&error))?;
    let Some(key) = key else {
        let error = KeyError::NoKey {
            path: state_dir.join(KEY_FILE),
        };
        writeln!(out, "{error}\n{HELP}help{HELP:#}: {}", error.remedy())?;
        return Ok(Exit::No);
    };
    if context.json {
        writeln!(out, "{}", as_json(state_dir, &key))?;
    } else {
        let public = key.public();
        write!(out, "# signing key {public}\n{}", public.allowed())?;
    }
    Ok(Exit::Yes)
}

fn say(
    context: &Context,
    state_dir: &Path,
    key: &Key,
    old: Option<&Key>,
    out: &mut dyn Write,
) -> Result<(), Failure> {
    if context.json {
        return Ok(writeln!(out, "{}", as_json(state_dir, key))?);
    }
    let public = key.public();
    match old {
        None => writeln!(out, "signing key {public} made")?,
        Some(old) => writeln!(
            out,
            "signing key {public} made; key {} has signed it, and is removed",
            old.public()
        )?,
    }
    let file = |name: &str| -> PathBuf { state_dir.join(name) };
    writeln!(
        out,
        "  private  {}, for this user alone",
        file(KEY_FILE).display()
    )?;
    writeln!(out, "  public   {}", file(PUBLIC_KEY_FILE).display())?;
    writeln!(
        out,
        "{HELP}help{HELP:#}: a running daemon takes it with `tallyjaw reload`; keep the public file on another machine, and give it to whoever checks"
    )?;
    Ok(())
}

fn as_json(state_dir: &Path, key: &Key) -> serde_json::Value {
    json!({
        "key": key.public().fingerprint(),
        "public_key": key.public().line(),
        "allowed_signer": key.public().allowed().trim_end(),
        "file": state_dir.join(PUBLIC_KEY_FILE),
    })
}
