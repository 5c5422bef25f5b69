//! Wire sizes and sizing systems. A gauge is resolved only through a named sizing system, and gauge and system are
//! always shown with the area.

mod constructions;
pub mod crimped;
mod doubt;
mod gauges;
pub mod strands;

use super::WireRequest;
use crate::quantity::{Area, Decimal, named};
pub use constructions::{CONSTRUCTIONS, Constructions};
pub use doubt::Doubt;
use gauges::GAUGES;
use std::fmt;
pub use strands::Strands;

named! {
    /// The system by which a gauge has a cross-section.
    #[derive(PartialOrd, Ord)]
    pub enum SizingSystem {
        /// The size is given in mm²; there is no gauge.
        IsoMm2 = "iso_mm2",
        /// The metric designation of automotive low-voltage cable for a gauge.
        SaeMetric = "sae_metric",
        /// The geometric area of the American wire gauge.
        AwgArea = "awg_area",
    }
}

/// A wire: its conductor size in mm², and the gauge it was named by.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WireSize {
    /// As printed on the sheet.
    pub area: Area,
    /// The gauge it was named by: `12`, `2/0`.
    pub gauge: Option<String>,
    /// The system in which the gauge was resolved.
    pub sizing: SizingSystem,
}

/// A gauge with the areas that the sizing systems give it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gauge {
    /// `4/0` to `40`.
    pub name: &'static str,
    /// The geometric area, rounded to a square micrometre.
    pub awg_area: Area,
    /// The metric size of automotive cable; not every gauge has one.
    pub sae_metric: Option<Area>,
    /// The metric size paired with it in tables of ISO-size cable. It is only shown, so that readers of such a table
    /// see the difference; no sizing system resolves to it.
    pub iso_pairing: Option<Area>,
}

impl Gauge {
    /// Its area in this system.
    pub fn area(&self, sizing: SizingSystem) -> Option<Area> {
        match sizing {
            SizingSystem::IsoMm2 => None,
            SizingSystem::SaeMetric => self.sae_metric,
            SizingSystem::AwgArea => Some(self.awg_area),
        }
    }
}

/// Why a text is not a wire size.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WireError {
    /// Neither an area nor a gauge.
    #[error("got {got:?}, want a wire size such as \"2.0 mm²\", \"14 ga\" or \"2/0 ga\"")]
    NotASize {
        /// The text.
        got: String,
    },
    /// Strands and their diameter, which are of no size by themselves.
    #[error("{strands} is a make-up and not a size; its area, {}, is near to {}", strands::two_decimals(strands.area()), near_to(strands))]
    MakeUp {
        /// The make-up.
        strands: Strands,
    },
    /// A gauge that the American wire gauge does not have.
    #[error("got gauge {got:?}, want 4/0 to 40; the nearest is {nearest}")]
    UnknownGauge {
        /// The text of the gauge.
        got: String,
        /// The nearest gauge.
        nearest: &'static str,
    },
    /// A gauge without a sizing system, or with one that has no gauges.
    #[error("{} ga is not one size: {}", gauge.name, both_areas(gauge))]
    SizingMissing {
        /// The gauge.
        gauge: &'static Gauge,
    },
    /// A gauge that the system has no size for.
    #[error("{} ga has no size in {}, nearest are {}", gauge.name, sizing.name(), nearest.join(" and "))]
    NotInSystem {
        /// The gauge.
        gauge: &'static Gauge,
        /// AWG or SAE metric.
        sizing: SizingSystem,
        /// The gauges next to it that have one, with their sizes.
        nearest: Vec<String>,
    },
    /// An area together with a system for gauges.
    #[error("got {area} with sizing {}, want a gauge with it", sizing.name())]
    AreaWithGaugeSystem {
        /// Cross-section of the conductor.
        area: Area,
        /// AWG or SAE metric.
        sizing: SizingSystem,
    },
}

impl WireError {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> String {
        match self {
            Self::NotASize { .. } | Self::UnknownGauge { .. } => {
                "see every gauge with its sizes: tallyjaw wire".to_owned()
            }
            Self::MakeUp { .. } => {
                "name the size that is printed on the wire; a plan takes the make-up beside it, as strands"
                    .to_owned()
            }
            Self::SizingMissing { gauge } => match gauge.sae_metric {
                Some(_) => "write which is meant: sizing = \"sae_metric\" or \"awg_area\"; \
                            or give the mm² printed on the wire"
                    .to_owned(),
                None => "write sizing = \"awg_area\", or give the mm² printed on the wire".to_owned(),
            },
            Self::NotInSystem { gauge, .. } => format!(
                "if the geometric area ({} mm²) is meant, write sizing = \"awg_area\", else give the mm² printed on the wire",
                three_digits(gauge.awg_area)
            ),
            Self::AreaWithGaugeSystem { .. } => {
                "leave sizing out: a size in mm² needs none".to_owned()
            }
        }
    }
}

/// Resolves a wire as a plan or sheet names it. A size is never rounded to a neighbouring one.
pub fn resolve(request: &WireRequest) -> Result<WireSize, WireError> {
    if let Ok(area) = request.text.parse::<Area>() {
        return match request.sizing {
            None | Some(SizingSystem::IsoMm2) => Ok(WireSize {
                area,
                gauge: None,
                sizing: SizingSystem::IsoMm2,
            }),
            Some(sizing @ (SizingSystem::SaeMetric | SizingSystem::AwgArea)) => {
                Err(WireError::AreaWithGaugeSystem { area, sizing })
            }
        };
    }
    if let Ok(strands) = request.text.parse::<Strands>() {
        return Err(WireError::MakeUp { strands });
    }
    let gauge = gauge_of(&request.text)?;
    let sizing = match request.sizing {
        Some(sizing @ (SizingSystem::SaeMetric | SizingSystem::AwgArea)) => sizing,
        None | Some(SizingSystem::IsoMm2) => return Err(WireError::SizingMissing { gauge }),
    };
    let area = gauge.area(sizing).ok_or_else(|| WireError::NotInSystem {
        gauge,
        sizing,
        nearest: neighbours(gauge, sizing),
    })?;
    Ok(WireSize {
        area,
        gauge: Some(gauge.name.to_owned()),
        sizing,
    })
}

/// Every gauge with its areas, thickest first.
pub fn table() -> &'static [Gauge] {
    GAUGES
}

/// The gauge of this name: `14`, `2/0`.
pub fn gauge(name: &str) -> Option<&'static Gauge> {
    GAUGES.iter().find(|gauge| gauge.name == name)
}

/// The gauge whose AWG area is nearest.
pub fn nearest_awg(area: Area) -> Option<&'static Gauge> {
    let distance = |gauge: &&Gauge| {
        let awg = gauge.awg_area.square_micrometres();
        awg.abs_diff(area.square_micrometres())
    };
    GAUGES.iter().min_by_key(distance)
}

/// The gauge that a text names: `14 ga`, `14 AWG`, `2/0 gauge`, `AWG 14`, `000 ga`.
///
/// # Errors
///
/// [`WireError::NotASize`] if it names none, [`WireError::UnknownGauge`] if there is no such gauge.
pub fn gauge_of(text: &str) -> Result<&'static Gauge, WireError> {
    let not_a_size = || WireError::NotASize {
        got: text.to_owned(),
    };
    let lower = text.trim().to_lowercase();
    let name = ["gauge", "awg", "ga"]
        .iter()
        .find_map(|word| {
            lower
                .strip_suffix(word)
                .or_else(|| lower.strip_prefix(word))
        })
        .ok_or_else(not_a_size)?
        .trim();
    let is_gauge = name
        .bytes()
        .all(|byte| byte.is_ascii_digit() || byte == b'/');
    if name.is_empty() || !is_gauge {
        return Err(not_a_size());
    }
    let name = match name {
        "0000" => "4/0",
        "000" => "3/0",
        "00" => "2/0",
        "1/0" => "0",
        other => other,
    };
    GAUGES
        .iter()
        .find(|gauge| gauge.name == name)
        .ok_or_else(|| WireError::UnknownGauge {
            got: name.to_owned(),
            nearest: if name.contains('/') || name.starts_with('0') {
                "4/0"
            } else {
                "40"
            },
        })
}

/// The next thicker and the next thinner gauge that this system has a size for.
fn neighbours(gauge: &Gauge, sizing: SizingSystem) -> Vec<String> {
    let at = GAUGES
        .iter()
        .position(|known| known.name == gauge.name)
        .unwrap_or(0);
    let (thicker, thinner) = GAUGES.split_at(at);
    let named = |gauge: &Gauge| {
        let area = gauge.area(sizing)?;
        Some(format!("{} ga = {area}", gauge.name))
    };
    let above = thicker.iter().rev().find_map(named);
    let below = thinner.iter().find_map(named);
    above.into_iter().chain(below).collect()
}

/// The nearest nominal size and the nearest gauge.
fn near_to(strands: &Strands) -> String {
    let near = strands::near(strands.area());
    let nearest = |is_gauge: bool| {
        let mut sizes = near.iter();
        let size = sizes.find(|size| size.name.ends_with("AWG") == is_gauge)?;
        Some(size.name.clone())
    };
    let both: Vec<_> = [nearest(false), nearest(true)]
        .into_iter()
        .flatten()
        .collect();
    both.join(" and ")
}

fn both_areas(gauge: &Gauge) -> String {
    let awg = three_digits(gauge.awg_area);
    match gauge.sae_metric {
        Some(metric) => {
            format!(
                "{metric} as an SAE metric size (sae_metric), {awg} mm² as an AWG area (awg_area)"
            )
        }
        None => format!("{awg} mm² as an AWG area (awg_area), no SAE metric size (sae_metric)"),
    }
}

/// An area in mm² with three significant digits, for showing only: `3.31`, `107`, `0.518`.
pub fn three_digits(area: Area) -> Decimal {
    let micro = i64::try_from(area.square_micrometres()).unwrap_or(i64::MAX);
    let length = micro.checked_ilog10().unwrap_or(0);
    // A µm² is 10⁻⁶ mm². All but three digits are cut, but none before the point.
    let cut = length.saturating_sub(2).min(6);
    let unit = 10_i64.pow(cut);
    let rounded = micro.saturating_add(unit / 2) / unit;
    Decimal::new(rounded, u8::try_from(6 - cut).unwrap_or(6))
}

impl fmt::Display for WireSize {
    /// `16 ga = 1.0 mm² (SAE metric size; the AWG area is 1.31 mm²)`, or `2.0 mm²`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(name) = &self.gauge else {
            return write!(f, "{}", self.area);
        };
        let known = gauge(name);
        match (self.sizing, known) {
            (SizingSystem::SaeMetric, Some(gauge)) => write!(
                f,
                "{name} ga = {} (SAE metric size; the AWG area is {} mm²)",
                self.area,
                three_digits(gauge.awg_area)
            ),
            (SizingSystem::AwgArea, Some(gauge)) => {
                write!(f, "{name} ga = {} mm² (AWG area; ", three_digits(self.area))?;
                match gauge.sae_metric {
                    Some(metric) => write!(f, "the SAE metric size is {metric})"),
                    None => f.write_str("there is no SAE metric size)"),
                }
            }
            (SizingSystem::IsoMm2, _) | (_, None) => write!(f, "{name} ga = {}", self.area),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn request(text: &str, sizing: Option<SizingSystem>) -> WireRequest {
        WireRequest {
            text: text.to_owned(),
            sizing,
        }
    }

    fn shown(text: &str, sizing: Option<SizingSystem>) -> String {
        match resolve(&request(text, sizing)) {
            Ok(wire) => wire.to_string(),
            Err(error) => format!("{error} | {}", error.remedy()),
        }
    }

    #[test]
    fn a_gauge_is_shown_with_both_sizes() {
        let sae = Some(SizingSystem::SaeMetric);
        let awg = Some(SizingSystem::AwgArea);
        assert_eq!(
            shown("12 ga", sae),
            "12 ga = 3.0 mm² (SAE metric size; the AWG area is 3.31 mm²)"
        );
        assert_eq!(
            shown("14 AWG", awg),
            "14 ga = 2.08 mm² (AWG area; the SAE metric size is 2.0 mm²)"
        );
        assert_eq!(
            shown("00 ga", awg),
            "2/0 ga = 67.4 mm² (AWG area; there is no SAE metric size)"
        );
        assert_eq!(shown("1/0 ga", sae), shown("AWG 0", sae));
        assert_eq!(
            shown("40ga", awg),
            "40 ga = 0.00501 mm² (AWG area; there is no SAE metric size)"
        );
        assert_eq!(
            shown("4/0 ga", awg),
            "4/0 ga = 107 mm² (AWG area; there is no SAE metric size)"
        );
        assert_eq!(shown("2 mm2", None), "2.0 mm²");
    }

    #[test]
    fn a_gauge_without_a_sizing_system_is_refused_with_both_candidates() {
        for sizing in [None, Some(SizingSystem::IsoMm2)] {
            assert_eq!(
                shown("14 ga", sizing),
                "14 ga is not one size: 2.0 mm² as an SAE metric size (sae_metric), 2.08 mm² as an AWG area (awg_area) | \
                 write which is meant: sizing = \"sae_metric\" or \"awg_area\"; or give the mm² printed on the wire"
            );
        }
    }

    #[test]
    fn a_gauge_that_a_system_lacks_is_refused_with_the_nearest_ones() {
        assert_eq!(
            shown("13 ga", Some(SizingSystem::SaeMetric)),
            "13 ga has no size in sae_metric, nearest are 12 ga = 3.0 mm² and 14 ga = 2.0 mm² | \
             if the geometric area (2.62 mm²) is meant, write sizing = \"awg_area\", else give the mm² printed on the wire"
        );
        assert!(
            shown("22 ga", Some(SizingSystem::SaeMetric)).contains("nearest are 20 ga = 0.5 mm² |")
        );
        assert!(
            shown("41 ga", Some(SizingSystem::AwgArea))
                .starts_with("got gauge \"41\", want 4/0 to 40; the nearest is 40")
        );
        assert!(shown("5/0 ga", None).contains("the nearest is 4/0"));
    }

    #[test]
    fn a_geometric_area_is_kept_exact_and_never_taken_for_the_metric_size() {
        let wire = resolve(&request("14 ga", Some(SizingSystem::AwgArea))).unwrap();
        assert_eq!(wire.area.square_micrometres(), 2_080_908);
        assert_ne!(wire.area, "2.08 mm²".parse().unwrap());
        assert_ne!(wire.area, "2.0 mm²".parse().unwrap());
    }

    #[test]
    fn what_is_no_wire_size_says_what_is_wanted() {
        for text in [
            "",
            "ga",
            "14",
            "14 mm",
            "x ga",
            "-1 ga",
            "0 mm²",
            "2.0 mm² ga",
            "14 ga ga",
        ] {
            let error = resolve(&request(text, Some(SizingSystem::SaeMetric))).unwrap_err();
            assert!(
                matches!(error, WireError::NotASize { .. }),
                "{text}: {error}"
            );
        }
        let error = resolve(&request("2.0 mm²", Some(SizingSystem::SaeMetric))).unwrap_err();
        assert_eq!(
            error.to_string(),
            "got 2.0 mm² with sizing sae_metric, want a gauge with it"
        );
    }

    #[test]
    fn every_gauge_resolves_by_its_own_name() {
        for gauge in table() {
            let text = format!("{} ga", gauge.name);
            let wire = resolve(&request(&text, Some(SizingSystem::AwgArea))).unwrap();
            assert_eq!(wire.gauge.as_deref(), Some(gauge.name));
            assert_eq!(wire.area, gauge.awg_area);
        }
    }
}
