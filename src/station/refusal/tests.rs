//! Remedies of refusals.

use super::*;

#[test]
fn where_there_is_nothing_to_name_the_remedy_is_to_add_it() {
    let (station, known) = ("bench-1".to_owned(), Vec::new());
    let got = "caliper-1".to_owned();
    let unknown = Refusal::NoInstrument {
        got,
        station: station.clone(),
        known: known.clone(),
    };
    let message = "no instrument \"caliper-1\" at bench-1, and there is none";
    assert_eq!(unknown.to_string(), message);
    let unnamed = Refusal::WhichInstrument { station, known };
    let message = "no instrument named, and bench-1 has: none";
    assert_eq!(unnamed.to_string(), message);
    for refusal in [unknown, unnamed] {
        assert!(refusal.remedy().contains("tallyjaw listen PORT --write"));
    }
}
