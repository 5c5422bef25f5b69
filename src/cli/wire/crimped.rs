//! The share of a conductor's area that is left in a crimp, with a caution.

use super::number;
use crate::cli::{Context, Failure};
use crate::quantity::{Area, Decimal, Dimension, Length, Measured, Quantity};
use crate::spec::wire::crimped::{Outside, permille, without};
use crate::spec::wire::strands::two_decimals;
use serde_json::{Map, Value, json};
use std::io::Write;

const CAUTION: &str = "These figures are common practice, no source: a form factor is that of one tool and terminal, and the barrel is taken not to\nget longer. The crimp height of the maker's sheet decides, not these figures.";

/// The known dimensions of a crimp.
#[derive(Debug, clap::Args)]
pub(super) struct CrimpOptions {
    /// Height and width of the crimp: 1.62x2.40 (in mm)
    #[arg(long, value_name = "HEIGHTxWIDTH", help_heading = "Crimp")]
    crimp: Option<String>,
    /// The share of height × width that the cross-section fills: above 0, at most 1
    #[arg(
        long,
        value_name = "FACTOR",
        requires = "crimp",
        help_heading = "Crimp"
    )]
    form_factor: Option<Decimal>,
    /// The area of the whole cross-section, barrel and strands, as measured in a picture
    #[arg(
        long,
        value_name = "AREA",
        conflicts_with = "form_factor",
        help_heading = "Crimp"
    )]
    section: Option<Area>,
    /// The area of the barrel's metal before crimping
    #[arg(long, value_name = "AREA", help_heading = "Crimp")]
    barrel: Option<Area>,
    /// The area of the strands in the cross-section, as measured in a picture
    #[arg(
        long,
        value_name = "AREA",
        conflicts_with = "barrel",
        help_heading = "Crimp"
    )]
    strands: Option<Area>,
}

/// The cross-section of a crimp.
pub(super) struct Section {
    outside: Option<Outside>,
    form_factor: Option<Decimal>,
    /// The whole of it.
    area: Option<Area>,
    barrel: Option<Area>,
    /// The strands in it.
    strands: Option<Area>,
}

impl CrimpOptions {
    /// The cross-section; `None` without any of these options.
    pub(super) fn crimp(&self) -> Result<Option<Section>, Failure> {
        let outside = self.crimp.as_deref().map(outside).transpose()?;
        let area = match (outside, self.form_factor) {
            (Some(outside), Some(factor)) => Some(outside.section(factor).ok_or_else(|| {
                Failure::usage(format!(
                    "got a form factor of {factor}, want above 0 and at most 1"
                ))
            })?),
            _ => self.section,
        };
        if area.is_none() && self.strands.is_none() {
            let is_asked = self.crimp.is_some() || self.barrel.is_some();
            return if is_asked {
                Err(Failure::usage("the area of the cross-section is not known").with_remedy(
                    "add --form-factor 0.85 (yours), or the area that was measured: --section \"3.3 mm²\", --strands \"1.7 mm²\"",
                ))
            } else {
                Ok(None)
            };
        }
        if let (Some(outside), Some(section)) = (outside, self.section)
            && outside.form_factor_permille(section).is_none()
        {
            return Err(Failure::usage(format!(
                "a cross-section of {section} is larger than height × width"
            )));
        }
        let strands = match (area, self.barrel) {
            (Some(area), Some(barrel)) => Some(without(area, barrel).ok_or_else(|| {
                Failure::usage(format!(
                    "nothing is left for the strands: the cross-section has {area}, the barrel {barrel}"
                ))
            })?),
            _ => self.strands,
        };
        Ok(Some(Section {
            outside,
            form_factor: self.form_factor,
            area,
            barrel: self.barrel,
            strands,
        }))
    }
}

impl Section {
    /// Writes the figures for a conductor of this area.
    pub(super) fn show(
        &self,
        conductor: Area,
        context: &Context,
        out: &mut dyn Write,
    ) -> Result<(), Failure> {
        if context.json {
            writeln!(out, "{}", self.json(conductor))?;
            return Ok(());
        }
        writeln!(out)?;
        for line in self.lines(conductor) {
            writeln!(out, "{line}")?;
        }
        writeln!(out, "{CAUTION}")?;
        Ok(())
    }

    fn lines(&self, conductor: Area) -> Vec<String> {
        let mut lines = Vec::new();
        if let Some(area) = self.area {
            let area = two_decimals(area);
            lines.push(match (self.form_factor, self.measured_form_factor()) {
                (Some(factor), _) => {
                    format!(
                        "cross-section of the crimp: {area} (form factor {factor} · height · width)"
                    )
                }
                (None, Some(factor)) => {
                    format!(
                        "cross-section of the crimp: {area}, a form factor of {}",
                        thousandths(factor)
                    )
                }
                (None, None) => format!("cross-section of the crimp: {area}"),
            });
        }
        if let Some(strands) = self.strands {
            let share = permille(strands, conductor)
                .map(percent)
                .unwrap_or_default();
            let of = self.barrel.map_or_else(String::new, |barrel| {
                format!(" (cross-section less a barrel of {})", two_decimals(barrel))
            });
            lines.push(format!(
                "strands in the crimp: {}{of}, {share} of the conductor's {}",
                two_decimals(strands),
                two_decimals(conductor)
            ));
        }
        if let Some(whole) = self.of_whole(conductor) {
            lines.push(format!(
                "cross-section of the crimp: {} of barrel and conductor before it",
                percent(whole)
            ));
        }
        lines
    }

    /// The form factor of a cross-section that was measured, in thousandths.
    fn measured_form_factor(&self) -> Option<u64> {
        self.outside?.form_factor_permille(self.area?)
    }

    /// The cross-section as a share of barrel and conductor before crimping, in thousandths.
    fn of_whole(&self, conductor: Area) -> Option<u64> {
        let barrel = self.barrel?.square_micrometres();
        let whole = barrel.checked_add(conductor.square_micrometres())?;
        permille(self.area?, Area::from_square_micrometres(whole))
    }

    fn json(&self, conductor: Area) -> Value {
        let area = |area: Area| number(area.mm2());
        let figures = [
            ("section_mm2", self.area.map(area)),
            ("barrel_mm2", self.barrel.map(area)),
            ("strands_mm2", self.strands.map(area)),
            (
                "form_factor_permille",
                self.measured_form_factor().map(|factor| json!(factor)),
            ),
            (
                "strands_of_conductor_permille",
                self.strands
                    .and_then(|strands| permille(strands, conductor))
                    .map(|share| json!(share)),
            ),
            (
                "section_of_metal_permille",
                self.of_whole(conductor).map(|share| json!(share)),
            ),
        ];
        let known = figures.into_iter();
        let known = known.filter_map(|(name, value)| Some((name.to_owned(), value?)));
        let mut object: Map<String, Value> = known.collect();
        object.insert("kind".to_owned(), json!("crimp_section"));
        object.insert("conductor_mm2".to_owned(), area(conductor));
        Value::Object(object)
    }
}

/// Height and width: `1.62x2.40`, in mm.
fn outside(text: &str) -> Result<Outside, Failure> {
    let length = |text: &str| -> Option<Length> {
        let text = text.trim();
        let with_unit = if text.ends_with(|c: char| c.is_ascii_digit()) {
            format!("{text} mm")
        } else {
            text.to_owned()
        };
        let measured: Measured = with_unit.parse().ok()?;
        let quantity = measured.quantity();
        let is_length = quantity.dimension() == Dimension::Length && quantity.base() > 0;
        match quantity {
            Quantity::Length(length) if is_length => Some(length),
            Quantity::Length(_) | Quantity::Force(_) => None,
        }
    };
    let parts = text.split_once(['x', 'X', '×']);
    let parts = parts.and_then(|(height, width)| Some((length(height)?, length(width)?)));
    let (height, width) = parts.ok_or_else(|| {
        Failure::usage(format!(
            "got {text:?}, want height and width of the crimp such as \"1.62x2.40\""
        ))
    })?;
    Ok(Outside { height, width })
}

/// `83.2 %` of 832 thousandths.
fn percent(permille: u64) -> String {
    format!("{}.{} %", permille / 10, permille % 10)
}

/// `0.850` of 850 thousandths.
fn thousandths(permille: u64) -> String {
    format!("{}.{:03}", permille / 1_000, permille % 1_000)
}
