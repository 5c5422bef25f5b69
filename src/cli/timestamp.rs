//! `tallyjaw timestamp`: exit 0 once the time stamp is kept, 2 if the answer is none of an entry, or without
//! configuration or entry, 4 if the authority does not answer or a file cannot be read or written.

use super::query::lines;
use super::{Context, Exit, Failure};
use crate::config::DaemonConfig;
use crate::durable::{Access, failed, put};
use crate::entry::Seq;
use crate::entry::line::Digest;
use crate::timestamp::{Answer, Authority, NotAStamp, NotVouched, ask, file, keep, request};
use serde_json::json;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

const ANOTHER: &str = "ask again, or another authority";

/// Have an authority outside confirm when the journal existed
///
/// The digest of the last line is sent to a time stamping authority (RFC 3161) and nothing else; its signed answer is kept
/// in the state folder as timestamps/SEQ.tsr. Each line holds the digest of the one before, so the answer stands for
/// all entries up to there: whoever writes the journal again later, with every key of the bench, cannot write that.
/// `tallyjaw verify --authority FILE` checks the answers.
///
/// Without a network: --out writes the request into a file, for any program that speaks to an authority, and --answer
/// takes what came back.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw timestamp tsa.example/tsa           send the request, keep the answer\n  tallyjaw timestamp -o last.tsq               a bench without a network\n  curl -H 'Content-Type: application/timestamp-query' \\\n    --data-binary @last.tsq https://tsa.example/tsa -o last.tsr\n  tallyjaw timestamp --answer last.tsr\n  tallyjaw verify --authority tsa-ca.pem\n\nExit codes: 0 kept; 2 the answer is no time stamp of an entry, no configuration or no entry; 4 no answer, or a file cannot be read or written."
)]
pub(super) struct Timestamp {
    /// The authority's address: HOST[:PORT]/PATH, by plain HTTP, since the answer is signed
    #[arg(value_name = "URL", required_unless_present_any = ["out", "answer"])]
    url: Option<String>,
    /// Write the request into this file instead
    #[arg(short, long, value_name = "FILE", conflicts_with_all = ["url", "answer"])]
    out: Option<PathBuf>,
    /// Take the answer in this file
    #[arg(long, value_name = "FILE", conflicts_with = "url")]
    answer: Option<PathBuf>,
    /// The authority's certificate in PEM: an answer that it does not vouch for is not kept
    #[arg(long, value_name = "FILE", conflicts_with = "out")]
    authority: Option<PathBuf>,
}

impl Timestamp {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let daemon = context.load()?.1.daemon;
        let authority = self.authority.as_deref().map(authority).transpose()?;
        if let Some(path) = &self.answer {
            let bytes = read(path)?;
            let answer = Answer::read(&bytes).map_err(|error| no_stamp(&error))?;
            let (seq, digest) = line_of(&daemon, &answer)?;
            return kept(
                context,
                out,
                &daemon,
                (&bytes, seq, digest, None),
                authority.as_ref(),
            );
        }
        let (seq, digest) = last_line(&daemon)?;
        if let Some(path) = &self.out {
            let request = encoded(digest, None)?;
            put(path, &request, true, Access::Usual)
                .map_err(failed("write", path))
                .map_err(|failed| Failure::io(failed.to_string()))?;
            let path = path.display();
            writeln!(
                out,
                "{path}: asks for a time stamp of entry {seq}; take the answer with --answer"
            )?;
            return Ok(Exit::Yes);
        }
        let url = self.url.unwrap_or_default();
        let nonce = nonce()?;
        let request = encoded(digest, Some(nonce))?;
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()?;
        let bytes = runtime.block_on(ask(&url, request)).map_err(|error| {
            Failure::io(error.to_string()).with_remedy(
                "check the address; for https, or from a bench without a network, see --out",
            )
        })?;
        kept(
            context,
            out,
            &daemon,
            (&bytes, seq, digest, Some(nonce)),
            authority.as_ref(),
        )
    }
}

/// The certificates of a file.
pub(super) fn authority(path: &Path) -> Result<Authority, Failure> {
    Authority::of_pem(&read(path)?).map_err(|error| {
        Failure::usage(format!("{}: {error}", path.display()))
            .with_remedy("name the file in which the authority publishes its certificate")
    })
}

fn encoded(digest: Digest, nonce: Option<u64>) -> Result<Vec<u8>, Failure> {
    request(digest, nonce)
        .map_err(|error| Failure::io(format!("no request could be made: {error}")))
}

fn nonce() -> Result<u64, Failure> {
    let mut bytes = [0; 8];
    rustix::rand::getrandom(&mut bytes, rustix::rand::GetRandomFlags::empty())
        .map_err(|error| Failure::io(format!("the system gives no random number: {error}")))?;
    Ok(u64::from_be_bytes(bytes))
}

fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    file(path).map_err(|failed| {
        Failure::io(failed.to_string()).with_remedy("name a file that is there and may be read")
    })
}

/// The last durable line, and its digest.
fn last_line(daemon: &DaemonConfig) -> Result<(Seq, Digest), Failure> {
    let last = lines::last_line(daemon)?;
    let last = last.map(|line| (line.seq, Digest::of(&line.bytes)));
    last.ok_or_else(|| {
        Failure::usage("the journal has no entry yet")
            .with_remedy("start the daemon, which begins it: tallyjaw serve")
    })
}

/// The line that an answer is of.
fn line_of(daemon: &DaemonConfig, answer: &Answer) -> Result<(Seq, Digest), Failure> {
    let mut found = None;
    lines::each(daemon, Seq(0), |line| {
        let digest = Digest::of(line.bytes);
        if answer.is_of(digest, None).is_err() {
            return Ok(ControlFlow::Continue(()));
        }
        found = Some((line.seq, digest));
        Ok(ControlFlow::Break(()))
    })?;
    found.ok_or_else(|| {
        Failure::usage("the answer is of no line of this journal")
            .with_remedy("take the answer to the request that this bench wrote: --out FILE")
    })
}

/// Keeps an answer that is what it should be.
fn kept(
    context: &Context,
    out: &mut dyn Write,
    daemon: &DaemonConfig,
    (bytes, seq, digest, nonce): (&[u8], Seq, Digest, Option<u64>),
    authority: Option<&Authority>,
) -> Result<Exit, Failure> {
    let answer = Answer::read(bytes).map_err(|error| no_stamp(&error))?;
    answer
        .is_of(digest, nonce)
        .map_err(|error| no_stamp(&error))?;
    if let Some(authority) = authority {
        authority
            .vouches_for(&answer)
            .map_err(|error| not_vouched(&error))?;
    }
    let path =
        keep(&daemon.state_dir, seq, bytes).map_err(|error| Failure::io(error.to_string()))?;
    if context.json {
        let object = json!({
            "seq": seq.0, "digest": digest.to_string(), "at": answer.at.to_string(),
            "file": path, "authority_checked": authority.is_some(),
        });
        writeln!(out, "{object}")?;
        return Ok(Exit::Yes);
    }
    let checked = match authority {
        Some(_) => "the given authority signed it",
        None => "who signed it was not checked: give the certificate with --authority",
    };
    let at = answer.at;
    writeln!(
        out,
        "entry {seq} and all before it: time stamp of {at}, kept as {}; {checked}",
        path.display()
    )?;
    Ok(Exit::Yes)
}

fn no_stamp(error: &NotAStamp) -> Failure {
    Failure::usage(error.to_string()).with_remedy(ANOTHER)
}

fn not_vouched(error: &NotVouched) -> Failure {
    Failure::usage(format!("the time stamp is not kept: {error}")).with_remedy(ANOTHER)
}
