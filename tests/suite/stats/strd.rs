//! The certified values of the NIST Statistical Reference Datasets.

use super::reference::{digits, json, sample, text};
use tallyjaw::stats::describe;

#[test]
fn every_univariate_set_is_met_to_fourteen_digits() {
    let certified = json("strd_univariate/certified.json");
    let sets = certified["datasets"].as_object().unwrap();
    assert_eq!(sets.len(), 6);
    for (name, set) in sets {
        let text = text(&format!("strd_univariate/{name}.txt"));
        let sample = sample(text.lines().filter(|line| !line.starts_with('#')));
        assert_eq!(Some(sample.count()), set["n"].as_u64(), "{name}");
        let figures = [
            ("mean", describe::mean(sample.summary())),
            ("sd_n_minus_1", describe::sd(sample.summary())),
            ("lag1_autocorrelation", describe::lag1(sample.summary())),
        ];
        for (figure, got) in figures {
            let want: f64 = set["certified"][figure].as_str().unwrap().parse().unwrap();
            let agree = digits(got.unwrap(), want);
            assert!(agree >= 14.0, "{name} {figure}: {agree} digits agree");
        }
    }
}
