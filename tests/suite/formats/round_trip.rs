//! Values sent by the virtual caliper are decoded unchanged in every format.

use super::{Outcome, read_one};
use proptest::prelude::*;
use tallyjaw::decode::format::Ticks;
use tallyjaw::quantity::{Decimal, Measured, Unit};
use tallyjaw::virtual_caliper::{Form, Sends};

fn unit() -> impl Strategy<Value = Unit> {
    prop::sample::select(vec![Unit::Millimetre, Unit::Inch])
}

fn name(family: &str, form: Form) -> String {
    let form = match form {
        Form::Hex => "hex",
        Form::Packed => "packed",
    };
    format!("{family}-{form}")
}

const FORMS: [Form; 2] = [Form::Hex, Form::Packed];

/// The decoded value. The instrument is set to the other unit where that must not matter.
fn sent_and_read(sends: Sends, format: &str, digits: Decimal, unit: Unit, set_to: Unit) -> Outcome {
    let frame = sends.frame(digits, unit).unwrap();
    read_one(format, None, set_to, &frame)
}

fn other(unit: Unit) -> Unit {
    if unit == Unit::Inch {
        Unit::Millimetre
    } else {
        Unit::Inch
    }
}

proptest! {
    #[test]
    fn lines_come_back_digit_by_digit(coefficient in -999_999_999_i64..=999_999_999, decimals in 0_u8..=6, channel in 0_u8..=99, unit in unit()) {
        let digits = Decimal::new(coefficient, decimals);
        let want = Outcome::Value(Measured::new(digits, unit).unwrap(), None);
        let bare = Sends::DecimalLine { with_unit: false };
        prop_assert_eq!(sent_and_read(bare, "decimal-line", digits, unit, unit), want.clone());
        let said = Sends::DecimalLine { with_unit: true };
        prop_assert_eq!(sent_and_read(said, "decimal-line", digits, unit, other(unit)), want.clone());
        let channel = Sends::ChannelLine { channel };
        prop_assert_eq!(sent_and_read(channel, "channel-line", digits, unit, unit), want);
    }

    #[test]
    fn bcd_comes_back_digit_by_digit(coefficient in -999_999_i64..=999_999, decimals in 0_u8..=5, unit in unit()) {
        let digits = Decimal::new(coefficient, decimals);
        let want = Outcome::Value(Measured::new(digits, unit).unwrap(), None);
        for form in FORMS {
            let found = sent_and_read(Sends::Bcd13(form), &name("bcd13", form), digits, unit, other(unit));
            prop_assert_eq!(found, want.clone());
        }
    }

    #[test]
    fn a_word_of_sign_and_magnitude_comes_back(steps in -0xf_ffff_i64..=0xf_ffff, unit in unit()) {
        let digits = if unit == Unit::Inch { Decimal::new(steps * 5, 4) } else { Decimal::new(steps, 2) };
        let want = Outcome::Value(Measured::new(digits, unit).unwrap(), None);
        for form in FORMS {
            let found = sent_and_read(Sends::Word24(form), &name("word24", form), digits, unit, other(unit));
            prop_assert_eq!(found, want.clone());
        }
    }

    #[test]
    fn two_words_come_back_with_their_origin(steps in -500_000_i64..=500_000, origin in -3_200_000_i32..=3_200_000, unit in unit()) {
        let digits = if unit == Unit::Inch { Decimal::new(steps * 5, 4) } else { Decimal::new(steps, 2) };
        let origin = Ticks(origin);
        let want = Outcome::Value(Measured::new(digits, unit).unwrap(), Some(origin.length()));
        for form in FORMS {
            let sends = Sends::Word48 { form, origin };
            let found = sent_and_read(sends, &name("word48", form), digits, unit, unit);
            prop_assert_eq!(found, want.clone());
        }
    }
}
