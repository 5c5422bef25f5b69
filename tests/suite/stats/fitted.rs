//! Fitted distributions, and `study capability --distribution`.

use super::reference::assert_close;
use super::study::{Folder, error};
use std::fmt::Write as _;
use tallyjaw::quantity::Unit;
use tallyjaw::stats::fitted::quantiles::{lower_bound, of_readings, tail, upper_bound};
use tallyjaw::stats::fitted::{Draws, Family, Member, fit};
use tallyjaw::stats::random::Random;
use tallyjaw::stats::{Sample, Undefined};

/// Millions of revolutions to failure of 23 ball bearings: Lieblein and Zelen 1956, as in Lawless 2003, 3.2 (from memory).
const BEARINGS: [f64; 23] = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64,
    68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
];

#[test]
fn the_ball_bearings_have_the_published_parameters() {
    // Thoman, Bain and Antle 1969 (from memory): shape 2.102, scale 81.88. Lawless: û = 4.405, b̂ = 0.476.
    let weibull = fit(Family::Weibull, &BEARINGS).unwrap();
    assert_eq!(
        format!("{:.3} {:.2}", 1.0 / weibull.b, weibull.a),
        "2.102 81.88"
    );
    assert_eq!(
        format!("{:.3} {:.3}", weibull.a.ln(), weibull.b),
        "4.405 0.476"
    );
    // scipy 1.17, by maximum likelihood
    assert_close("shape", 1.0 / weibull.b, 2.102_060, 1e-6);
    assert_close(
        "likelihood",
        weibull.ln_likelihood(&BEARINGS),
        -113.691_290_932,
        1e-9,
    );
    let lognormal = fit(Family::Lognormal, &BEARINGS).unwrap();
    assert_close("a", lognormal.a, 4.150_454_493_893_831, 1e-12);
    assert_close("b", lognormal.b, 0.533_373_254_831_796_3, 1e-12);
    assert_close(
        "likelihood",
        lognormal.ln_likelihood(&BEARINGS),
        -113.139_762_006_741,
        1e-9,
    );
    let folded = fit(Family::FoldedNormal, &BEARINGS).unwrap();
    assert_close("a", folded.a, 71.405_406, 1e-6);
    assert_close("b", folded.b, 38.235_090, 1e-6);
    assert_close(
        "likelihood",
        folded.ln_likelihood(&BEARINGS),
        -115.183_439_027,
        1e-9,
    );
}

#[test]
fn quantiles_are_those_of_an_independent_library() {
    // scipy 1.17: weibull_min(2, scale=3), lognorm(0.4, scale=e^1.5), foldnorm(1.5, scale=0.8) at Φ(-3), 1/2, Φ(3)
    let member = |family, a, b| Member { family, a, b };
    let cases = [
        (
            member(Family::Weibull, 3.0, 0.5),
            [
                0.110_260_100_139_32,
                2.497_663_833_473_09,
                7.711_649_369_207_15,
            ],
        ),
        (
            member(Family::Lognormal, 1.5, 0.4),
            [
                1.349_858_807_576,
                4.481_689_070_338_06,
                14.879_731_724_872_82,
            ],
        ),
        (
            member(Family::FoldedNormal, 1.2, 0.8),
            [
                0.004_168_979_164_54,
                1.202_677_365_085_12,
                3.600_000_178_090_32,
            ],
        ),
    ];
    for (member, want) in cases {
        for (p, want) in [tail(), 0.5, 1.0 - tail()].into_iter().zip(want) {
            let got = member.quantile(p).unwrap();
            assert_close(member.family.name(), got, want, 1e-9);
            assert_close("below", member.below(got), p, 1e-9);
            assert_close("above", member.above(got), 1.0 - p, 1e-9);
        }
    }
}

#[test]
fn what_cannot_be_fitted_says_why() {
    for family in Family::ALL {
        let few = Undefined::TooFew { got: 2, want: 3 };
        assert_eq!(fit(family, &[1.0, 2.0]), Err(few));
        let equal = Undefined::NoSpread { count: 3 };
        assert_eq!(fit(family, &[1.0, 1.0, 1.0]), Err(equal));
        let below = fit(family, &[1.0, -2.0, 3.0]);
        assert!(
            matches!(below, Err(Undefined::NotApplicable { .. })),
            "{below:?}"
        );
    }
    // as wide about 0 as a normal value whose sign is lost
    let half = fit(Family::FoldedNormal, &[0.0, 0.1, 1.0, 3.0]).unwrap();
    assert_eq!(half.a, 0.0);
}

#[test]
fn bounds_of_a_lognormal_quantile_are_those_of_the_noncentral_t() {
    // The logarithm of a quantile is a normal one, whose exact bounds are tolerance factors: n = 10, p = 0.9, 95 %
    // one-sided, k = 2.3546 (ISO 16269-6, from memory; in tests/reference/stats/tolerance_k.csv).
    let member = Member {
        family: Family::Lognormal,
        a: 0.0,
        b: 1.0,
    };
    let draws = Draws::new(member, 10).unwrap();
    let high = draws.bounds(|member| member.quantile(0.9).unwrap(), 0.9).1;
    assert!((high.ln() - 2.3546).abs() < 0.1, "{}", high.ln());
    let too_many = Draws::new(member, 5_001);
    assert!(
        matches!(too_many, Err(Undefined::TooMany { .. })),
        "{too_many:?}"
    );
}

#[test]
fn the_percentile_of_the_handbook_and_its_order_statistics() {
    // e-Handbook 7.2.6.2: 12 gauge measurements, 90th percentile 95.1981
    let example = super::reference::example("percentile definitions");
    let values = example["inputs"]["x"].as_array().unwrap();
    let bases = values
        .iter()
        .map(|x| tallyjaw::stats::figures::whole(x.as_f64().unwrap() * 1e6));
    let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
    let all = sample.summary();
    let p90 = of_readings(all, 0.9).unwrap();
    assert_eq!(format!("{p90:.4}"), "95.1981");
    // P(2 < X < 10 | 12, ½) = 0.9614: the third and the tenth reading are a 96 % interval of the median (tables of the
    // binomial distribution).
    assert_eq!(lower_bound(all, 0.5, 0.975), Ok(95.1065));
    assert_eq!(upper_bound(all, 0.5, 0.975), Ok(95.1937));
    assert_eq!(
        of_readings(all, 0.95),
        Err(Undefined::TooFew { got: 12, want: 19 })
    );
    // 0.9ⁿ ≤ 0.025 from n = 36 on
    assert_eq!(
        upper_bound(all, 0.9, 0.975),
        Err(Undefined::TooFew { got: 12, want: 36 })
    );
}

/// 60 lognormal values in hundredths, rounded to one.
fn skewed() -> Folder {
    let folder = Folder::new();
    let mut random = Random::new(3);
    let mut text = "burr\n".to_owned();
    for _ in 0..60 {
        let value = (3.0 + 0.4 * random.next_normal()).exp().round();
        let _ = writeln!(text, "{:.2}", value / 100.0);
    }
    folder.write("burr.csv", &text);
    folder
}

const BURR: [&str; 7] = [
    "capability",
    "--from",
    "burr.csv",
    "--column",
    "burr",
    "--unit",
    "mm",
];

#[test]
fn a_chosen_distribution_gives_indices_with_bounds_and_its_own_preconditions() {
    let folder = skewed();
    let chosen = ["--spec", "<= 1.20 mm", "--distribution", "lognormal"];
    let found = folder.json(&[&BURR[..], &chosen].concat());
    for name in [
        "ppk",
        "ppk_low",
        "ppk_high",
        "ppk_least",
        "x_99_865",
        "x_50",
        "ppm_above",
        "fit_p",
    ] {
        assert!(found[name].is_number(), "{name}: {found}");
    }
    assert_eq!(found["distribution"], "lognormal");
    let number = |name: &str| found[name].as_f64().unwrap();
    let by_quantiles = (1.2 - number("x_50")) / (number("x_99_865") - number("x_50"));
    assert_close("ppk", number("ppk"), by_quantiles, 1e-12);
    assert!(number("ppk_low") < number("ppk_least") && number("ppk_least") < number("ppk"));
    assert!(number("fit_p") > 0.05);
    let text = folder.text(&[&BURR[..], &chosen].concat());
    assert!(
        text.contains("the lognormal distribution is not rejected"),
        "{text}"
    );
    let normal = folder.json(&[&BURR[..], &chosen[..2]].concat());
    assert!(number("ppk") < normal["ppk"].as_f64().unwrap());
}

#[test]
fn a_choice_by_likelihood_is_named_and_demonstrates_nothing() {
    let folder = skewed();
    let likeliest = ["--spec", "<= 9 mm", "--distribution", "likeliest", "--gate"];
    let gated = folder.run(&[&BURR[..], &likeliest].concat());
    assert_eq!(gated.status.code(), Some(1), "{}", error(&gated));
    let text = String::from_utf8(gated.stdout).unwrap();
    assert!(text.contains("chosen from these same readings"), "{text}");
    assert!(
        text.contains("chosen by the largest logarithm of the likelihood: lognormal"),
        "{text}"
    );
    let named = ["--spec", "<= 9 mm", "--distribution", "lognormal", "--gate"];
    let gated = folder.run(&[&BURR[..], &named].concat());
    assert_eq!(gated.status.code(), Some(0), "{}", error(&gated));
}

#[test]
fn percentiles_of_few_readings_are_refused_with_the_number_that_is_needed() {
    let folder = skewed();
    let free = ["--spec", "<= 1.20 mm", "--distribution", "percentile"];
    let found = folder.json(&[&BURR[..], &free].concat());
    assert_eq!(
        found["undefined"]["ppk"],
        "too few readings: got 60, want at least 740"
    );
    assert_eq!(
        found["undefined"]["x_99_865_low"],
        "too few readings: got 60, want at least 2731"
    );
    assert!(
        found["x_50_low"].is_number() && found["ppk"].is_null(),
        "{found}"
    );
    folder.refuses(
        &[&BURR[..], &["--spec", "<= 1.20 mm", "--origin", "0.05 mm"]].concat(),
        "--origin has no effect",
    );
    let above = [
        "--spec",
        "<= 1.20 mm",
        "--distribution",
        "weibull",
        "--origin",
        "0.50 mm",
    ];
    let found = folder.json(&[&BURR[..], &above].concat());
    assert!(
        found["undefined"]["ppk"]
            .as_str()
            .unwrap()
            .contains("--origin"),
        "{found}"
    );
}
