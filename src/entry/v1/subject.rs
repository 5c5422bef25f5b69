//! The subject of a series on disk: crimps, whose fields are beside others, or gauge blocks.

use super::names;
use super::values::{self, fault, measured, nm, quantity};
use crate::entry::Digits;
use crate::entry::line::LineError;
use crate::quantity::Area;
use crate::spec::{ArmedSubject, Crimp, FromSheet, GaugeBlock, Sizes};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// The fields of a crimp. They are beside others in a line, so this struct itself is not written.
#[derive(Default)]
pub(super) struct CrimpFields {
    pub(super) terminal: Option<String>,
    pub(super) wire_mm2: Option<Digits>,
    pub(super) wire_gauge: Option<String>,
    pub(super) sizing: Option<names::Sizing>,
}

impl CrimpFields {
    pub(super) fn new(crimp: Option<&Crimp>) -> Self {
        let Some(Crimp { terminal, wire }) = crimp else {
            return Self::default();
        };
        Self {
            terminal: Some(terminal.clone()),
            wire_mm2: Some(wire.area.mm2().into()),
            wire_gauge: wire.gauge.clone(),
            sizing: values::sizing(wire),
        }
    }

    /// The crimp, if there is one. Terminal and wire must be given together.
    pub(super) fn crimp(self) -> Result<Option<Arc<Crimp>>, LineError> {
        match (self.terminal, self.wire_mm2) {
            (Some(terminal), Some(mm2)) => Ok(Some(Arc::new(Crimp {
                terminal,
                wire: values::wire(&mm2, self.wire_gauge, self.sizing)?,
            }))),
            (None, None) => Ok(None),
            (Some(_), None) => Err(fault("missing field `wire_mm2` beside `terminal`")),
            (None, Some(_)) => Err(fault("missing field `terminal` beside `wire_mm2`")),
        }
    }
}

/// The sizes of a row that is for a range of them.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct RowSizes {
    from_mm2: Digits,
    to_mm2: Digits,
}

impl From<Sizes> for RowSizes {
    fn from(sizes: Sizes) -> Self {
        Self {
            from_mm2: sizes.smallest().mm2().into(),
            to_mm2: sizes.largest().mm2().into(),
        }
    }
}

impl TryFrom<RowSizes> for Sizes {
    type Error = LineError;

    fn try_from(body: RowSizes) -> Result<Self, LineError> {
        let area = |digits: &Digits| Area::from_mm2(digits.text().parse().ok()?);
        let ends = area(&body.from_mm2).zip(area(&body.to_mm2));
        ends.and_then(|(from, to)| Self::range(from, to))
            .ok_or_else(|| fault("the sizes of the row are no range"))
    }
}

/// A gauge block.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Block {
    axis: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    value_nm: Option<i64>,
    value: Digits,
    unit: names::Unit,
    #[serde(skip_serializing_if = "Option::is_none")]
    uncertainty_nm: Option<i64>,
}

/// The gauge blocks of a series that measures some; `None` for crimps.
pub(super) fn blocks(subject: &ArmedSubject) -> Option<Vec<Block>> {
    match subject {
        ArmedSubject::Crimps { .. } => None,
        ArmedSubject::Blocks(blocks) => Some(blocks.iter().map(Block::from).collect()),
    }
}

/// The subject from its fields; an error if both or none are given.
pub(super) fn armed(
    crimp: Option<Arc<Crimp>>,
    sheet: FromSheet,
    blocks: Option<Vec<Block>>,
) -> Result<ArmedSubject, LineError> {
    match (crimp, blocks) {
        (Some(crimp), None) => Ok(ArmedSubject::Crimps { crimp, sheet }),
        (None, Some(blocks)) => {
            let blocks: Result<_, _> = blocks.into_iter().map(TryInto::try_into).collect();
            Ok(ArmedSubject::Blocks(blocks?))
        }
        (None, None) => Err(fault("missing field `terminal` or `blocks`")),
        (Some(_), Some(_)) => Err(fault("got both `terminal` and `blocks`, want one of them")),
    }
}

impl From<&GaugeBlock> for Block {
    fn from(block: &GaugeBlock) -> Self {
        Self {
            axis: block.axis().as_str().to_owned(),
            value_nm: nm(Some(block.size.quantity())),
            value: block.size.digits().into(),
            unit: block.size.unit(),
            uncertainty_nm: nm(block.uncertainty),
        }
    }
}

impl TryFrom<Block> for GaugeBlock {
    type Error = LineError;

    fn try_from(body: Block) -> Result<Self, LineError> {
        Ok(Self {
            size: measured(body.value_nm, None, &body.value, body.unit)?,
            uncertainty: quantity("uncertainty", body.uncertainty_nm, None)?,
        })
    }
}
