//! Reads `[qualification]`: the rule by which a terminal on a wire is shown with a tool and its nest.

use super::faults::{Fault, Faults, quoted};
use super::table::Table;
use super::value::factor_milli;
use crate::spec::QualificationRule;

/// With fewer pieces distribution and stability cannot be tested, so that no index is demonstrated.
const FEWEST: u32 = 20;
/// The most pieces of a plan.
const MOST: u32 = crate::spec::resolve::MOST_PIECES;
/// Ten years.
const MOST_MONTHS: u32 = 120;

/// The rule; `None` without this section.
pub(super) fn read(root: &mut Table<'_>, faults: &mut Faults) -> Option<QualificationRule> {
    let mut table = root.table(faults, "qualification", "[qualification]")?;
    let usual = QualificationRule::default();
    let pieces = table.whole(faults, "pieces", FEWEST..=MOST);
    let ppk = table.number_text(faults, "ppk");
    let ppk_hundredths = ppk.and_then(|text| {
        let milli = factor_milli(&text.value).filter(|milli| milli % 10 == 0);
        if milli.is_none() {
            let got = format!("ppk is {}", quoted(&text.value));
            let want = "want more than 0 and at most 10, with no more than two digits after the point, such as 1.33";
            faults.add(&text.place, Fault::new(got, want));
        }
        milli.map(|milli| milli / 10)
    });
    let pull = table.boolean(faults, "pull");
    let months = table.whole(faults, "months", 1..=MOST_MONTHS);
    let require = table.boolean(faults, "require");
    table.finish(faults);
    Some(QualificationRule {
        pieces: pieces.map_or(usual.pieces, |pieces| pieces.value),
        ppk_hundredths: ppk_hundredths.unwrap_or(usual.ppk_hundredths),
        pull: pull.map_or(usual.pull, |pull| pull.value),
        months: months.map_or(usual.months, |months| months.value),
        require: require.map_or(usual.require, |require| require.value),
    })
}
