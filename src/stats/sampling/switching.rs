//! Switching rules: how severely the next lot is inspected, by what became of the lots before it.
//!
//! Source: ISO 2859-1:1999, 9.3, from memory. What the standard leaves to persons stays with them: reduced inspection
//! begins only where it was allowed, and production that is irregular ends it when somebody says so.

use crate::quantity::named;

/// Lots that are looked back at from normal and from tightened inspection.
const LOOKED_BACK: usize = 5;
/// Lots not accepted among these that lead to tightened inspection.
const REFUSED: usize = 2;
/// Lots not accepted on tightened inspection that end inspection.
const REFUSED_TIGHTENED: u32 = 5;
/// The switching score with which reduced inspection may begin.
const SCORE: u32 = 30;

named! {
    /// How severely a lot is inspected.
    pub enum Severity {
        /// As the acceptance quality limit says.
        Normal = "normal",
        /// By the next tighter acceptance quality limit.
        Tightened = "tightened",
        /// By a smaller sample.
        Reduced = "reduced",
        /// Not at all until the supplier has improved the process: no lot is accepted.
        Discontinued = "discontinued",
    }
}

/// What became of a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged {
    /// Whether it was accepted.
    pub is_accepted: bool,
    /// By how much the switching score grows, if it is accepted under normal inspection; 0 sets it back.
    pub score: u32,
}

/// The state of the switching rules.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Switching {
    severity: Severity,
    /// Whether reduced inspection is allowed.
    allows_reduced: bool,
    /// Whether each of the newest lots under this severity was accepted.
    recent: Vec<bool>,
    score: u32,
    refused_tightened: u32,
}

impl Switching {
    /// The beginning: normal inspection.
    pub fn new(allows_reduced: bool) -> Self {
        Self {
            severity: Severity::Normal,
            allows_reduced,
            recent: Vec::new(),
            score: 0,
            refused_tightened: 0,
        }
    }

    /// How severely the next lot is inspected.
    pub fn severity(&self) -> Severity {
        self.severity
    }

    /// The switching score.
    pub fn score(&self) -> u32 {
        self.score
    }

    /// Takes the next lot, and says why the severity changes, if it does.
    pub fn take(&mut self, judged: Judged) -> Option<&'static str> {
        self.recent.push(judged.is_accepted);
        if self.recent.len() > LOOKED_BACK {
            self.recent.remove(0);
        }
        let refused = self.recent.iter().filter(|accepted| !**accepted).count();
        let (to, why) = match self.severity {
            Severity::Normal => {
                self.score = if judged.is_accepted && judged.score > 0 {
                    self.score + judged.score
                } else {
                    0
                };
                if refused >= REFUSED {
                    self.refused_tightened = 0;
                    let why = "2 of 5 or fewer consecutive lots were not accepted";
                    (Severity::Tightened, why)
                } else if self.score >= SCORE && self.allows_reduced {
                    let why =
                        "the switching score is 30 or more, and reduced inspection is allowed";
                    (Severity::Reduced, why)
                } else {
                    return None;
                }
            }
            Severity::Tightened => {
                self.refused_tightened += u32::from(!judged.is_accepted);
                if self.refused_tightened >= REFUSED_TIGHTENED {
                    let why = "5 lots were not accepted on tightened inspection";
                    (Severity::Discontinued, why)
                } else if refused == 0 && self.recent.len() == LOOKED_BACK {
                    (Severity::Normal, "5 consecutive lots were accepted")
                } else {
                    return None;
                }
            }
            Severity::Reduced if !judged.is_accepted => {
                (Severity::Normal, "a lot was not accepted")
            }
            Severity::Reduced | Severity::Discontinued => return None,
        };
        self.switch(to);
        Some(why)
    }

    fn switch(&mut self, to: Severity) {
        self.severity = to;
        self.recent.clear();
        self.score = 0;
    }
}
