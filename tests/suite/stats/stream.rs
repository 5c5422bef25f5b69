//! Millions of readings in one pass.

use super::reference::assert_close;
use tallyjaw::quantity::Unit;
use tallyjaw::stats::random::Random;
use tallyjaw::stats::stream::Stream;
use tallyjaw::stats::{Sample, Undefined, chart, describe};

#[test]
fn a_stream_amounts_to_the_same_as_a_sample() {
    let mut random = Random::new(7);
    let bases: Vec<i64> = (0..20_000)
        .map(|_| {
            let steps = (random.next_bits() % 7) + (random.next_bits() % 7);
            1_560_000 + 10_000 * i64::try_from(steps).unwrap()
        })
        .collect();
    let mut stream = Stream::new(Unit::Millimetre);
    for base in &bases {
        stream.push(*base).unwrap();
    }
    let sample = Sample::from_bases(bases, Unit::Millimetre).unwrap();
    let summary = stream.summary(None).unwrap();
    assert_eq!(&summary, sample.summary());
    for row in describe::FIGURES {
        assert_eq!(
            (row.of)(&summary),
            (row.of)(sample.summary()),
            "{}",
            row.name
        );
    }
    let sigma = chart::moving_range_sigma(&sample).unwrap();
    assert_close("sigma", stream.within().unwrap().sigma, sigma, 1e-14);
}

#[test]
fn values_that_stand_on_no_grid_are_refused_before_memory_is_gone() {
    let mut stream = Stream::new(Unit::Millimetre);
    let refused = (0..3_000_000).find_map(|base| stream.push(base).err());
    assert_eq!(refused, Some(Undefined::TooLarge));
    assert_eq!(stream.count(), 1_048_577);
    assert_eq!(
        Stream::new(Unit::Millimetre).within().map(|_| ()),
        Err(Undefined::TooFew { got: 0, want: 2 })
    );
}
