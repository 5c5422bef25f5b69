//! The seals of a journal in words and for programs; the trusted keys.
#![expect(clippy::disallowed_methods, reason = "edge: reads a public key")]

use super::{BAD, Context, Failure, GOOD, HELP, add_known, walked};
use crate::journal::{Kept, SealingKey, Seals, Trust};
use crate::signing::{Public, Trusted, beside};
use serde_json::{Value, json};
use std::fs;
use std::io::{self, Write};
use std::path::Path;

/// The keys of a file.
pub(super) fn trusted(file: &Path) -> Result<Trusted, Failure> {
    let text = fs::read_to_string(file)
        .map_err(|cause| Failure::io(format!("cannot read {}", file.display())).because(&cause))?;
    Trusted::from_text(&text).map_err(|error| {
        Failure::usage(format!("{}: {error}", file.display())).with_remedy(
            "want what `tallyjaw key show` prints at the bench, or its public key (ssh-ed25519 …)",
        )
    })
}

/// Writes what is sealed, and by which keys. Writes nothing if the journal never had a key.
pub(super) fn write(out: &mut dyn Write, seals: &Seals) -> io::Result<()> {
    if seals.keys.is_empty() {
        return Ok(());
    }
    match seals.up_to {
        None => writeln!(out, "  seals     none yet")?,
        Some(up_to) => writeln!(out, "  seals     {}, up to entry {up_to}", seals.seals)?,
    }
    if seals.unsealed > 0 {
        let (entries, outcomes) = (seals.unsealed, seals.unsealed_outcomes);
        writeln!(
            out,
            "  unsealed  entries after that: {entries}, outcomes among them: {outcomes}; no seal protects them"
        )?;
    }
    for key in &seals.keys {
        writeln!(out, "  key       {}: {}", key.key, of_key(key))?;
    }
    if seals.keys.iter().any(|key| key.trust.is_none()) {
        writeln!(
            out,
            "{HELP}help{HELP:#}: nobody vouches for a key that only the journal names; compare it with one that was kept elsewhere: --key FILE"
        )?;
    }
    Ok(())
}

fn of_key(key: &SealingKey) -> String {
    let begun = key.begun.map_or_else(
        || "its beginning is missing".to_owned(),
        |seq| format!("from entry {seq}"),
    );
    let signed = if key.handed_over_by.is_some() {
        ", signed by the key before"
    } else {
        ""
    };
    let trusted = match key.trust {
        None => "",
        Some(Trust::Trusted) => ", trusted",
        Some(Trust::Covered) => ", covered by a later seal that is trusted",
        Some(Trust::Foreign) => ", NOT trusted",
    };
    format!("{begun}{signed}, {} seals{trusted}", key.seals)
}

/// The same for programs.
pub(super) fn json(seals: &Seals) -> Value {
    let keys = seals.keys.iter().map(|key| {
        let mut object = json!({
            "key": key.key,
            "handed_over": key.handed_over_by.is_some(),
            "seals": key.seals,
        });
        let known = [
            ("begun", key.begun.map(|seq| json!(seq.0))),
            ("trust", key.trust.map(|trust| json!(trust.name()))),
        ];
        add_known(&mut object, known);
        object
    });
    let mut object = json!({
        "seals": seals.seals,
        "unsealed": seals.unsealed,
        "unsealed_outcomes": seals.unsealed_outcomes,
        "keys": keys.collect::<Vec<_>>(),
    });
    add_known(
        &mut object,
        [("up_to", seals.up_to.map(|seq| json!(seq.0)))],
    );
    object
}

/// The trusted keys that vouch for this one in the journal of a folder.
fn vouchers_in(
    folder: &Path,
    trusted: &Trusted,
    by: &Public,
) -> Result<Option<Vec<String>>, Failure> {
    let kept = Kept {
        digest: None,
        keys: Some(trusted.clone()),
    };
    let report = walked(folder, kept, |_, _| (), |_, ()| {})?;
    let found = report.seals.vouchers(by.fingerprint());
    Ok(found.map(|keys| keys.into_iter().map(str::to_owned).collect()))
}

/// Whether nothing is wrong with the signature of a file. With trusted keys there must be a signature, by one of them
/// or by one that they vouch for in the journal, as for seals.
pub(super) fn signature(
    context: &Context,
    file: &Path,
    trusted: Option<&Trusted>,
    state_dir: Option<&Path>,
    out: &mut dyn Write,
) -> Result<bool, Failure> {
    let checked = beside::check(file).map_err(|failed| Failure::io(failed.to_string()))?;
    let name = beside::name(file);
    let mut vouchers = Vec::new();
    let (state, key, is_good) = match &checked {
        None if trusted.is_none() => return Ok(true),
        None => ("missing", None, false),
        Some(Err(_)) => ("wrong", None, false),
        Some(Ok(by)) => match trusted {
            None => ("unknown_key", Some(by), true),
            Some(trusted) if trusted.has(by) => ("good", Some(by), true),
            Some(trusted) => {
                let found = state_dir.map(|folder| vouchers_in(folder, trusted, by));
                match found.transpose()?.flatten() {
                    Some(found) => {
                        vouchers = found;
                        ("good", Some(by), true)
                    }
                    None => ("foreign_key", Some(by), false),
                }
            }
        },
    };
    if context.json {
        let mut object = json!({"kind": "signature", "file": name, "state": state});
        let is_vouched = !vouchers.is_empty();
        let known = [
            ("key", key.map(|key| json!(key.fingerprint()))),
            ("vouched_for_by", is_vouched.then(|| json!(vouchers))),
        ];
        add_known(&mut object, known);
        writeln!(out, "{object}")?;
        return Ok(is_good);
    }
    let name = name.display();
    match (&checked, key) {
        (Some(Err(error)), _) => writeln!(out, "{BAD}{name}{BAD:#}: {error}")?,
        (None, _) => writeln!(out, "{BAD}{name}{BAD:#}: there is no signature")?,
        (_, Some(key)) if state == "good" && vouchers.is_empty() => {
            writeln!(out, "{name}: {GOOD}signed{GOOD:#} by the trusted key {key}")?;
        }
        (_, Some(key)) if state == "good" => {
            let chain = vouchers.join(", which key ");
            writeln!(
                out,
                "{name}: {GOOD}signed{GOOD:#} by key {key}, which key {chain}, that you trust, has signed in the journal"
            )?;
        }
        (_, Some(key)) if is_good => writeln!(
            out,
            "{name}: signed by key {key}; nobody vouches for it: compare it with one that was kept elsewhere: --key FILE"
        )?,
        (_, Some(key)) => writeln!(
            out,
            "{BAD}{name}{BAD:#}: signed by key {key}, which is not trusted"
        )?,
        (Some(Ok(_)), None) => {}
    }
    Ok(is_good)
}
