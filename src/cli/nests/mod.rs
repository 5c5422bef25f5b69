//! `tallyjaw nests`: exit 0 if nests were ranked, 1 if the pieces do not allow it, 2 for wrong use.

mod own;
mod said;

use super::pieces::{FactoryPieces, Holder, OfAxis};
use super::query::{Query, Search, time};
use super::{Context, Exit, Failure, configured};
use crate::message::nests::NestsMessage;
use crate::quantity::{Dimension, WallMicros, did_you_mean};
use crate::spec::{Crimp, Tool};
use crate::stats::Undefined;
use crate::stats::nests::{Mean, Nests as Means, Ranked};
use own::OwnPieces;
use std::io::Write;

/// Rank the nests of your tools by how near their crimps are to factory pieces
///
/// The factory pieces are series of plans with purpose = "reference". Each nest is judged by all your own crimps of the
/// same terminal on the same wire that the journal has, on every height and width of the factory pieces: by the
/// difference of the means, with its 95 % confidence interval (Welch). A nest cannot be distinguished from the nearest
/// one if no nest is shown to be nearer than it; with 95 % confidence the truly nearest is one of these.
/// docs/no-sheet.md has the formulas, and how often they are right.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw nests 37\n  tallyjaw nests 37 41 --tool R-02\n  tallyjaw nests 37 --axis core_crimp_height --since 2026-11-01 --json"
)]
pub(super) struct Nests {
    /// The series of factory pieces
    #[arg(required = true)]
    series: Vec<u64>,
    /// Only the nests of this tool
    #[arg(long)]
    tool: Option<String>,
    /// Only these axes [default: every height and width of the factory pieces]
    #[arg(long = "axis", value_name = "AXIS")]
    axes: Vec<String>,
    /// Only your own crimps measured from this time on, such as the day on which a nest was reground
    #[arg(long, value_name = "TIME", value_parser = time)]
    since: Option<WallMicros>,
}

/// The factory pieces, and the axes on which nests are compared with them.
struct Factory {
    pieces: FactoryPieces,
    crimp: Crimp,
    /// Places of the axes in the pieces, each with its mean.
    axes: Vec<(usize, Mean)>,
}

/// A nest that can be ranked.
struct Judged {
    holder: Holder,
    series: Vec<u64>,
    means: Vec<Mean>,
}

/// The ranking, with all that is reported about it.
struct Found {
    factory: Factory,
    judged: Vec<Judged>,
    ranked: Vec<Ranked>,
    not_ranked: Vec<(Holder, String)>,
    left_out: Vec<(&'static str, Vec<u64>)>,
}

impl Nests {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let daemon = configured::daemon_of(context)?;
        let tools = context.load().ok();
        let tools = tools.map_or_else(Vec::new, |(_, config)| config.catalog.tools.clone());
        let mut pieces = FactoryPieces::default();
        let query = Query::of_series(self.series.clone());
        Search::run(&daemon, query.filter()?, &mut pieces)?;
        let factory = match self.factory(pieces) {
            Ok(factory) => factory,
            Err(why) => return refused(why, context, out),
        };
        let query = self.of_own(&factory.crimp);
        let mut own = OwnPieces::new(&factory);
        Search::run(&daemon, query.filter()?, &mut own)?;
        if let Some(tool) = &self.tool {
            known(tool, &tools, &own)?;
        }
        let own = own.done();
        let found = match self.found(factory, own, &tools) {
            Ok(found) => found,
            Err(why) => return refused(why, context, out),
        };
        if context.json {
            let message = NestsMessage::Nests(Box::new(found.message()));
            out.write_all(&crate::message::line(&message))?;
        } else {
            found.show(out)?;
        }
        Ok(Exit::Yes)
    }

    /// The factory pieces and their axes; or why no nest can be compared with them.
    fn factory(&self, pieces: FactoryPieces) -> Result<Factory, String> {
        let crimp = pieces.crimp()?.clone();
        let unknown = self.axes.iter();
        let mut unknown = unknown.filter(|axis| !pieces.axes.iter().any(|of| is(of, axis)));
        if let Some(axis) = unknown.next() {
            return Err(format!("the factory pieces have no readings of {axis}"));
        }
        let asked = pieces.axes.iter().enumerate();
        let asked = asked.filter(|(_, of)| self.asks(of));
        let axes = asked.map(|(at, of)| {
            if of.axis.is_destructive() || of.unit.dimension() != Dimension::Length {
                return Err(format!(
                    "{} cannot be compared by its mean: its minimum counts. Look at it with tallyjaw study pull",
                    of.axis.words()
                ));
            }
            let mean = mean(of).map_err(|why| format!("the factory pieces, {}: {why}", of.axis.words()))?;
            Ok((at, mean))
        });
        let axes = axes.collect::<Result<Vec<_>, String>>()?;
        if axes.is_empty() {
            return Err(
                "the factory pieces have no height or width: name what they have with --axis"
                    .to_owned(),
            );
        }
        Ok(Factory {
            pieces,
            crimp,
            axes,
        })
    }

    fn asks(&self, of: &OfAxis) -> bool {
        if self.axes.is_empty() {
            let name = of.axis.as_str();
            return name.ends_with("height") || name.ends_with("width");
        }
        self.axes.iter().any(|axis| is(of, axis))
    }

    /// Own crimps of the same terminal on the same wire.
    fn of_own(&self, crimp: &Crimp) -> Query {
        Query::new(Vec::new(), |option| match option {
            "terminal" => Some(crimp.terminal.clone()),
            "wire" => Some(crimp.wire.area.to_string()),
            "tool" => self.tool.clone(),
            "since" => self.since.map(|since| since.to_string()),
            _ => None,
        })
    }

    /// The ranking; or why there is none.
    fn found(&self, factory: Factory, own: own::Own, tools: &[Tool]) -> Result<Found, String> {
        let (mut judged, mut not_ranked) = (Vec::new(), Vec::new());
        for (holder, pieces) in own.nests {
            match pieces.means(&factory) {
                Ok(means) => judged.push(Judged {
                    holder,
                    series: pieces.series,
                    means,
                }),
                Err(why) => not_ranked.push((holder, why)),
            }
        }
        let unmeasured = self.unmeasured(&factory.crimp, tools, |holder| {
            let judged = judged.iter().map(|nest| &nest.holder);
            let others = not_ranked.iter().map(|(holder, _)| holder);
            judged.chain(others).any(|known| known == holder)
        });
        not_ranked.extend(unmeasured);
        if judged.is_empty() {
            let (terminal, wire) = (&factory.crimp.terminal, &factory.crimp.wire);
            let mut why = format!("no nest has pieces of {terminal} on {wire} to judge");
            let others = not_ranked.iter();
            let others = others.map(|(holder, why)| format!("{}: {why}", said::name(holder)));
            let series = own.left_out.iter();
            let series = series.map(|(why, ids)| said::series(ids, why));
            for one in others.chain(series) {
                why = format!("{why}; {one}");
            }
            return Err(why);
        }
        let of_factory = factory.axes.iter().map(|(_, mean)| *mean).collect();
        let means = judged.iter().map(|nest| nest.means.clone()).collect();
        let ranked = Means::new(of_factory, means).and_then(|nests| nests.rank());
        Ok(Found {
            ranked: ranked.map_err(|why| why.to_string())?,
            factory,
            judged,
            not_ranked,
            left_out: own.left_out,
        })
    }

    /// Nests without pieces: the configured ones for this terminal, or those of the named tool.
    fn unmeasured(
        &self,
        crimp: &Crimp,
        tools: &[Tool],
        is_known: impl Fn(&Holder) -> bool,
    ) -> Vec<(Holder, String)> {
        let is_asked = |tool: &&Tool| match &self.tool {
            Some(id) => tool.id == *id,
            None => tool.terminals.is_empty() || tool.terminals.contains(&crimp.terminal),
        };
        let holders = tools.iter().filter(is_asked).flat_map(|tool| {
            let id = || tool.id.clone();
            let nests = tool.nests.iter().map(|nest| (id(), Some(nest.id.clone())));
            let whole = tool.nests.is_empty().then(|| (id(), None));
            nests.chain(whole).collect::<Vec<_>>()
        });
        let without = holders.filter(|holder| !is_known(holder));
        let why = "no own crimps of this terminal on this wire were measured";
        without.map(|holder| (holder, why.to_owned())).collect()
    }
}

fn is(of: &OfAxis, axis: &str) -> bool {
    of.axis.as_str() == axis
}

fn mean(of: &OfAxis) -> Result<Mean, Undefined> {
    Mean::of(of.sample()?.summary())
}

/// A failure if neither the configuration nor the pieces know the tool.
fn known(tool: &str, tools: &[Tool], own: &OwnPieces<'_>) -> Result<(), Failure> {
    if own.has_tool(tool) || tools.iter().any(|known| known.id == tool) {
        return Ok(());
    }
    let ids: Vec<_> = tools.iter().map(|tool| tool.id.as_str()).collect();
    Err(Failure::usage(format!("no tool {tool:?}")).with_remedy(did_you_mean(tool, &ids)))
}

fn refused(why: String, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
    if context.json {
        out.write_all(&crate::message::line(&NestsMessage::Refused { why }))?;
    } else {
        writeln!(out, "no nest can be ranked: {why}")?;
    }
    Ok(Exit::No)
}
