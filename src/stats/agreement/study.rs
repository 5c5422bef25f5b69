//! A study of agreement: each appraiser with himself, with the reference, and all with each other.

use super::kappa::{Kappa, cohen_of_items, fleiss};
use crate::stats::proportion::Share;
use crate::stats::text::fixed;
use crate::stats::{CONFIDENCE, Undefined};
use std::collections::{BTreeMap, BTreeSet};

/// Answers about items.
#[derive(Debug, Clone, Default)]
pub struct Answers {
    /// For each item: its reference answer, and the answers of each appraiser in order.
    items: BTreeMap<String, ItemAnswers>,
}

#[derive(Debug, Clone, Default)]
struct ItemAnswers {
    reference: Option<String>,
    by: BTreeMap<String, Vec<String>>,
}

/// The answers of two appraisers about the same items.
#[derive(Debug, Clone)]
pub struct Between {
    /// Their names; the second is the same for an appraiser with himself.
    pub names: (String, String),
    /// Items with all answers equal.
    pub agreed: u64,
    /// Items that both looked at.
    pub items: u64,
    /// The share of these, with its exact interval.
    pub share: Result<Share, Undefined>,
    /// Cohen's kappa of two, Fleiss' of several looks.
    pub kappa: Result<Kappa, Undefined>,
}

/// An appraiser against the reference.
#[derive(Debug, Clone)]
pub struct Against {
    /// Items of which every look is as the reference; kappa is of all looks.
    pub all: Between,
    /// For each answer of the reference: how many of its items the appraiser answered otherwise at least once, of how
    /// many.
    pub missed: Vec<(String, u64, u64)>,
}

/// All comparisons.
#[derive(Debug, Clone)]
pub struct Study {
    /// The appraisers.
    pub appraisers: Vec<String>,
    /// The words that were answered.
    pub words: Vec<String>,
    /// Number of items.
    pub items: u64,
    /// Each appraiser with himself, where items were looked at more than once.
    pub within: Vec<Between>,
    /// Each two appraisers, by their first looks.
    pub between: Vec<Between>,
    /// All appraisers together, by their first looks at items that all looked at.
    pub together: Option<Between>,
    /// Each appraiser against the reference.
    pub against: Vec<Against>,
}

/// The answers of two about an item, of each look.
type Pairs = Vec<(usize, usize)>;

fn number(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}

/// The comparison of two, by the pairs of answers about each item.
fn compare_two(names: (&str, &str), items: &[Pairs], words: usize) -> Between {
    let is_equal = |pairs: &&Pairs| pairs.iter().all(|(first, second)| first == second);
    let agreed = number(items.iter().filter(is_equal).count());
    let kappa = cohen_of_items(items, words, CONFIDENCE);
    Between::of(names, (agreed, number(items.len())), kappa)
}

/// The comparison of several answers about each item, by the same appraiser or by all.
fn compare(names: (&str, &str), items: &[Vec<usize>], words: usize) -> Between {
    let is_equal = |answers: &&Vec<usize>| {
        let first = answers.first();
        answers.iter().all(|answer| Some(answer) == first)
    };
    let counts = items.iter().map(|answers| {
        let mut counts = vec![0_u32; words];
        for answer in answers {
            if let Some(count) = counts.get_mut(*answer) {
                *count += 1;
            }
        }
        counts
    });
    let kappa = fleiss(&counts.collect::<Vec<_>>(), CONFIDENCE);
    let agreed = number(items.iter().filter(is_equal).count());
    Between::of(names, (agreed, number(items.len())), kappa)
}

impl Between {
    fn of(
        names: (&str, &str),
        (agreed, count): (u64, u64),
        kappa: Result<Kappa, Undefined>,
    ) -> Self {
        Self {
            names: (names.0.to_owned(), names.1.to_owned()),
            agreed,
            items: count,
            share: Share::of(agreed, count, CONFIDENCE),
            kappa,
        }
    }
}

impl Answers {
    /// Adds an answer.
    pub fn push(&mut self, item: &str, appraiser: &str, answer: &str) {
        let item = self.items.entry(item.to_owned()).or_default();
        let by = item.by.entry(appraiser.to_owned()).or_default();
        by.push(answer.to_owned());
    }

    /// Gives the reference answer of an item. Returns one that it has already, if that differs.
    pub fn refer(&mut self, item: &str, answer: &str) -> Option<String> {
        let item = self.items.entry(item.to_owned()).or_default();
        let known = item.reference.get_or_insert_with(|| answer.to_owned());
        (known != answer).then(|| known.clone())
    }

    /// Whether there is no answer.
    pub fn is_empty(&self) -> bool {
        self.items.is_empty()
    }

    /// All comparisons.
    pub fn study(&self) -> Study {
        let all = self.items.values();
        let appraisers: BTreeSet<&str> = all
            .clone()
            .flat_map(|item| item.by.keys().map(String::as_str))
            .collect();
        let given = all
            .clone()
            .flat_map(|item| item.by.values().flatten().chain(&item.reference));
        let words: BTreeSet<&str> = given.map(String::as_str).collect();
        let words: Vec<&str> = words.into_iter().collect();
        let at = |answer: &String| words.iter().position(|word| word == answer).unwrap_or(0);
        let looks = |item: &ItemAnswers, name: &str| -> Vec<usize> {
            item.by.get(name).into_iter().flatten().map(at).collect()
        };
        let first = |item: &ItemAnswers, name: &str| looks(item, name).first().copied();
        let within = appraisers.iter().filter_map(|name| {
            let items: Vec<Vec<usize>> = all
                .clone()
                .map(|item| looks(item, name))
                .filter(|looks| looks.len() > 1)
                .collect();
            (!items.is_empty()).then(|| compare((name, name), &items, words.len()))
        });
        let named: Vec<&str> = appraisers.iter().copied().collect();
        let pairs = named
            .iter()
            .enumerate()
            .flat_map(|(nth, a)| named.iter().skip(nth + 1).map(move |b| (*a, *b)));
        let between = pairs.map(|(a, b)| {
            let items = all
                .clone()
                .filter_map(|item| Some(vec![(first(item, a)?, first(item, b)?)]));
            compare_two((a, b), &items.collect::<Vec<_>>(), words.len())
        });
        let together = (named.len() > 2).then(|| {
            let items = all
                .clone()
                .filter_map(|item| named.iter().map(|name| first(item, name)).collect());
            compare(("all", "all"), &items.collect::<Vec<_>>(), words.len())
        });
        let is_referred = all.clone().any(|item| item.reference.is_some());
        let against = named.iter().filter(|_| is_referred).map(|name| {
            let items: Vec<Pairs> = all
                .clone()
                .filter_map(|item| Some((item.reference.as_ref().map(at)?, looks(item, name))))
                .map(|(truth, looks)| looks.into_iter().map(|look| (truth, look)).collect())
                .filter(|pairs: &Pairs| !pairs.is_empty())
                .collect();
            Against {
                missed: missed(&words, &items),
                all: compare_two((name, "reference"), &items, words.len()),
            }
        });
        Study {
            items: number(self.items.len()),
            within: within.collect(),
            between: between.collect(),
            together,
            against: against.collect(),
            appraisers: named.iter().map(|name| (*name).to_owned()).collect(),
            words: words.iter().map(|word| (*word).to_owned()).collect(),
        }
    }
}

fn missed(words: &[&str], items: &[Pairs]) -> Vec<(String, u64, u64)> {
    let counted = words.iter().enumerate().map(|(at, word)| {
        let is_of = |pairs: &&Pairs| pairs.first().is_some_and(|(truth, _)| *truth == at);
        let of = || items.iter().filter(is_of);
        let wrong = of().filter(|pairs| pairs.iter().any(|(_, look)| *look != at));
        let wrong = number(wrong.count());
        ((*word).to_owned(), wrong, number(of().count()))
    });
    counted.filter(|(_, _, of)| *of > 0).collect()
}

impl Between {
    /// `18 of 20 the same, 90.0 % (68.3 % to 98.8 %), kappa 0.78 (0.52 to 0.91)`.
    pub fn words(&self) -> String {
        let share = match self.share {
            Ok(share) => {
                let [share, low, high] = share.percent();
                format!("{share} ({low} to {high})")
            }
            Err(reason) => format!("no share: {reason}"),
        };
        let kappa = match self.kappa {
            Ok(kappa) => {
                let value = fixed(kappa.value, 3);
                match kappa.bounds {
                    Ok((low, high)) => {
                        let rare = if kappa.is_rare {
                            "; an answer is rare, so the upper end may be too low"
                        } else {
                            ""
                        };
                        let (low, high) = (fixed(low, 3), fixed(high, 3));
                        format!("kappa {value} ({low} to {high}{rare})")
                    }
                    Err(reason) => format!("kappa {value} (no interval: {reason})"),
                }
            }
            Err(reason) => format!("kappa –  ({reason})"),
        };
        format!(
            "{} of {} the same, {share}, {kappa}",
            self.agreed, self.items
        )
    }
}

impl Study {
    /// Which kappas are shown to be above 0, in words.
    pub fn sentence(&self) -> String {
        let main = self.together.as_ref().or(self.between.first());
        let Some(main) = main else {
            return "one appraiser alone: nobody to agree with".to_owned();
        };
        match main.kappa {
            Ok(Kappa { bounds: Ok((low, _)), .. }) if low > 0.0 => {
                "the appraisers agree more than by chance (lower 95 % confidence bound of kappa above 0)".to_owned()
            }
            Ok(Kappa { bounds: Ok(_), .. }) => {
                "it is not shown that the appraisers agree more than by chance (the interval of kappa holds 0)".to_owned()
            }
            Ok(Kappa { bounds: Err(reason), .. }) | Err(reason) => {
                format!("kappa has no interval: {reason}")
            }
        }
    }
}
