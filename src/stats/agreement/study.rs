//! A study of agreement: each appraiser with himself, with the reference, and all with each other.

use super::kappa::{Kappa, cohen_of_items, fleiss_of_pieces};
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
    /// The piece, where several items are of one.
    piece: Option<String>,
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
    /// Number of pieces that the items are of.
    pub pieces: u64,
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

const ONE_PIECE: Undefined = Undefined::NotApplicable {
    why: "several visual checks are of one piece, so they are not independent",
};

/// What was answered about an item, with the number of its piece.
#[derive(Debug, Clone)]
struct OfPiece<T> {
    piece: usize,
    given: T,
}

/// The share of items that agree, with its interval where each is of another piece.
fn share_of<T>(agreed: u64, items: &[OfPiece<T>]) -> Result<Share, Undefined> {
    let pieces: BTreeSet<usize> = items.iter().map(|item| item.piece).collect();
    if pieces.len() < items.len() {
        return Err(ONE_PIECE);
    }
    Share::of(agreed, number(items.len()), CONFIDENCE)
}

/// The comparison of two, by the pairs of answers about each item.
fn compare_two(names: (&str, &str), items: &[OfPiece<Pairs>], words: usize) -> Between {
    let is_equal =
        |item: &&OfPiece<Pairs>| item.given.iter().all(|(first, second)| first == second);
    let agreed = number(items.iter().filter(is_equal).count());
    let mut pieces: BTreeMap<usize, Pairs> = BTreeMap::new();
    for item in items {
        pieces.entry(item.piece).or_default().extend(&item.given);
    }
    let pieces: Vec<Pairs> = pieces.into_values().collect();
    Between {
        names: (names.0.to_owned(), names.1.to_owned()),
        agreed,
        items: number(items.len()),
        share: share_of(agreed, items),
        kappa: cohen_of_items(&pieces, words, CONFIDENCE),
    }
}

/// The comparison of several answers about each item, by the same appraiser or by all.
fn compare(names: (&str, &str), items: &[OfPiece<Vec<usize>>], words: usize) -> Between {
    let is_equal = |item: &&OfPiece<Vec<usize>>| {
        let first = item.given.first();
        item.given.iter().all(|answer| Some(answer) == first)
    };
    let counts = items.iter().map(|item| {
        let mut counts = vec![0_u32; words];
        for answer in &item.given {
            if let Some(count) = counts.get_mut(*answer) {
                *count += 1;
            }
        }
        counts
    });
    let pieces: Vec<usize> = items.iter().map(|item| item.piece).collect();
    let agreed = number(items.iter().filter(is_equal).count());
    Between {
        names: (names.0.to_owned(), names.1.to_owned()),
        agreed,
        items: number(items.len()),
        share: share_of(agreed, items),
        kappa: fleiss_of_pieces(&counts.collect::<Vec<_>>(), &pieces, CONFIDENCE),
    }
}

impl Answers {
    /// Adds an answer.
    pub fn push(&mut self, item: &str, appraiser: &str, answer: &str) {
        let item = self.items.entry(item.to_owned()).or_default();
        let by = item.by.entry(appraiser.to_owned()).or_default();
        by.push(answer.to_owned());
    }

    /// Says of which piece an item is, where several items may be of one: their answers are then not independent.
    pub fn of_piece(&mut self, item: &str, piece: &str) {
        let item = self.items.entry(item.to_owned()).or_default();
        item.piece = Some(piece.to_owned());
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

    /// For each item the number of its piece; an item of no named piece is one of its own.
    fn pieces(&self) -> Vec<usize> {
        let mut known: BTreeMap<&str, usize> = BTreeMap::new();
        let items = self.items.iter().enumerate();
        let of = items.map(|(nth, (_, item))| match &item.piece {
            Some(piece) => *known.entry(piece).or_insert(nth),
            None => nth,
        });
        of.collect()
    }

    /// All comparisons.
    pub fn study(&self) -> Study {
        let pieces = self.pieces();
        let all = self.items.values().zip(pieces.iter().copied());
        let answers = self.items.values();
        let appraisers: BTreeSet<&str> = answers
            .clone()
            .flat_map(|item| item.by.keys().map(String::as_str))
            .collect();
        let given = answers
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
            let items: Vec<OfPiece<Vec<usize>>> = all
                .clone()
                .map(|(item, piece)| OfPiece {
                    piece,
                    given: looks(item, name),
                })
                .filter(|item| item.given.len() > 1)
                .collect();
            (!items.is_empty()).then(|| compare((name, name), &items, words.len()))
        });
        let named: Vec<&str> = appraisers.iter().copied().collect();
        let pairs = named
            .iter()
            .enumerate()
            .flat_map(|(nth, a)| named.iter().skip(nth + 1).map(move |b| (*a, *b)));
        let between = pairs.map(|(a, b)| {
            let items = all.clone().filter_map(|(item, piece)| {
                let given = vec![(first(item, a)?, first(item, b)?)];
                Some(OfPiece { piece, given })
            });
            compare_two((a, b), &items.collect::<Vec<_>>(), words.len())
        });
        let together = (named.len() > 2).then(|| {
            let items = all.clone().filter_map(|(item, piece)| {
                let given: Option<Vec<usize>> =
                    named.iter().map(|name| first(item, name)).collect();
                Some(OfPiece {
                    piece,
                    given: given?,
                })
            });
            compare(("all", "all"), &items.collect::<Vec<_>>(), words.len())
        });
        let is_referred = answers.clone().any(|item| item.reference.is_some());
        let against = named.iter().filter(|_| is_referred).map(|name| {
            let items: Vec<OfPiece<Pairs>> = all
                .clone()
                .filter_map(|(item, piece)| {
                    let truth = item.reference.as_ref().map(at)?;
                    let looks = looks(item, name).into_iter();
                    let given: Pairs = looks.map(|look| (truth, look)).collect();
                    (!given.is_empty()).then_some(OfPiece { piece, given })
                })
                .collect();
            Against {
                missed: missed(&words, &items),
                all: compare_two((name, "reference"), &items, words.len()),
            }
        });
        Study {
            items: number(self.items.len()),
            pieces: number(pieces.iter().collect::<BTreeSet<_>>().len()),
            within: within.collect(),
            between: between.collect(),
            together,
            against: against.collect(),
            appraisers: named.iter().map(|name| (*name).to_owned()).collect(),
            words: words.iter().map(|word| (*word).to_owned()).collect(),
        }
    }
}

fn missed(words: &[&str], items: &[OfPiece<Pairs>]) -> Vec<(String, u64, u64)> {
    let counted = words.iter().enumerate().map(|(at, word)| {
        let is_of = |pairs: &&Pairs| pairs.first().is_some_and(|(truth, _)| *truth == at);
        let of = || items.iter().map(|item| &item.given).filter(is_of);
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
            Err(reason) => format!("no interval of the share: {}", reason.alone()),
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
        let agreement = self.agreement();
        if self.pieces == self.items {
            return agreement;
        }
        format!(
            "{agreement}; the {} visual checks are of {} pieces, and those of one piece are counted together",
            self.items, self.pieces
        )
    }

    fn agreement(&self) -> String {
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
