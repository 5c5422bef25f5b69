//! The hand that measures and the tool that crimps, which determine the sizes.

use super::random::Random;
use crate::quantity::Length;

/// A crimp tool: mean deviation and scatter of its crimps.
///
/// ```
/// use tallyjaw::{quantity::Length, virtual_caliper::CrimpTool};
/// let mut tool = CrimpTool { bias_nm: 8_000, spread_nm: 6_000, seed: 7 }.shop();
/// let size = tool.crimp(Length::from_nanometres(1_620_000));
/// assert!((1_592_000..=1_664_000).contains(&size.nanometres()));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CrimpTool {
    /// Mean deviation from nominal.
    pub bias_nm: i64,
    /// Standard deviation of the crimps.
    pub spread_nm: i64,
    /// Seed; the same seed always gives the same crimps.
    pub seed: u64,
}

impl CrimpTool {
    /// The tool, ready for its first crimp.
    pub fn shop(self) -> ToolOnBench {
        ToolOnBench {
            tool: self,
            random: Random::new(self.seed),
        }
    }
}

/// A crimp tool in use.
#[derive(Debug, Clone)]
pub struct ToolOnBench {
    tool: CrimpTool,
    random: Random,
}

impl ToolOnBench {
    /// The true size of the next crimp with this nominal size; never below zero.
    pub fn crimp(&mut self, nominal: Length) -> Length {
        let centre = nominal.nanometres().saturating_add(self.tool.bias_nm);
        Length::from_nanometres(self.random.around(centre, self.tool.spread_nm).max(0))
    }
}

/// A hand that sets the jaws with some scatter.
#[derive(Debug, Clone)]
pub struct Hand {
    spread_nm: i64,
    random: Random,
}

impl Hand {
    /// A hand whose repeated measurements of one piece scatter with this standard deviation.
    pub fn new(spread_nm: i64, seed: u64) -> Self {
        Self {
            spread_nm,
            random: Random::new(seed),
        }
    }

    /// Opening of the jaws when the hand measures something of this true size.
    pub fn set_jaws(&mut self, size: Length) -> Length {
        Length::from_nanometres(self.random.around(size.nanometres(), self.spread_nm).max(0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tool_with_a_bias_crimps_on_that_side_of_nominal() {
        let nominal = Length::from_nanometres(1_620_000);
        let mut tool = CrimpTool {
            bias_nm: 100_000,
            spread_nm: 5_000,
            seed: 1,
        }
        .shop();
        let sizes: Vec<_> = (0..100).map(|_| tool.crimp(nominal)).collect();
        assert!(sizes.iter().all(|size| *size > nominal));
        assert!(sizes.windows(2).any(|pair| pair[0] != pair[1]));
    }

    #[test]
    fn the_same_seed_measures_the_same() {
        let size = Length::from_nanometres(1_620_000);
        let run = |seed| {
            let mut hand = Hand::new(4_000, seed);
            (0..10).map(|_| hand.set_jaws(size)).collect::<Vec<_>>()
        };
        assert_eq!(run(3), run(3));
        assert_ne!(run(3), run(4));
    }
}
