//! Verification of an instrument against gauge blocks, whose lengths are known better than the instrument can show.
//!
//! The error of indication at each block must be within the instrument's maximum permissible error (simple acceptance;
//! ISO 13385-1 for the terms, from memory).

use super::{Noted, Parts, Resolver, Unarmable};
use crate::quantity::{Dimension, Quantity};
use crate::spec::{ArmedAxis, ArmedSubject, Decision, GaugeBlock, Guard, Instrument, Purpose};

/// A value further from a block than this many maximum permissible errors is taken for another block or a slip.
const PLAUSIBLE_ERRORS: i64 = 10;
/// The operator is warned if a block's uncertainty exceeds one part in this many of the maximum permissible error (one
/// in four: common practice, no source).
const UNCERTAINTY_PART: i64 = 4;

impl<'a> Resolver<'a> {
    /// The parts of a verification of the instrument `name`.
    pub(super) fn blocks(&mut self, name: &str, blocks: &[GaugeBlock]) -> Result<Parts<'a>, Noted> {
        self.refuse_what_is_for_crimps();
        if blocks.is_empty() {
            self.refuse(Unarmable::Nothing { key: "blocks" });
        }
        let instrument = self.verified(name)?;
        let max_error = instrument.max_error.filter(|error| error.base() > 0);
        let Some(max_error) = max_error else {
            return Err(self.refuse(Unarmable::NoMaxError {
                instrument: instrument.name.clone(),
                of_blocks: true,
            }));
        };
        let mut axes: Vec<ArmedAxis> = Vec::new();
        for block in blocks {
            if axes.iter().any(|known| known.name == block.axis()) {
                let got = block.size.to_string();
                let key = "blocks";
                self.refuse(Unarmable::Twice { key, got });
                continue;
            }
            axes.extend(self.block(block, blocks, instrument, max_error).ok());
            self.warnings.extend(poor_block(block, max_error));
        }
        Ok(Parts {
            subject: ArmedSubject::Blocks(blocks.to_vec()),
            tool: None,
            axes,
            instruments: vec![instrument],
        })
    }

    fn refuse_what_is_for_crimps(&mut self) {
        let plan = self.plan;
        if plan.purpose != Purpose::Verification {
            self.refuse(Unarmable::BlocksFor(plan.purpose));
        }
        for (key, is_said) in [
            ("decision", plan.decision != Decision::Simple),
            ("tool", plan.tool.is_some()),
            ("nest", plan.nest.is_some()),
        ] {
            if is_said {
                self.refuse(Unarmable::BesideBlocks { key });
            }
        }
    }

    fn verified(&mut self, name: &str) -> Result<&'a Instrument, Noted> {
        let catalog = self.catalog;
        let why = match catalog.instrument(name) {
            Some(known) if known.kind.dimension() != Some(Dimension::Length) => {
                Unarmable::NoLengths {
                    instrument: name.to_owned(),
                }
            }
            Some(known) if known.station == self.station => return Ok(known),
            Some(known) => Unarmable::OfOtherStation {
                instrument: name.to_owned(),
                station: self.station.to_owned(),
                of: known.station.clone(),
            },
            None if catalog.signals.iter().any(|signal| signal.name == name) => {
                Unarmable::NoLengths {
                    instrument: name.to_owned(),
                }
            }
            None => Unarmable::NoSuchInstrument {
                got: name.to_owned(),
                known: (catalog.instruments.iter().map(|known| known.name.clone())).collect(),
            },
        };
        Err(self.refuse(why))
    }

    fn block(
        &mut self,
        block: &GaugeBlock,
        blocks: &[GaugeBlock],
        instrument: &Instrument,
        max_error: Quantity,
    ) -> Result<ArmedAxis, Noted> {
        let size = block.size.quantity().base();
        if let Some(range) = instrument.range
            && !(range.0.base()..=range.1.base()).contains(&size)
        {
            return Err(self.refuse(Unarmable::OutOfRange {
                block: block.size,
                instrument: instrument.name.clone(),
                range,
            }));
        }
        let limits = block.limits(max_error).ok_or_else(|| {
            self.refuse(Unarmable::BlockTooLong {
                block: block.size,
                max_error,
            })
        })?;
        let half = self.half_window(block, blocks, max_error)?;
        let edge = |by: i64| Quantity::from_base(Dimension::Length, size.saturating_add(by));
        Ok(ArmedAxis {
            name: block.axis(),
            limits,
            limits_from: None,
            plausible: Some((edge(-half), edge(half))),
            guards: vec![Guard {
                instrument: instrument.name.clone(),
                width: 0,
                test_uncertainty_ratio_hundredths: None,
                budget: None,
            }],
        })
    }

    /// Half the plausible window of a block; the windows of neighbouring blocks do not overlap.
    fn half_window(
        &mut self,
        block: &GaugeBlock,
        blocks: &[GaugeBlock],
        max_error: Quantity,
    ) -> Result<i64, Noted> {
        let base = |block: &GaugeBlock| block.size.quantity().base();
        let apart = |other: &GaugeBlock| {
            let apart = base(other).saturating_sub(base(block));
            apart.saturating_abs()
        };
        let others = blocks.iter().filter(|other| other.axis() != block.axis());
        let wanted = max_error.base().saturating_mul(PLAUSIBLE_ERRORS);
        let Some(nearest) = others.min_by_key(|other| apart(other)) else {
            return Ok(wanted);
        };
        let room = (apart(nearest) - 1) / 2;
        if room <= max_error.base() {
            return Err(self.refuse(Unarmable::BlocksTooNear {
                block: block.size,
                other: nearest.size,
                max_error,
            }));
        }
        Ok(wanted.min(room))
    }
}

fn poor_block(block: &GaugeBlock, max_error: Quantity) -> Option<String> {
    let uncertainty = block.uncertainty?;
    let is_poor = uncertainty.base().saturating_mul(UNCERTAINTY_PART) > max_error.base();
    is_poor.then(|| {
        format!(
            "the uncertainty of the block {}, {uncertainty}, is more than a quarter of the maximum permissible error, {max_error}: an error close to that limit proves little",
            block.size
        )
    })
}
