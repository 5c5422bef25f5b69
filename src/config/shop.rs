//! Reads `[shop]`: what reports and labels say of the shop, and the time zone of all times that people read.

use super::ShopConfig;
use super::care::said;
use super::faults::{At, Fault, Faults, quoted};
use super::table::Table;
use crate::quantity::named;
use crate::spec::job::{LONGEST_WORDS, words};

/// More lines than an address has.
const MOST_LINES: usize = 8;

named! {
    /// The size of paper that pages are made for.
    pub enum PageSize {
        /// 210 mm × 297 mm.
        A4 = "A4",
        /// 8.5 in × 11 in.
        Letter = "Letter",
    }
}

/// The settings, and the name of the time zone, which is looked up by whoever may read files; all unset without this
/// section.
pub(super) fn read(root: &mut Table<'_>, faults: &mut Faults) -> (ShopConfig, Option<At<String>>) {
    let Some(mut table) = root.table(faults, "shop", "[shop]") else {
        return (ShopConfig::default(), None);
    };
    let name = said(&mut table, faults, "name");
    let lines = table.texts(faults, "address");
    let address = address(lines, faults);
    let sizes = PageSize::ALL.map(PageSize::name);
    let page_size = table.one_of(faults, "page_size", &sizes, PageSize::from_name);
    let zone = table.text(faults, "time_zone");
    table.finish(faults);
    let shop = ShopConfig {
        name,
        address,
        page_size: page_size.map(|size| size.value),
        zone: None,
    };
    (shop, zone)
}

fn address(lines: Vec<At<String>>, faults: &mut Faults) -> Vec<String> {
    if let Some(surplus) = lines.get(MOST_LINES) {
        let got = format!("{} lines in address", lines.len());
        faults.add(
            &surplus.place,
            Fault::new(got, format!("want at most {MOST_LINES}")),
        );
    }
    let line = |line: At<String>| match words(&line.value, LONGEST_WORDS) {
        Ok(words) => Some(words),
        Err(why) => {
            let got = format!("address has {}", quoted(&line.value));
            faults.add(&line.place, Fault::new(got, why.to_string()));
            None
        }
    };
    lines.into_iter().filter_map(line).collect()
}
