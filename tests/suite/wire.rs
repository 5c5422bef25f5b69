//! Every gauge against the tables in `tests/reference/wire`, whose sources stand beside them.

use tallyjaw::quantity::Area;
use tallyjaw::spec::wire::strands::difference_permille;
use tallyjaw::spec::wire::{CONSTRUCTIONS, Strands, WireError, resolve, table};
use tallyjaw::spec::{SizingSystem, WireRequest};

const AWG: &str = include_str!("../reference/wire/awg.csv");
const STRANDS: &str = include_str!("../reference/wire/strands.csv");
const SAE: &str = include_str!("../reference/wire/sae_j1128_sizes.csv");

fn resolved(gauge: &str, sizing: SizingSystem) -> Result<u64, WireError> {
    let request = WireRequest {
        text: format!("{gauge} ga"),
        sizing: Some(sizing),
    };
    resolve(&request).map(|wire| wire.area.square_micrometres())
}

/// `2.080908` mm² → 2 080 908 µm².
fn square_micrometres(mm2: &str) -> u64 {
    let (whole, fraction) = mm2.split_once('.').unwrap_or((mm2, ""));
    format!("{whole}{fraction:0<6}").parse().unwrap()
}

#[test]
fn every_gauge_has_the_area_of_the_published_rule() {
    // d = 0.127 mm · 92^((36-n)/39), ASTM B258, from memory; table computed, exact to 1e-6 mm²
    let rows: Vec<_> = AWG.lines().skip(1).collect();
    assert_eq!(rows.len(), table().len());
    for row in rows {
        let cells: Vec<_> = row.split(',').collect();
        let area = resolved(cells[0], SizingSystem::AwgArea).unwrap();
        assert_eq!(area, square_micrometres(cells[4]), "gauge {}", cells[0]);
    }
}

#[test]
fn every_metric_size_is_that_of_the_automotive_table_and_no_other_gauge_has_one() {
    // seen second-hand; the link to SAE J1128 is from memory
    let rows: Vec<_> = SAE
        .lines()
        .filter(|row| row.starts_with("metric designation"))
        .map(|row| {
            let rest = row.split_once("practice),").unwrap().1;
            let cells: Vec<_> = rest.split(',').collect();
            (cells[0], square_micrometres(cells[1]))
        })
        .collect();
    assert_eq!(rows.len(), 11);
    for (gauge, area) in &rows {
        assert_eq!(
            resolved(gauge, SizingSystem::SaeMetric).unwrap(),
            *area,
            "gauge {gauge}"
        );
    }
    for gauge in table() {
        let listed = rows.iter().any(|(name, _)| *name == gauge.name);
        assert_eq!(gauge.sae_metric.is_some(), listed, "gauge {}", gauge.name);
    }
}

#[test]
fn a_gauge_that_tables_disagree_on_is_never_resolved_without_a_named_system() {
    // The second table pairs the same gauges with other areas: 14 with 1.5 mm², not 2.0 mm².
    let mut disagreements = 0;
    for row in SAE.lines().filter(|row| row.starts_with("ISO-size cable")) {
        let cells: Vec<_> = row.split_once("manual,").unwrap().1.split(',').collect();
        let error = resolved(cells[0], SizingSystem::IsoMm2).unwrap_err();
        assert!(
            matches!(error, WireError::SizingMissing { .. }),
            "gauge {}",
            cells[0]
        );
        if let Ok(metric) = resolved(cells[0], SizingSystem::SaeMetric) {
            disagreements += usize::from(metric != square_micrometres(cells[1]));
        }
    }
    assert_eq!(disagreements, 6);
}

#[test]
fn every_pairing_of_the_other_table_is_shown_and_none_is_resolved() {
    let rows: Vec<_> = SAE
        .lines()
        .filter(|row| row.starts_with("ISO-size cable"))
        .map(|row| {
            let cells: Vec<_> = row.split_once("manual,").unwrap().1.split(',').collect();
            (cells[0], square_micrometres(cells[1]))
        })
        .collect();
    assert_eq!(rows.len(), 9);
    for gauge in table() {
        let listed = rows.iter().find(|(name, _)| *name == gauge.name);
        let shown = gauge.iso_pairing.map(Area::square_micrometres);
        assert_eq!(shown, listed.map(|(_, area)| *area), "gauge {}", gauge.name);
        assert_eq!(gauge.area(SizingSystem::IsoMm2), None);
    }
}

#[test]
fn diameters_and_circular_mils_agree_with_the_areas_of_the_gauges() {
    // Other columns of the same rule: a circular mil is the area of a circle of 0.001 in, so that
    // mm² = circular mils · π/4 · 0.0254²; to the digits printed.
    for row in AWG.lines().skip(1) {
        let cells: Vec<f64> = row
            .split(',')
            .skip(1)
            .map(|cell| cell.parse().unwrap())
            .collect();
        let [_, millimetres, inches, area, mils] = cells[..] else {
            panic!("{row}");
        };
        let of_circle = |diameter: f64| std::f64::consts::FRAC_PI_4 * diameter * diameter;
        assert!((of_circle(millimetres) / area - 1.0).abs() < 1e-4, "{row}");
        assert!((inches * 25.4 / millimetres - 1.0).abs() < 1e-5, "{row}");
        assert!(
            (of_circle(0.0254) * mils / area - 1.0).abs() < 1e-4,
            "{row}"
        );
    }
}

#[test]
fn every_make_up_is_that_of_its_table_and_has_nearly_the_area_of_its_size() {
    // seen second-hand: VDE 0295 class 5, and a conversion table of gauges; see the reference
    let listed: Vec<String> = STRANDS
        .lines()
        .skip(1)
        .map(|row| {
            let cells: Vec<_> = row.split(',').collect();
            format!("{} × 0.{} mm = {}", cells[1], cells[2], cells[3])
        })
        .collect();
    let rows = || {
        CONSTRUCTIONS
            .iter()
            .flat_map(tallyjaw::spec::wire::Constructions::rows)
    };
    let ours: Vec<_> = rows()
        .map(|(count, hundredths, size)| format!("{count} × 0.{hundredths} mm = {size}"))
        .collect();
    assert_eq!(ours, listed);
    for (count, hundredths, size) in rows() {
        let strands: Strands = format!("{count}x0.{hundredths}").parse().unwrap();
        let sizing = size.ends_with("AWG").then_some(SizingSystem::AwgArea);
        let text = size.to_owned();
        let wire = resolve(&WireRequest { text, sizing }).unwrap();
        let off = difference_permille(strands.area(), wire.area);
        // 19 strands of 0.127 mm are 18 % above 24 AWG already, and their diameter is listed to hundredths
        assert!(off.abs() <= 240, "{strands}, {size}: {off} ‰");
    }
}
