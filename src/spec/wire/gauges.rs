//! Every gauge with its sizes, thickest first; `tests/suite/wire.rs` compares each row with its source.

use super::Gauge;
use crate::quantity::Area;

/// A gauge with its AWG area in µm².
const fn awg(name: &'static str, area: u64) -> Gauge {
    Gauge {
        name,
        awg_area: Area::from_square_micrometres(area),
        sae_metric: None,
        iso_pairing: None,
    }
}

impl Gauge {
    const fn sae(mut self, area: u64) -> Self {
        self.sae_metric = Some(Area::from_square_micrometres(area));
        self
    }

    const fn iso(mut self, area: u64) -> Self {
        self.iso_pairing = Some(Area::from_square_micrometres(area));
        self
    }
}

/// - `awg`: the area by `d = 0.127 mm · 92^((36-n)/39)` (ASTM B258, from memory).
/// - `sae`: the metric designation of automotive low-voltage cable (SAE J1128 practice, seen second-hand).
/// - `iso`: the size of ISO-size cable that a vehicle maker's wiring manual lists for it (seen second-hand).
pub(super) const GAUGES: &[Gauge] = &[
    awg("4/0", 107_219_303),
    awg("3/0", 85_028_773),
    awg("2/0", 67_430_882),
    awg("0", 53_475_121).sae(52_000_000),
    awg("1", 42_407_699),
    awg("2", 33_630_834).sae(32_000_000),
    awg("3", 26_670_464),
    awg("4", 21_150_639).sae(19_000_000).iso(16_000_000),
    awg("5", 16_773_220),
    awg("6", 13_301_768).sae(13_000_000),
    awg("7", 10_548_782),
    awg("8", 8_365_564).sae(8_000_000).iso(6_000_000),
    awg("9", 6_634_194),
    awg("10", 5_261_155).sae(5_000_000).iso(4_000_000),
    awg("11", 4_172_286),
    awg("12", 3_308_773).sae(3_000_000).iso(2_500_000),
    awg("13", 2_623_976),
    awg("14", 2_080_908).sae(2_000_000).iso(1_500_000),
    awg("15", 1_650_235),
    awg("16", 1_308_696).sae(1_000_000).iso(1_000_000),
    awg("17", 1_037_843),
    awg("18", 823_047).sae(800_000).iso(750_000),
    awg("19", 652_706),
    awg("20", 517_619).sae(500_000).iso(500_000),
    awg("21", 410_491),
    awg("22", 325_534).iso(350_000),
    awg("23", 258_160),
    awg("24", 204_730),
    awg("25", 162_359),
    awg("26", 128_756),
    awg("27", 102_108),
    awg("28", 80_976),
    awg("29", 64_217),
    awg("30", 50_926),
    awg("31", 40_386),
    awg("32", 32_028),
    awg("33", 25_399),
    awg("34", 20_142),
    awg("35", 15_974),
    awg("36", 12_668),
    awg("37", 10_046),
    awg("38", 7_967),
    awg("39", 6_318),
    awg("40", 5_010),
];
