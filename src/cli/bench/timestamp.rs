//! `tallyjaw timestamp`: exit 0 once the time stamp is stored, 2 if the answer does not fit an entry, or without
//! configuration or entry, 4 if the authority does not answer or a file cannot be read or written.

use super::query::lines;
use super::{Context, Exit, Failure};
use crate::config::{AuthorityConfig, Config, DaemonConfig, SinkSettings, WebAddress};
use crate::durable::{Access, failed, put};
use crate::entry::Seq;
use crate::entry::line::Digest;
use crate::timestamp::{
    Answer, CertificatesError, NotAStamp, NotObtained, Stamp, certificates, file, keep, obtain,
    request,
};
use serde_json::json;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::PathBuf;

/// Have an outside authority confirm when the journal existed
///
/// The digest of the last line is sent to a time stamping authority (RFC 3161) and nothing else; its signed answer is
/// stored in the state folder as timestamps/SEQ.tsr. Each line holds the digest of the one before, so the answer covers
/// all entries up to that one: whoever rewrites the journal later, even with every key of the bench, cannot make such
/// an answer. `tallyjaw verify --authority FILE` checks the answers.
///
/// Without a URL the authority of the [[sink]] of the kind "timestamp" is asked. The daemon asks it each day by itself.
///
/// Without a network: --out writes the request into a file, for any program that can ask an authority, and --answer
/// takes the answer.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw timestamp https://tsa.example/tsa --authority tsa-ca.pem\n                                               send the request, check and keep the answer\n  tallyjaw timestamp                           ask the authority of the [[sink]]\n  tallyjaw timestamp -o last.tsq               a bench without a network\n  curl -H 'Content-Type: application/timestamp-query' \\\n    --data-binary @last.tsq https://tsa.example/tsa -o last.tsr\n  tallyjaw timestamp --answer last.tsr\n  tallyjaw verify --authority tsa-ca.pem\n\nExit codes: 0 kept; 2 the answer is no time stamp of an entry, no address, no configuration or no entry; 4 no answer, or a file cannot be read or written."
)]
pub(in crate::cli) struct Timestamp {
    /// The authority's address, with https or http; without either it is plain HTTP, since the answer is signed
    /// [default: that of the sink of the kind "timestamp"]
    #[arg(value_name = "URL")]
    url: Option<String>,
    /// The sink whose authority is asked, if several are configured
    #[arg(long, value_name = "NAME", conflicts_with_all = ["url", "out", "answer"])]
    sink: Option<String>,
    /// Write the request into this file instead
    #[arg(short, long, value_name = "FILE", conflicts_with_all = ["url", "answer"])]
    out: Option<PathBuf>,
    /// Take the answer in this file
    #[arg(long, value_name = "FILE", conflicts_with = "url")]
    answer: Option<PathBuf>,
    /// The authority's certificate in PEM: an answer that it does not vouch for is not stored
    #[arg(long, value_name = "FILE", conflicts_with = "out")]
    authority: Option<PathBuf>,
    /// The certificates in PEM that the server of an https address is checked against [default: the system's]
    #[arg(long, value_name = "FILE", conflicts_with_all = ["out", "answer"])]
    ca_file: Option<PathBuf>,
}

impl Timestamp {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let config = context.load()?.1;
        let daemon = &config.daemon;
        if let Some(path) = &self.answer {
            let authority = self.authority.as_deref().map(certificates).transpose();
            let authority = authority.map_err(|error| not_obtained(&error.into()))?;
            let bytes = file(path).map_err(|error| not_obtained(&error.into()))?;
            let answer = Answer::read(&bytes).map_err(|error| no_stamp(&error))?;
            let (seq, digest) = line_of(daemon, &answer)?;
            if let Some(authority) = &authority {
                let vouched = authority.vouches_for(&answer);
                vouched.map_err(|error| not_obtained(&NotObtained::NotVouched(error)))?;
            }
            let of = (seq, digest, authority.is_some());
            return kept(context, out, daemon, (bytes, &answer), of);
        }
        let (seq, digest) = last_line(daemon)?;
        if let Some(path) = &self.out {
            let request = request(digest, None);
            let request = request
                .map_err(|error| Failure::io(format!("no request could be made: {error}")))?;
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
        let whom = self.whom(&config)?;
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()?;
        let obtained = runtime.block_on(obtain(&whom, digest));
        // A lookup of a name may still be waiting.
        runtime.shutdown_background();
        let obtained = obtained.map_err(|error| not_obtained(&error))?;
        let of = (seq, digest, whom.certificate.is_some());
        let answer = (obtained.bytes, &obtained.answer);
        kept(context, out, daemon, answer, of)
    }

    /// The authority to ask: from the arguments, otherwise from the configuration.
    fn whom(self, config: &Config) -> Result<AuthorityConfig, Failure> {
        let mut whom = match &self.url {
            Some(url) => AuthorityConfig {
                address: address(url)?,
                ca_file: None,
                certificate: None,
            },
            None => of_sink(config, self.sink.as_deref())?,
        };
        whom.ca_file = self.ca_file.or(whom.ca_file);
        whom.certificate = self.authority.or(whom.certificate);
        if let (false, Some(path)) = (whom.address.tls, &whom.ca_file) {
            let (path, address) = (path.display(), &whom.address);
            let text = format!("{path} is for https, but {address} is not encrypted");
            return Err(Failure::usage(text).with_remedy(
                "write https:// before the address; what the answer is checked against is --authority",
            ));
        }
        Ok(whom)
    }
}

/// An address; without a scheme it is plain HTTP.
fn address(text: &str) -> Result<WebAddress, Failure> {
    let whole = if text.contains("://") {
        text.to_owned()
    } else {
        format!("http://{text}")
    };
    WebAddress::parse(&whole).ok_or_else(|| {
        Failure::usage(format!(
            "got the address {text:?}, want https://HOST/PATH, or the same with http"
        ))
        .with_remedy("write it as the authority publishes it")
    })
}

/// The authority of a sink: of this name, or the only one.
fn of_sink(config: &Config, name: Option<&str>) -> Result<AuthorityConfig, Failure> {
    let sinks = config.sinks.iter().filter_map(|sink| match &sink.settings {
        SinkSettings::Timestamp(asks) => Some((sink.name.as_str(), &asks.authority)),
        SinkSettings::Parquet(_)
        | SinkSettings::Mqtt(_)
        | SinkSettings::Webhook(_)
        | SinkSettings::Postgres(_) => None,
    });
    let sinks: Vec<_> = sinks
        .filter(|(known, _)| name.is_none_or(|name| name == *known))
        .collect();
    match (sinks.as_slice(), name) {
        ([(_, authority)], _) => Ok((*authority).clone()),
        ([], None) => Err(Failure::usage("no authority is named").with_remedy(
            "tallyjaw timestamp URL, or a [[sink]] of kind = \"timestamp\" in the configuration",
        )),
        ([], Some(name)) => Err(Failure::usage(format!(
            "there is no [[sink]] {name:?} of kind = \"timestamp\""
        ))
        .with_remedy("name one that the configuration has")),
        (several, _) => {
            let names: Vec<&str> = several.iter().map(|(name, _)| *name).collect();
            Err(Failure::usage("several sinks ask for time stamps")
                .with_remedy(format!("name one with --sink: {}", names.join(", "))))
        }
    }
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

/// The line that an answer is for.
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

/// Stores an answer that was checked, and reports it.
fn kept(
    context: &Context,
    out: &mut dyn Write,
    daemon: &DaemonConfig,
    (bytes, answer): (Vec<u8>, &Answer),
    (seq, digest, authority_checked): (Seq, Digest, bool),
) -> Result<Exit, Failure> {
    let stamp = Stamp {
        seq,
        sink: None,
        bytes,
    };
    let path = keep(&daemon.state_dir, &stamp).map_err(|error| Failure::io(error.to_string()))?;
    let at = answer.at;
    if context.json {
        let object = json!({
            "seq": seq.0, "digest": digest.to_string(), "at": at.to_string(),
            "file": path, "authority_checked": authority_checked,
        });
        writeln!(out, "{object}")?;
        return Ok(Exit::Yes);
    }
    let checked = if authority_checked {
        "the given authority signed it"
    } else {
        "who signed it was not checked: give the certificate with --authority"
    };
    writeln!(
        out,
        "entry {seq} and all before it: time stamp of {at}, kept as {}; {checked}",
        path.display()
    )?;
    Ok(Exit::Yes)
}

fn no_stamp(error: &NotAStamp) -> Failure {
    Failure::usage(error.to_string()).with_remedy("ask again, or another authority")
}

/// The failure: 4 if the authority does not answer or a file cannot be read, 2 if the answer or the file is not valid.
fn not_obtained(error: &NotObtained) -> Failure {
    let text = error.to_string();
    let failure = match error {
        NotObtained::Unreachable(_)
        | NotObtained::File(_)
        | NotObtained::Certificates(CertificatesError::File(_))
        | NotObtained::Request(_) => Failure::io(text),
        NotObtained::NoStamp(_)
        | NotObtained::NotVouched(_)
        | NotObtained::Certificates(CertificatesError::Content { .. }) => Failure::usage(text),
    };
    failure.with_remedy(error.remedy())
}
