//! A straight line with its bands and the range that keeps a limit: certified sets, a handbook example, and values of an
//! independent computation (numpy and scipy).

use super::reference::{assert_close, digits, rows, sample};
use super::study::{Folder, error, with};
use serde_json::Value;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::picture::regression_svg;
use tallyjaw::stats::regression::{Range, Regression};
use tallyjaw::stats::{Limits, Sample, Undefined};

/// The line through the columns `y,x` of a reference set.
fn set(name: &str) -> Regression {
    let rows = rows(&format!("strd_linear/{name}.csv"));
    let column = |at: usize| sample(rows.iter().map(|row| row[at].as_str()));
    Regression::new(column(1), column(0)).unwrap()
}

/// Norris: every certified value.
#[test]
fn norris_is_met_to_thirteen_digits() {
    let line = set("Norris");
    let t = 2.032_244_509_317_719; // t(0.975; 34), scipy
    let (low, high) = line.slope_bounds().unwrap();
    let (below, above) = line.line_bounds(0.0).unwrap();
    for (what, got, want, least) in [
        ("intercept", line.at(0.0), -0.262_323_073_774_029, 12.0),
        ("slope", line.slope(), 1.002_116_818_020_45, 13.0),
        (
            "residual sd",
            line.residual_sd(),
            0.884_796_396_144_373,
            13.0,
        ),
        ("R²", line.r_squared().unwrap(), 0.999_993_745_883_712, 13.0),
        (
            "sd of slope",
            (high - low) / (2.0 * t),
            0.429_796_848_199_937e-3,
            11.0,
        ),
        (
            "sd of intercept",
            (above - below) / (2.0 * t),
            0.232_818_234_301_152,
            11.0,
        ),
    ] {
        let agree = digits(got, want);
        assert!(agree >= least, "{what}: {got}, want {want}, {agree} digits");
    }
}

/// e-Handbook 4.6.1, load cell (the set Pontius with a straight line). It prints 0.614969E-02 (0.7132E-03),
/// 0.722103E-06 (0.3969E-09), residual sd 0.0021712694 with 38 degrees of freedom, lack of fit 214.7464 with 18 and 20:
/// computed in single precision; exact arithmetic has the values here, which differ from the sixth digit on.
#[test]
fn the_handbooks_load_cell_does_not_lie_on_a_straight_line() {
    let line = set("Pontius");
    assert_close("intercept", line.at(0.0), 0.006_149_684_210_526_418, 1e-10);
    assert_close("intercept as printed", line.at(0.0), 0.614_969e-2, 1e-5);
    assert_close("slope", line.slope(), 7.221_03e-7, 1e-6);
    assert_close(
        "residual sd",
        line.residual_sd(),
        0.002_171_272_596_056_766,
        1e-11,
    );
    assert_close(
        "residual sd as printed",
        line.residual_sd(),
        0.002_171_269_4,
        2e-6,
    );
    let test = line.lack_of_fit().unwrap();
    assert_eq!([test.freedom, test.pure_freedom], [18.0, 20.0]);
    assert_close(
        "pure error",
        test.pure_sd,
        0.000_214_726_570_316_757_8,
        1e-9,
    );
    assert_close("F", test.f, 214.746_923_653_923_4, 1e-8);
    assert_close("F as printed", test.f, 214.7464, 3e-6);
    assert!(test.p < 1e-15, "{}", test.p);
}

/// Heights in hundredths of a millimetre, four pieces each, and their forces in newtons: made up from a seed.
const FORCES: [[i64; 4]; 8] = [
    [224, 229, 229, 222],
    [217, 216, 220, 218],
    [215, 205, 218, 212],
    [209, 205, 204, 208],
    [203, 199, 199, 203],
    [191, 188, 196, 191],
    [180, 185, 186, 183],
    [176, 182, 186, 181],
];

fn at_least(newtons: i64) -> Limits {
    Limits {
        lower: Some(Quantity::from_base(Dimension::Force, newtons * 1000)),
        nominal: None,
        upper: None,
    }
}

fn pairs(pairs: &[(i64, i64)]) -> Regression {
    let x = pairs.iter().map(|(height, _)| height * 10_000).collect();
    let y = pairs.iter().map(|(_, force)| force * 1000).collect();
    let x = Sample::from_bases(x, Unit::Millimetre).unwrap();
    let y = Sample::from_bases(y, Unit::Newton).unwrap();
    let step = |dimension, base| Some(Quantity::from_base(dimension, base));
    Regression::new(
        x.with_step(step(Dimension::Length, 10_000)),
        y.with_step(step(Dimension::Force, 1000)),
    )
    .unwrap()
}

fn example() -> Vec<(i64, i64)> {
    let forces = FORCES.iter().zip((150..).step_by(2));
    forces
        .flat_map(|(forces, height)| forces.map(|force| (height, force)))
        .collect()
}

#[test]
fn line_bands_and_bounds_are_those_of_an_independent_computation() {
    let line = pairs(&example());
    let (low, high) = line.slope_bounds().unwrap();
    assert_close("slope", line.slope(), -329.166_666_666_666_7, 1e-12);
    assert_close("slope, low", low, -355.799_044_094_784_5, 1e-10);
    assert_close("slope, high", high, -302.534_289_228_548_9, 1e-10);
    assert_close(
        "p",
        line.slope_p().unwrap(),
        9.175_239_169_121_127e-22,
        1e-8,
    );
    assert_close("sd", line.residual_sd(), 3.380_499_634_340_714, 1e-10);
    let (low, high) = line.line_bounds(1.55).unwrap();
    assert_close("line", line.at(1.55), 209.083_333_333_333_3, 1e-12);
    assert_close("band, low", low, 207.751_714_461_927_4, 1e-10);
    assert_close("band, high", high, 210.414_952_204_739_1, 1e-10);
    let (low, high) = line.single_bounds(1.55).unwrap();
    assert_close("next, low", low, 202.052_183_934_769_9, 1e-10);
    assert_close("next, high", high, 216.114_482_731_896_6, 1e-10);
    let bound = line.tolerance_bound(1.55).unwrap();
    assert_close("tolerance", bound, 198.737_523_362_844_7, 1e-9);
    let test = line.lack_of_fit().unwrap();
    assert_close("F", test.f, 0.941_741_741_741_7, 1e-9);
    assert_close("p of F", test.p, 0.484_034_119_721_57, 1e-9);
    assert_close(
        "p of spread",
        line.even_spread_p().unwrap(),
        0.910_479_119_803_694,
        1e-8,
    );
}

/// The bound reaches 180 N at 1.60658 mm and 185 N at 1.59170 mm (numpy and scipy).
#[test]
fn the_range_ends_inward_of_where_the_bound_reaches_the_limit() {
    let found = |newtons| {
        let line = pairs(&example()).against(at_least(newtons));
        assert_eq!(line.shown_range(), line.keeps());
        line.keeps()
    };
    let to = |to: i64| Range {
        from: 1_500_000,
        to: to * 10_000,
        from_measured: true,
        to_measured: false,
    };
    assert_eq!(found(180), Ok(to(160)));
    assert_eq!(found(185), Ok(to(159)));
    // Nothing is said beyond the heights that were measured.
    assert_eq!(found(150).unwrap().to, 1_640_000);
    assert!(found(150).unwrap().to_measured);
    assert!(matches!(found(230), Err(Undefined::NotApplicable { .. })));
    let none = pairs(&example());
    assert_eq!(none.keeps(), Err(Undefined::NoLowerLimit));
}

/// A rising line has its range at the other end.
#[test]
fn a_rising_line_is_kept_at_its_upper_end() {
    let turned: Vec<(i64, i64)> = example().iter().map(|(x, y)| (314 - x, *y)).collect();
    let range = pairs(&turned).against(at_least(180)).keeps().unwrap();
    assert_eq!((range.from, range.to), (1_540_000, 1_640_000));
}

#[test]
fn a_range_is_refused_without_slope_with_lack_of_fit_and_without_replicates() {
    let failing = |line: &Regression| {
        assert!(line.shown_range().is_err());
        let grounds = line.grounds();
        let failing = grounds.iter().filter(|ground| !ground.holds);
        failing.map(|ground| ground.name).collect::<Vec<_>>()
    };
    let all = example();
    let flat: Vec<(i64, i64)> = all
        .iter()
        .enumerate()
        .map(|(at, (x, _))| {
            (
                *x,
                200 + [3, -1, 0, -2, 1, 2, -3, 0, 1, -1, 2][at * at % 11],
            )
        })
        .collect();
    assert!(failing(&pairs(&flat).against(at_least(150))).contains(&"slope"));
    // Force falls on both sides of the best height.
    let bent: Vec<(i64, i64)> = all
        .iter()
        .map(|(x, y)| (*x, y - (x - 157) * (x - 157)))
        .collect();
    assert!(failing(&pairs(&bent).against(at_least(50))).contains(&"lack_of_fit"));
    let once: Vec<(i64, i64)> = (0..20)
        .map(|at| (150 + at, 230 - 3 * at + (at * 7) % 5))
        .collect();
    assert!(failing(&pairs(&once).against(at_least(100))).contains(&"lack_of_fit"));
    assert!(failing(&pairs(&all[..9]).against(at_least(100))).contains(&"pairs"));
}

#[test]
fn what_makes_no_line_is_refused() {
    let length = |bases: &[i64]| Sample::from_bases(bases.to_vec(), Unit::Millimetre).unwrap();
    let line = |x: &[i64], y: &[i64]| Regression::new(length(x), length(y)).map(|_| ());
    assert_eq!(
        line(&[1, 2, 3], &[1, 2]),
        Err(Undefined::Unequal { fewest: 2, most: 3 })
    );
    assert_eq!(
        line(&[1, 2], &[1, 2]),
        Err(Undefined::TooFew { got: 2, want: 3 })
    );
    assert!(matches!(
        line(&[4, 4, 4], &[1, 2, 3]),
        Err(Undefined::NotApplicable { .. })
    ));
    let exact = Regression::new(length(&[1, 2, 3, 4]), length(&[2, 4, 6, 8])).unwrap();
    assert!(exact.slope_p().is_err(), "all on the line");
}

#[test]
fn the_picture_has_every_pair_and_the_range() {
    let line = pairs(&example())
        .against(at_least(180))
        .named("height", "force");
    let svg = regression_svg("heights and forces", &line);
    assert_eq!(svg.matches("class=\"point\"").count(), 32);
    for said in [
        "class=\"zone\"",
        ">lower limit 180 N<",
        ">95 % prediction band<",
        ">95 % confidence band<",
        ">height in mm<",
        ">force in N<",
    ] {
        assert!(svg.contains(said), "{said}: {svg}");
    }
    assert!(!svg.contains("NaN"));
}

fn file(folder: &Folder) -> Vec<&'static str> {
    let lines = example()
        .into_iter()
        .map(|(height, force)| format!("{}.{:02},{force}\n", height / 100, height % 100));
    folder.write(
        "pairs.csv",
        &format!("height,force\n{}", lines.collect::<String>()),
    );
    vec![
        "--from",
        "pairs.csv",
        "--column",
        "force",
        "--unit",
        "N",
        "--x",
        "height",
        "--x-unit",
        "mm",
    ]
}

#[test]
fn a_file_of_pairs_gives_line_range_and_gate() {
    let folder = Folder::new();
    let source = file(&folder);
    let told = folder.json(&with("regression", &source, &["--spec", ">= 180 N"]));
    assert_eq!(told["keeps_from"], Value::from(1.5));
    assert_eq!(told["keeps_to"], Value::from(1.6));
    assert_eq!(told["shown"], Value::Bool(true));
    let said = told["sentence"].as_str().unwrap();
    assert_eq!(
        said,
        "force falls by 329.17 N per mm of height (95 % confidence interval: 302.53 N to 355.80 N); at each height from 1.50 mm to 1.60 mm, at least 99 % of the pieces have a force of 180 N or more, with 95 % confidence; lower values were not measured"
    );
    let text = folder.text(&with("regression", &source, &["--spec", ">= 180 N"]));
    assert!(
        text.contains("holds  no lack of fit is shown (p = 0.48)"),
        "{text}"
    );
    let gate = folder.run(&with(
        "regression",
        &source,
        &["--spec", ">= 230 N", "--gate"],
    ));
    assert_eq!(gate.status.code(), Some(1), "{}", error(&gate));
    let svg = with("regression", &source, &["--svg", "line.svg"]);
    folder.text(&svg);
    assert!(folder.path().join("line.svg").exists());
    folder.refuses(&with("regression", &source[..8], &[]), "--x-unit mm");
}
