//! The line drawings of visual checks, as the page takes them.

use super::http::{address, get, shop};
use tallyjaw::spec::question::LOOKS;

#[test]
fn every_customary_check_is_drawn_as_a_symbol_of_its_name_that_takes_the_colour_of_its_page() {
    let shop = shop();
    let daemon = shop.start();
    let answer = get(&address(&daemon), "/drawings.svg");
    assert_eq!(answer.status, 200, "{answer:?}");
    assert_eq!(answer.headers["content-type"], "image/svg+xml");
    let read = roxmltree::Document::parse(&answer.body).unwrap();
    let symbols = read
        .root_element()
        .children()
        .filter(roxmltree::Node::is_element);
    let names: Vec<_> = symbols.filter_map(|one| one.attribute("id")).collect();
    assert_eq!(names, LOOKS.map(|look| look.name));
    for element in read.descendants().filter(roxmltree::Node::is_element) {
        for colour in ["fill", "stroke"] {
            let got = element.attribute(colour).unwrap_or("none");
            assert!(["none", "currentColor"].contains(&got), "{got}");
        }
        assert_eq!(element.attribute("style"), None, "the page's policy");
    }
}
