//! The command line as a client of the daemon. Subcommands reach the daemon only through this file.

use super::configured::{CONTROL, daemon_of};
use super::{Context, Exit, Failure};
use crate::entry::words::safe;
use crate::message::reply::Done;
use crate::message::{ErrorObject, code};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::value::RawValue;
use serde_json::{Value, json};
use std::io::{self, BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::time::Duration;

/// Without an answer within this time the daemon is taken to hang.
const PATIENCE: Duration = Duration::from_secs(30);

/// Sends a request to the daemon and returns its result.
pub(super) fn call(
    context: &Context,
    method: &str,
    params: &Value,
) -> Result<Box<RawValue>, Failure> {
    call_with(context, method, params, &[])
}

/// As [`call`], with bytes after the line.
pub(super) fn call_with(
    context: &Context,
    method: &str,
    params: &Value,
    bytes: &[u8],
) -> Result<Box<RawValue>, Failure> {
    let daemon = daemon_of(context)?;
    answered(&daemon.runtime_dir.join(CONTROL), method, params, bytes)
}

/// As [`call`], for a known socket.
pub(super) fn call_at(
    socket: &Path,
    method: &str,
    params: &Value,
) -> Result<Box<RawValue>, Failure> {
    answered(socket, method, params, &[])
}

fn answered(
    socket: &Path,
    method: &str,
    params: &Value,
    bytes: &[u8],
) -> Result<Box<RawValue>, Failure> {
    let mut stream = connect(socket)?;
    let request = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
    let answer = ask(&mut stream, &request, bytes).map_err(|error| {
        Failure::no_daemon(format!("the daemon at {} did not answer", socket.display()))
            .because(&error)
            .with_remedy("read its messages; if it hangs, stop it and start it again")
    })?;
    let answer: Answer = serde_json::from_str(&answer).map_err(|error| {
        Failure::no_daemon(format!(
            "the answer at {} is not that of a daemon",
            socket.display()
        ))
        .because(&error)
        .with_remedy("check that a tallyjaw of this version runs there")
    })?;
    match (answer.result, answer.error) {
        (Some(result), _) => Ok(result),
        (None, Some(error)) => Err(refused(error)),
        (None, None) => Err(Failure::no_daemon("the daemon's answer is empty")),
    }
}

#[derive(Deserialize)]
struct Answer {
    result: Option<Box<RawValue>>,
    error: Option<ErrorObject>,
}

fn ask(stream: &mut BufReader<UnixStream>, request: &Value, bytes: &[u8]) -> io::Result<String> {
    stream.get_ref().set_read_timeout(Some(PATIENCE))?;
    let mut line = request.to_string();
    line.push('\n');
    stream.get_mut().write_all(line.as_bytes())?;
    stream.get_mut().write_all(bytes)?;
    let mut answer = String::new();
    if stream.read_line(&mut answer)? == 0 {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    Ok(answer)
}

/// The failure for an error answer of the daemon.
pub(super) fn refused(error: ErrorObject) -> Failure {
    let failure = match error.code {
        code::JOURNAL_FAILED | code::JOURNAL_FULL => Failure::io(error.message),
        code::BUSY => Failure::no_daemon(error.message),
        _ => Failure::usage(error.message),
    };
    failure
        .with_details(error.data.details)
        .with_remedy_of(error.data.remedy)
}

/// Connects to a socket of the daemon.
pub(super) fn connect(socket: &Path) -> Result<BufReader<UnixStream>, Failure> {
    let stream = UnixStream::connect(socket).map_err(|error| {
        if error.kind() == io::ErrorKind::PermissionDenied {
            return Failure::usage(format!("no permission to connect to {}", socket.display()))
                .because(&error)
                .with_remedy("run this as the user of the daemon");
        }
        Failure::no_daemon(format!("no daemon answers at {}", socket.display()))
            .because(&error)
            .with_remedy("start it in another terminal: tallyjaw serve; if it runs with a configuration elsewhere, name that: --config FILE")
    })?;
    Ok(BufReader::new(stream))
}

/// Parses the daemon's result.
pub(super) fn read<T: DeserializeOwned>(answer: &RawValue) -> Result<T, Failure> {
    serde_json::from_str(answer.get()).map_err(|error| {
        Failure::no_daemon("the answer of the daemon is not understood")
            .because(&error)
            .with_remedy("restart the daemon: it may be of another version")
    })
}

/// Sends a command, then prints its result as JSON, or what was done and the number of its entry.
pub(super) fn enter(
    context: &Context,
    out: &mut dyn Write,
    method: &str,
    params: &Value,
    done: &str,
) -> Result<Exit, Failure> {
    let answer = call(context, method, params)?;
    if context.json {
        writeln!(out, "{}", answer.get())?;
    } else {
        let Done { seq, warning } = read(&answer)?;
        writeln!(out, "{done} (entry {seq})")?;
        if let Some(warning) = warning {
            anstream::eprintln!("warning: {}", safe(&warning));
        }
    }
    Ok(Exit::Yes)
}

/// Parameters of a request, without options that were not given.
pub(super) fn params<const N: usize>(given: [(&str, Option<Value>); N]) -> Value {
    let given = given
        .into_iter()
        .filter_map(|(name, value)| Some((name.to_owned(), value?)));
    Value::Object(given.collect())
}
