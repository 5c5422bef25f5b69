//! Reads `[[study]]`: studies that are saved under a name.

use super::faults::{At, Fault, Faults, Role, quoted};
use super::plan::RawPlan;
use super::table::Table;
use super::value::unique;
use crate::quantity::{Period, did_you_mean};

/// The most periods, and how many there are where none is said.
const MOST_PERIODS: u32 = 120;
const USUAL_PERIODS: u32 = 4;
/// No study takes more words.
const MOST_WORDS: usize = 100;

/// A study that is saved under a name. Its words are those of the command line; who runs it reads them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SavedStudy {
    /// Its name.
    pub name: String,
    /// The study and its options: `["capability", "--axis", "core_crimp_height"]`.
    pub command: Vec<String>,
    /// It is run for each of these plans; once, for any plan, if there is none.
    pub plans: Vec<String>,
    /// It is run for each of the last periods, and how many of them; once, for any time, if there are none.
    pub periods: Option<(Period, u32)>,
}

/// A saved study with the places of its plans.
#[derive(Debug)]
pub(super) struct RawStudy {
    pub(super) study: SavedStudy,
    plans: Vec<At<String>>,
}

pub(super) fn read(root: &mut Table<'_>, faults: &mut Faults) -> Vec<RawStudy> {
    let mut studies = Vec::new();
    for table in root.tables(faults, "study", "[[study]]") {
        studies.extend(study(table, faults));
    }
    let studies = unique(faults, "study", studies, |study| &study.value.study.name);
    studies.into_iter().map(|study| study.value).collect()
}

fn study(mut table: Table<'_>, faults: &mut Faults) -> Option<At<RawStudy>> {
    let name = table.required_name(faults, "name", "\"weekly\"");
    let command = command(&mut table, faults);
    let plans = table.texts(faults, "plans");
    let every = table.one_of(
        faults,
        "every",
        &Period::ALL.map(Period::name),
        Period::from_name,
    );
    let count = table.whole(faults, "periods", 1..=MOST_PERIODS);
    if let (None, Some(count)) = (&every, &count) {
        let fault = Fault::new("periods without every", "want every = \"week\" beside it");
        faults.add(&count.place, fault.help("or leave periods out"));
    }
    table.finish(faults);
    let (name, command) = (name?, command?);
    let count = count.map_or(USUAL_PERIODS, |count| count.value);
    let study = SavedStudy {
        name: name.value,
        command,
        plans: plans.iter().map(|plan| plan.value.clone()).collect(),
        periods: every.map(|every| (every.value, count)),
    };
    Some(At {
        value: RawStudy { study, plans },
        place: name.place,
    })
}

fn command(table: &mut Table<'_>, faults: &mut Faults) -> Option<Vec<String>> {
    let example = "[\"capability\", \"--axis\", \"core_crimp_height\"]";
    if let Some(place) = table.empty_list("command") {
        let fault = Fault::new("command is an empty list", format!("want {example}"));
        faults.add(&place, fault);
        table.taken("command");
        return None;
    }
    if !table.has("command") {
        table.missing(faults, "command", example);
        return None;
    }
    let words = table.texts(faults, "command");
    if let Some(surplus) = words.get(MOST_WORDS) {
        let got = format!("{} words in command", words.len());
        let fault = Fault::new(got, format!("want at most {MOST_WORDS}"));
        faults.add(&surplus.place, fault);
    }
    let first = words.first()?;
    if let Some((study, _)) = first.value.split_once(' ') {
        let got = format!("the study is {}", quoted(&first.value));
        let fault = Fault::new(got, "want each word as a text of its own");
        faults.add(
            &first.place,
            fault.help(format!("command = [{}, …]", quoted(study))),
        );
    }
    Some(words.into_iter().map(|word| word.value).collect())
}

/// Reports plans that do not exist.
pub(super) fn references(studies: &[RawStudy], plans: &[RawPlan], faults: &mut Faults) {
    if faults.is_incomplete(Role::Plans) {
        return;
    }
    let ids: Vec<&str> = plans.iter().map(|plan| plan.id.value.as_str()).collect();
    let named = studies.iter().flat_map(|study| &study.plans);
    for plan in named.filter(|plan| !ids.contains(&plan.value.as_str())) {
        let got = format!("no plan {}", quoted(&plan.value));
        let fault = Fault::new(got, "want the id of a [[plan]]");
        faults.add(&plan.place, fault.help(did_you_mean(&plan.value, &ids)));
    }
}
