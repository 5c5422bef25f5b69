//! Gauge blocks: an instrument is verified against lengths that are known better than it can show.
//!
//! The error of indication at each block is to be within the instrument's maximum permissible error
//! (simple acceptance; ISO 13385-1 for the terms, from memory).

use super::{Parts, list, refuse};
use crate::quantity::{Dimension, Quantity};
use crate::spec::{
    ArmedAxis, ArmedSubject, Catalog, Decision, GaugeBlock, Guard, Instrument, Plan, Purpose,
};
use crate::station::Refusal;

/// A value further from a block than so many maximum permissible errors is of another block, or a slip.
const PLAUSIBLE_ERRORS: i64 = 10;
/// A block whose uncertainty is more than this part of the maximum permissible error says little
/// (one in four: common practice, no source).
const UNCERTAINTY_PART: i64 = 4;

/// What a verification of `instrument` measures.
pub(super) fn parts<'a>(
    catalog: &'a Catalog,
    station: &str,
    plan: &Plan,
    instrument: &str,
    blocks: &[GaugeBlock],
) -> Result<Parts<'a>, Refusal> {
    refuse_what_is_for_crimps(plan)?;
    let instrument = verified(catalog, station, instrument)?;
    let max_error = instrument.max_error.filter(|error| error.base() > 0);
    let Some(max_error) = max_error else {
        return Err(refuse(
            format!(
                "the maximum permissible error of {} is unknown",
                instrument.name
            ),
            "write `max_error` of the instrument from its maker's or your own requirement",
        ));
    };
    let mut axes: Vec<ArmedAxis> = Vec::new();
    let mut warnings = Vec::new();
    for block in blocks {
        let of_block = axis(block, blocks, instrument, max_error)?;
        if axes.iter().any(|known| known.name == of_block.name) {
            return Err(refuse(
                format!("the plan names the block {} twice", block.size),
                "name each block once; `repeats` says how often each is measured",
            ));
        }
        axes.push(of_block);
        warnings.extend(poor_block(block, max_error));
    }
    if axes.is_empty() {
        return Err(refuse(
            "the plan names no block",
            "name the blocks: `blocks = [\"2.50 mm\", \"41.3 mm\"]`",
        ));
    }
    Ok(Parts {
        subject: ArmedSubject::Blocks(blocks.to_vec()),
        tool: None,
        axes,
        instruments: vec![instrument],
        warnings,
    })
}

fn refuse_what_is_for_crimps(plan: &Plan) -> Result<(), Refusal> {
    if plan.purpose != Purpose::Verification {
        let message = format!("gauge blocks for the purpose {}", plan.purpose.name());
        return Err(refuse(message, "say `purpose = \"verification\"`"));
    }
    if plan.decision != Decision::Simple {
        return Err(refuse(
            "a verification by the guarded rule",
            "leave `decision` out: the error at each block is compared with `max_error`",
        ));
    }
    if plan.tool.is_some() || plan.nest.is_some() {
        return Err(refuse(
            "a tool or nest beside gauge blocks",
            "leave it out: nothing is crimped",
        ));
    }
    Ok(())
}

fn verified<'a>(
    catalog: &'a Catalog,
    station: &str,
    name: &str,
) -> Result<&'a Instrument, Refusal> {
    let fits = |known: &&Instrument| {
        known.station == station && known.kind.dimension() == Some(Dimension::Length)
    };
    let known = catalog.instruments.iter().filter(fits);
    let found = known.clone().find(|known| known.name == name);
    found.ok_or_else(|| {
        let known = list(known.map(|known| known.name.clone()));
        refuse(
            format!("no instrument {name:?} at {station} measures a length, want one of {known}"),
            "correct `instrument` of the plan, or arm it at the instrument's own station",
        )
    })
}

fn axis(
    block: &GaugeBlock,
    blocks: &[GaugeBlock],
    instrument: &Instrument,
    max_error: Quantity,
) -> Result<ArmedAxis, Refusal> {
    let size = block.size.quantity().base();
    if let Some((least, greatest)) = instrument.range
        && !(least.base()..=greatest.base()).contains(&size)
    {
        let message = format!(
            "the block {} is outside the range of {}: {least} to {greatest}",
            block.size, instrument.name
        );
        return Err(refuse(message, "take a block within it"));
    }
    let limits = block.limits(max_error).ok_or_else(|| {
        refuse(
            format!("the block {} has no limits by {max_error}", block.size),
            "correct the block's length",
        )
    })?;
    let half = half_window(block, blocks, max_error)?;
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
        }],
    })
}

/// Half the plausible window of a block: it ends before that of the next one begins.
fn half_window(
    block: &GaugeBlock,
    blocks: &[GaugeBlock],
    max_error: Quantity,
) -> Result<i64, Refusal> {
    let size = block.size.quantity().base();
    let apart = |other: &GaugeBlock| {
        other
            .size
            .quantity()
            .base()
            .saturating_sub(size)
            .saturating_abs()
    };
    let nearest = blocks
        .iter()
        .filter(|other| *other != block)
        .min_by_key(|other| apart(other));
    let wanted = max_error.base().saturating_mul(PLAUSIBLE_ERRORS);
    let Some(nearest) = nearest else {
        return Ok(wanted);
    };
    let room = (apart(nearest) - 1) / 2;
    if room <= max_error.base() {
        let message = format!(
            "the blocks {} and {} cannot be told apart by an instrument with a maximum permissible error of {max_error}",
            block.size, nearest.size
        );
        return Err(refuse(message, "leave one of them out"));
    }
    Ok(wanted.min(room))
}

fn poor_block(block: &GaugeBlock, max_error: Quantity) -> Option<String> {
    let uncertainty = block.uncertainty?;
    let is_poor = uncertainty.base().saturating_mul(UNCERTAINTY_PART) > max_error.base();
    is_poor.then(|| {
        format!(
            "the block {} is itself known to {uncertainty} only, more than a quarter of the maximum permissible error of {max_error}; an error near it means little",
            block.size
        )
    })
}
