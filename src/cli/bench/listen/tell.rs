//! Messages during and after listening: lines for people, or one JSON object on each line for programs.

use crate::cli::Failure;
use crate::config::LineSettings;
use crate::decode::guess::{Candidate, Interview, Opinion, Surety};
use crate::entry::Attached;
use anstyle::{AnsiColor, Style};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::io::Write;
use std::path::Path;
use std::time::Duration;

const BOLD: Style = Style::new().bold();
const YES: Style = AnsiColor::Green.on_default().bold();
const DIM: Style = Style::new().dimmed();
const HELP: Style = AnsiColor::Cyan.on_default();

/// Where messages go, and in which form.
pub(super) struct Tell<'o> {
    out: &'o mut dyn Write,
    json: bool,
    /// What the user reads about Ctrl-C.
    on_interrupt: &'static str,
}

impl<'o> Tell<'o> {
    pub(super) fn new(out: &'o mut dyn Write, json: bool, on_interrupt: &'static str) -> Self {
        Self {
            out,
            json,
            on_interrupt,
        }
    }

    fn say(&mut self, object: &Value, text: &str) -> Result<(), Failure> {
        if self.json {
            writeln!(self.out, "{object}")?;
        } else {
            writeln!(self.out, "{text}")?;
        }
        Ok(self.out.flush()?)
    }

    pub(super) fn opened(&mut self, port: &Attached, line: LineSettings) -> Result<(), Failure> {
        let identity = port.identity.as_ref();
        let which = identity.map_or_else(String::new, |identity| format!(" ({identity})"));
        self.say(
            &json!({"kind": "listening", "port": port.port, "identity": identity, "line": line.to_string()}),
            &format!("listening at {}{which}; {}", port.port, self.on_interrupt),
        )
    }

    pub(super) fn press(&mut self, number: usize, line: LineSettings) -> Result<(), Failure> {
        let other = if number == 1 {
            "press the data key of the caliper"
        } else {
            "move the jaws and press again"
        };
        self.say(
            &json!({"kind": "press_now", "number": number, "line": line.to_string()}),
            &format!("{BOLD}{other}{BOLD:#} (press {number}, reading at {line})"),
        )
    }

    pub(super) fn bytes(
        &mut self,
        since: Duration,
        line: LineSettings,
        bytes: &[u8],
        spoiled: bool,
    ) -> Result<(), Failure> {
        let fault = if spoiled {
            "  (wrong parity or no stop bit)"
        } else {
            ""
        };
        let hex: Vec<String> = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
        let text: String = bytes
            .iter()
            .map(|byte| byte.escape_ascii().to_string())
            .collect();
        let millis = u64::try_from(since.as_millis()).unwrap_or(u64::MAX);
        self.say(
            &json!({"kind": "bytes", "at_ms": millis, "line": line.to_string(), "hex": hex.concat(), "text": text, "spoiled": spoiled}),
            &format!(
                "  {DIM}{:>4}.{:03} s{DIM:#}  {}  {text}{fault}",
                millis / 1000,
                millis % 1000,
                hex.join(" ")
            ),
        )
    }

    pub(super) fn heard(&mut self, interview: &Interview) -> Result<(), Failure> {
        let opinion = interview.opinion();
        let so_far = match (opinion.fits.as_slice(), opinion.leads.as_slice()) {
            ([], []) => {
                "  no format fits: it was sent at a higher speed, or the format is not known"
                    .to_owned()
            }
            ([], [lead, ..]) => {
                format!("  no format fits yet; it was perhaps sent at {}", lead.baud)
            }
            ([only], _) => format!("  so far {} fits", only.name()),
            ([first, second, rest @ ..], _) => {
                let more = if rest.is_empty() { "" } else { " and others" };
                format!(
                    "  so far {} fits, and so does {}{more}",
                    first.name(),
                    second.name()
                )
            }
        };
        let names: Vec<String> = opinion.fits.iter().map(Candidate::name).collect();
        self.say(
            &json!({"kind": "heard", "presses": interview.presses(), "fits": names}),
            &so_far,
        )
    }

    pub(super) fn quiet(
        &mut self,
        lines: Option<(bool, bool)>,
        first: bool,
        request: Option<&str>,
        ask: bool,
    ) -> Result<(), Failure> {
        let mut text = String::from("no bytes so far");
        if let Some((dtr, rts)) = lines {
            let word = |up| if up { "up" } else { "down" };
            let _ = write!(
                text,
                "; the adapter's power lines are now DTR {}, RTS {}: press again",
                word(dtr),
                word(rts)
            );
        }
        if let Some(request) = request {
            let _ = write!(text, "; sent the request {request:?}");
        }
        if first {
            let _ = write!(text, "\n{}", advice(ask));
        }
        self.say(
            &json!({
                "kind": "quiet",
                "dtr": lines.map(|(dtr, _)| dtr),
                "rts": lines.map(|(_, rts)| rts),
                "asked": request,
            }),
            &text,
        )
    }

    pub(super) fn gone(&mut self, reason: &str) -> Result<(), Failure> {
        self.say(
            &json!({"kind": "gone", "reason": reason}),
            &format!("the port is gone: {reason}"),
        )
    }

    /// What was found. A block that is added to the configuration next is shown then, and not twice.
    pub(super) fn outcome(
        &mut self,
        interview: &Interview,
        block: Option<&str>,
        is_added: bool,
    ) -> Result<(), Failure> {
        let opinion = interview.opinion();
        let presses = interview.presses();
        let found = sure(opinion).is_some();
        let fits: Vec<Value> = opinion.fits.iter().map(as_json).collect();
        let refused: serde_json::Map<String, Value> = opinion
            .refused
            .iter()
            .map(|(format, reason)| ((*format).to_owned(), reason.to_string().into()))
            .collect();
        self.say(
            &json!({
                "kind": if found { "found" } else { "undecided" },
                "presses": presses,
                "tried": opinion.tried,
                "fits": fits,
                "refused": refused,
                "block": block,
            }),
            &in_words(opinion, presses, block.filter(|_| !is_added)),
        )
    }

    pub(super) fn adding(&mut self, path: &Path, block: &str) -> Result<(), Failure> {
        let diff: Vec<String> = block.lines().map(|line| format!("+{line}")).collect();
        self.say(
            &json!({"kind": "adding", "path": path.display().to_string(), "added": block}),
            &format!("at the end of {}:\n{}", path.display(), diff.join("\n")),
        )
    }

    pub(super) fn written(&mut self, path: &Path) -> Result<(), Failure> {
        self.say(
            &json!({"kind": "written", "path": path.display().to_string()}),
            "written and checked; make a running daemon read it: tallyjaw reload",
        )
    }
}

fn advice(ask: bool) -> String {
    let mut lines = vec![
        "switch the caliper on and press its data key shortly; some send a moment later",
        "check the cable at both ends; the plug of an optical cable must sit over its window",
        "DTR and RTS power some cables: both are switched in turn, press once at each",
    ];
    if !ask {
        lines.push(
            "some calipers send only on request: `tallyjaw listen PORT --ask` sends the usual requests",
        );
    }
    let line = |line: &&str| format!("{HELP}help{HELP:#}: {line}");
    lines.iter().map(line).collect::<Vec<_>>().join("\n")
}

fn as_json(fit: &Candidate) -> Value {
    let values: Vec<String> = fit.values.iter().map(ToString::to_string).collect();
    json!({
        "line": fit.line.to_string(),
        "format": fit.format.name,
        "surety": fit.surety().word(),
        "chance_bits": fit.bits,
        "frames": fit.frames,
        "different": fit.different,
        "read": fit.read,
        "reckoned": fit.reckoned,
        "silent": fit.silent,
        "unit": fit.shown.unit.name(),
        "unit_is_sent": fit.shown.unit_is_sent,
        "step": fit.shown.step.to_string(),
        "values": values,
    })
}

fn in_words(opinion: &Opinion, presses: usize, block: Option<&str>) -> String {
    let mut text = String::from("\n");
    match opinion.fits.as_slice() {
        [] if presses == 0 => {
            text.push_str("no bytes were received\n");
            text.push_str(&advice(false));
            return text;
        }
        [] => {
            let _ = writeln!(
                text,
                "none of the {} line settings and formats tried fits all received bytes",
                opinion.tried
            );
            text.push_str(&reasons(opinion));
            let _ = write!(
                text,
                "{HELP}help{HELP:#}: press more often (--presses 20): each press that fits nothing tries another speed; if the lines above are readable text, describe them with format = \"pattern\""
            );
            return text;
        }
        [only] if sure(opinion).is_none() => {
            let _ = write!(
                text,
                "{BOLD}perhaps{BOLD:#}: {}\n{}",
                only.name(),
                why(only)
            );
            let _ = writeln!(
                text,
                "{HELP}help{HELP:#}: this can be a coincidence: press more often, at other sizes (--presses 20)"
            );
        }
        [only] => {
            let _ = write!(text, "{YES}found{YES:#}: {}\n{}", only.name(), why(only));
        }
        several => {
            let _ = writeln!(text, "{BOLD}{} remain possible{BOLD:#}", several.len());
            for fit in several {
                let _ = write!(text, "{}\n{}", fit.name(), why(fit));
            }
            let _ = writeln!(
                text,
                "{HELP}help{HELP:#}: press at sizes that differ in many digits; the block below is for the first of them"
            );
        }
    }
    text.push_str(&reasons(opinion));
    if let Some(block) = block {
        let _ = write!(text, "\n{block}");
    }
    text
}

/// The only candidate, if it is more than a guess.
pub(super) fn sure(opinion: &Opinion) -> Option<&Candidate> {
    opinion.only().filter(|only| only.surety() > Surety::Guess)
}

fn why(fit: &Candidate) -> String {
    let values: Vec<String> = fit.values.iter().map(ToString::to_string).collect();
    let mut text = format!(
        "  {}: {} frames fit, {} of them different; random bytes would fit once in 2^{}\n  values: {}\n",
        fit.surety().word(),
        fit.frames,
        fit.different,
        fit.bits,
        values.join(", ")
    );
    if fit.reckoned > 0 || fit.silent > 0 {
        let _ = writeln!(
            text,
            "  presses read at its speed: {}; computed from another: {}; too fast or too long to tell: {}",
            fit.read, fit.reckoned, fit.silent
        );
    }
    text
}

fn reasons(opinion: &Opinion) -> String {
    let reason = |(format, reason): &(&str, _)| format!("  {DIM}not {format}: {reason}{DIM:#}\n");
    opinion.refused.iter().map(reason).collect()
}
