//! Sequences of entries at one station, and the expected lines of the ledger.

use super::Step;
use super::Step::{
    Armed, By, Completed, Counted, Doubted, Loose, Refused, Restored, Resumed, Retracted, Stopped,
    ZeroOff,
};

/// The first entry has the number 1.
pub(super) const SEQUENCES: &[(&[Step], &[&str])] = &[
    (&[Armed, Counted(1)], &["1 open: #2 counted mara"]),
    (
        &[Armed, Counted(1), Doubted(1, 2), Completed(1)],
        &["1 settled 4: #2 doubted 3 mara"],
    ),
    (
        &[
            Armed,
            Counted(1),
            Doubted(1, 2),
            Retracted(1, 2),
            Completed(1),
        ],
        &["1 settled 5: #2 doubted 3 mara"],
    ),
    (
        &[
            Armed,
            Counted(1),
            Retracted(1, 2),
            Doubted(1, 2),
            Completed(1),
        ],
        &["1 settled 5: #2 retracted 3 mara"],
    ),
    (
        &[
            Armed,
            Counted(1),
            Retracted(1, 2),
            Restored(1, 2),
            Completed(1),
        ],
        &["1 settled 5: #2 counted mara"],
    ),
    (
        &[
            Armed,
            Counted(1),
            Retracted(1, 2),
            Restored(1, 2),
            Doubted(1, 2),
        ],
        &["1 open: #2 doubted 5 mara"],
    ),
    (
        &[
            Armed,
            Counted(1),
            Retracted(1, 2),
            Restored(1, 2),
            Retracted(1, 2),
        ],
        &["1 open: #2 retracted 5 mara"],
    ),
    (
        &[Armed, Counted(1), Doubted(1, 2), Restored(1, 2)],
        &["1 open: #2 doubted 3 mara"],
    ),
    (
        &[Armed, Refused(1), Doubted(1, 2), Retracted(1, 2), Loose],
        &["1 open: #2 not_counted zero_due mara"],
    ),
    (
        &[
            Armed,
            Counted(1),
            By(1),
            Counted(1),
            Doubted(1, 2),
            Doubted(1, 2),
        ],
        &["1 open: #2 doubted 5 mara #4 counted jon"],
    ),
    // A settled series changes no more, and a reading of another series changes nothing.
    (
        &[Armed, Counted(1), Completed(1), Retracted(1, 2), Resumed(1)],
        &["1 settled 3: #2 counted mara"],
    ),
    (
        &[Armed, Counted(1), Stopped(1), Armed, Retracted(4, 2)],
        &["1 stopped: #2 counted mara", "4 open:"],
    ),
    // Stopped early, then resumed.
    (
        &[
            Armed,
            Counted(1),
            Stopped(1),
            Armed,
            Resumed(1),
            Counted(1),
            Retracted(1, 6),
        ],
        &["1 open: #2 counted mara #6 retracted 7 nobody", "4 open:"],
    ),
    (
        &[Armed, Counted(1), Stopped(1), Armed, Counted(4), Resumed(1)],
        &["1 settled 5: #2 counted mara", "4 open: #5 counted mara"],
    ),
    (
        &[
            Armed,
            Stopped(1),
            Armed,
            Refused(3),
            Loose,
            Resumed(1),
            Completed(1),
        ],
        &["1 settled 7:", "3 open: #4 not_counted zero_due mara"],
    ),
    (
        &[Armed, Stopped(1), Armed, ZeroOff, Resumed(1)],
        &["1 settled 4:", "3 open:"],
    ),
    (
        &[Armed, Stopped(1), Armed, Completed(3), Armed],
        &["3 settled 4:", "1 settled 5:", "5 open:"],
    ),
    (
        &[Armed, Stopped(1), Armed, Stopped(3), Armed],
        &["1 settled 4:", "3 stopped:", "5 open:"],
    ),
];
