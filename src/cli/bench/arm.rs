//! `tallyjaw arm`: exit 0 once the series is open and durable, 2 if it is refused, 3 without a daemon.

use super::entries::EntryStyle;
use super::{Context, Exit, Failure, card, client};
use crate::entry::words::safe;
use crate::message::Request;
use crate::message::reply::Armed;
use crate::spec::{AlertRule, Order, Purpose, SizingSystem};
use clap::builder::{PossibleValue, StringValueParser, TypedValueParser};
use serde_json::{Map, Value, json};
use std::ffi::OsStr;
use std::io::Write;

/// Start a series: say which plan is measured next
///
/// Name a plan of the configuration, or give its parts as options.
#[derive(Debug, clap::Args)]
#[command(
    override_usage = "tallyjaw arm <PLAN> [--station STATION] [--operator WHO] [--cut]\n       tallyjaw arm --terminal ID --wire SIZE --axis AXIS… [OPTIONS]",
    after_help = "\
Examples:
  tallyjaw arm pump-own
  tallyjaw arm pump-own --station bench-1 --operator mara
  tallyjaw arm --terminal QF-250-F --wire '2.0 mm²' --axis core_crimp_height --pieces 5

While a series is open, the first start is refused. Repeat it within ten seconds, or add --cut, to stop that series \
early. `tallyjaw resume` opens it again, until something is measured."
)]
pub(in crate::cli) struct Arm {
    /// A plan of the configuration; `tallyjaw plans` lists them
    plan: Option<String>,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
    /// Who measures
    #[arg(long, value_name = "OPERATOR")]
    operator: Option<String>,
    /// Stop a series early that is still open at the station, without asking
    #[arg(long)]
    cut: bool,
    #[command(flatten, next_help_heading = "Instead of a plan")]
    inline: Inline,
}

/// The parts of a plan, given as options.
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a flag of the command line"
)]
#[derive(Debug, clap::Args)]
#[group(id = "inline", conflicts_with = "plan", multiple = true)]
struct Inline {
    /// The terminal's id in a sheet
    #[arg(long, value_name = "TERMINAL")]
    terminal: Option<String>,
    /// The wire: '2.0 mm²', or '14 ga' with --sizing
    #[arg(long, value_name = "SIZE")]
    wire: Option<String>,
    /// The system of the gauge in --wire
    #[arg(long, value_name = "SYSTEM", value_parser = Offered(SizingSystem::ALL.map(SizingSystem::name).to_vec()))]
    sizing: Option<String>,
    /// The axes to measure, in order; repeated or with commas
    #[arg(long = "axis", value_name = "AXIS", value_delimiter = ',')]
    axes: Vec<String>,
    /// The order: axis by axis, piece by piece, or by the size of each value
    #[arg(long, value_parser = Offered(Order::ALL.map(Order::name).to_vec()))]
    order: Option<String>,
    /// The number of pieces
    #[arg(long, value_name = "N")]
    pieces: Option<String>,
    /// The purpose of the series
    #[arg(long, value_parser = Offered(Purpose::ALL.map(Purpose::name).to_vec()))]
    purpose: Option<String>,
    /// The crimp tool's id
    #[arg(long, value_name = "TOOL")]
    tool: Option<String>,
    /// The nest of the tool
    #[arg(long)]
    nest: Option<String>,
    /// The decision rule; guarded draws the limits in by the uncertainty of the instrument
    #[arg(long, value_name = "RULE", value_parser = Offered(vec!["simple", "guarded"]))]
    decision: Option<String>,
    /// The factor of the guard band [default: 1.645]
    #[arg(long, value_name = "G")]
    guard_factor: Option<String>,
    /// Require no zero before the first reading
    #[arg(long)]
    no_first_zero: bool,
    /// Require no zero after the last reading
    #[arg(long)]
    no_closing_zero: bool,
    /// Require a zero every N pieces
    #[arg(long, value_name = "N")]
    zero_every_pieces: Option<String>,
    /// Require a zero every N minutes
    #[arg(long, value_name = "N")]
    zero_every_minutes: Option<String>,
    /// Two zeros in a row do not retract the reading before
    #[arg(long)]
    no_double_zero: bool,
    /// Start the next series when this one is full
    #[arg(long)]
    repeat: bool,
    /// Rules that report a drift; repeated or with commas, 'none' for none
    #[arg(long = "alert", value_name = "RULE", value_delimiter = ',', value_parser = Offered(AlertRule::names().chain(["none"]).collect()))]
    alerts: Vec<String>,
}

impl Arm {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = self.params();
        // An inline plan is also read here, by the daemon's own code, so that its faults are shown without a daemon.
        let request = json!({"jsonrpc": "2.0", "id": 1, "method": "arm", "params": params});
        if let Err(rejected) = Request::parse(request.to_string().as_bytes()) {
            return Err(client::refused(rejected.error));
        }
        let answer = client::call(context, "arm", &params)?;
        if context.json {
            writeln!(out, "{}", answer.get())?;
            return Ok(Exit::Yes);
        }
        let armed: Armed = client::read(&answer)?;
        let form = EntryStyle::of_system();
        let (station, prompt) = (safe(&armed.station), safe(&armed.prompt));
        writeln!(
            out,
            "{HEADING}{station}: {prompt}{HEADING:#}",
            HEADING = card::HEADING
        )?;
        card::armed(out, &form, &armed.armed)?;
        card::warnings(out, &form, &armed.armed)?;
        Ok(Exit::Yes)
    }

    fn params(self) -> Value {
        let mut params = Map::new();
        let mut give = |name: &str, value: Option<Value>| {
            if let Some(value) = value {
                params.insert(name.to_owned(), value);
            }
        };
        let text = |value: Option<String>| value.map(Value::from);
        give("plan", text(self.plan));
        give("station", text(self.station));
        give("operator", text(self.operator));
        give("cut", self.cut.then_some(Value::Bool(true)));
        let zero = self.inline.zero();
        let inline = self.inline;
        give("terminal", text(inline.terminal));
        give("wire", text(inline.wire));
        give("sizing", text(inline.sizing));
        give(
            "axes",
            (!inline.axes.is_empty()).then(|| inline.axes.into()),
        );
        give("order", text(inline.order));
        give("pieces", inline.pieces.map(number));
        give("purpose", text(inline.purpose));
        give("tool", text(inline.tool));
        give("nest", text(inline.nest));
        give("decision", text(inline.decision));
        give("guard_factor", text(inline.guard_factor));
        give("zero", zero);
        give("alerts", alerts(inline.alerts));
        give("repeat", inline.repeat.then_some(Value::Bool(true)));
        Value::Object(params)
    }
}

/// Names that help and completion offer. Other names go to the daemon too, so that one place decides what is wrong with
/// a plan.
#[derive(Debug, Clone)]
struct Offered(Vec<&'static str>);

impl TypedValueParser for Offered {
    type Value = String;

    fn parse_ref(
        &self,
        command: &clap::Command,
        argument: Option<&clap::Arg>,
        value: &OsStr,
    ) -> Result<String, clap::Error> {
        StringValueParser::new().parse_ref(command, argument, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new(self.0.iter().copied().map(PossibleValue::new)))
    }
}

/// A number as written. A text that is not a number stays as it is, for the daemon to refuse.
fn number(text: String) -> Value {
    let number = serde_json::from_str::<serde_json::Number>(&text);
    number.map_or(Value::String(text), Value::Number)
}

/// The run rules as a list. The word `none` gives an empty list, which is different from no list.
fn alerts(mut named: Vec<String>) -> Option<Value> {
    let said = !named.is_empty();
    named.retain(|name| name != "none");
    said.then(|| named.into())
}

impl Inline {
    fn zero(&self) -> Option<Value> {
        let zero = [
            (
                "before_first",
                self.no_first_zero.then_some(Value::Bool(false)),
            ),
            (
                "closing",
                self.no_closing_zero.then_some(Value::Bool(false)),
            ),
            (
                "double_retracts",
                self.no_double_zero.then_some(Value::Bool(false)),
            ),
            ("every_pieces", self.zero_every_pieces.clone().map(number)),
            ("every_minutes", self.zero_every_minutes.clone().map(number)),
        ];
        let said: Map<String, Value> = zero
            .into_iter()
            .filter_map(|(name, value)| Some((name.to_owned(), value?)))
            .collect();
        (!said.is_empty()).then_some(Value::Object(said))
    }
}
