//! Quantiles and probabilities against a table to 15 digits.

use super::reference::{assert_close, number, rows};
use tallyjaw::stats::Undefined;
use tallyjaw::stats::distribution::{self, ChiSquared, FisherF, NoncentralT, StudentT};

#[test]
fn every_quantile_of_the_table_is_met_and_leads_back_to_its_probability() {
    let rows = rows("chi2_t_f_quantiles.csv");
    assert_eq!(rows.len(), 1728);
    for row in &rows {
        let [name, first, second, p, want] = row.as_slice() else {
            panic!("{row:?}")
        };
        let (p, want) = (number(p), number(want));
        let (got, back) = match name.as_str() {
            "chi2" => {
                let of = ChiSquared::new(number(first)).unwrap();
                (of.quantile(p), (of.below(want), of.above(want)))
            }
            "t" => {
                let of = StudentT::new(number(first)).unwrap();
                (of.quantile(p), (of.below(want), of.above(want)))
            }
            "F" => {
                let of = FisherF::new(number(first), number(second)).unwrap();
                (of.quantile(p), (of.below(want), of.above(want)))
            }
            "normal" => (
                distribution::quantile(p),
                (distribution::below(want), distribution::above(want)),
            ),
            other => panic!("{other}"),
        };
        let what = row.join(" ");
        assert_close(&what, got.unwrap(), want, 1e-10);
        assert_close(&what, back.0, p, 1e-10);
        assert_close(&what, back.1, 1.0 - p, 1e-10);
    }
}

#[test]
fn a_noncentral_t_without_a_shift_is_students_t() {
    for freedom in [1.0, 4.0, 29.0, 499.0] {
        let central = StudentT::new(freedom).unwrap();
        let noncentral = NoncentralT::new(freedom, 0.0).unwrap();
        for t in [-3.0, -0.5, 0.0, 1.0, 6.0] {
            assert_close("t", noncentral.below(t), central.below(t), 1e-11);
        }
    }
}

#[test]
fn what_is_no_probability_and_no_degrees_of_freedom_has_no_quantile() {
    let out = |what| Err(Undefined::OutOfRange { what });
    for p in [0.0, 1.0, -0.1, f64::NAN] {
        assert_eq!(distribution::quantile(p), out("a probability"));
        assert_eq!(
            ChiSquared::new(3.0).unwrap().quantile(p),
            out("a probability")
        );
    }
    for freedom in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(
            StudentT::new(freedom).map(|_| 0.0),
            out("degrees of freedom")
        );
    }
}

#[test]
fn a_p_value_is_never_quite_zero() {
    // 2/(π t), to more digits than asked for here
    let far = StudentT::new(1.0).unwrap().two_sided(1e12);
    assert_close("p", far, 2.0 / (std::f64::consts::PI * 1e12), 1e-12);
    let tails = [
        StudentT::new(500.0).unwrap().two_sided(1e6),
        FisherF::new(8.0, 18_000.0).unwrap().above(2001.0),
        ChiSquared::new(3.0).unwrap().above(1e5),
    ];
    for tail in tails {
        assert!(tail > 0.0 && tail < 1e-300, "{tail:e}");
    }
}
