//! Does work on all processors, and returns the results in the order of the jobs.
//!
//! In: jobs, one after the other, and the work for each. Out: the results, in one place, in the order of the jobs.
//!
//! - The results are the same with any number of threads.
//! - Memory is bounded: a job is taken only while fewer than [`AHEAD`] for each thread are in progress.
//! - No thread outlives the call. A single job is done without a thread.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: threads, and a variable for tests"
)]

use crossbeam_channel::{Receiver, Sender, bounded};
use std::collections::VecDeque;
use std::num::NonZero;
use std::ops::ControlFlow;
use std::thread;

/// Number of bytes of a block. They fit into the second cache of a processor.
const BLOCK_BYTES: usize = 256 * 1024;
/// Number of jobs for each thread that are begun before their results are needed.
const AHEAD: usize = 3;

/// Sets number of threads and bytes of a block for tests: `5/64`.
const FOR_TESTS: &str = "TALLYJAW_TEST_WORKERS";

/// The number of threads, and the size of a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Workers {
    /// Number of threads.
    pub(crate) threads: usize,
    /// Number of bytes that are read for one job.
    pub(crate) block_bytes: usize,
}

/// A job, and the receiver of its result.
type Job<J, W> = (J, Sender<W>);

impl Workers {
    /// No other thread.
    pub(crate) const ONE: Self = Self {
        threads: 1,
        block_bytes: BLOCK_BYTES,
    };

    /// As many threads as there are processors that this process may use.
    pub(crate) fn of_machine() -> Self {
        let given = std::env::var(FOR_TESTS).ok();
        let given = given.as_deref().and_then(|given| given.split_once('/'));
        let number = |text: &str| text.parse().ok().filter(|number| *number > 0);
        Self {
            threads: given
                .and_then(|(threads, _)| number(threads))
                .unwrap_or_else(|| thread::available_parallelism().map_or(1, NonZero::get)),
            block_bytes: given
                .and_then(|(_, bytes)| number(bytes))
                .unwrap_or(BLOCK_BYTES),
        }
    }

    /// Does `work` for each job that `next` returns, and passes the results to `take` until that breaks off. `next` and
    /// `take` run on the calling thread.
    pub(crate) fn in_order<J: Send, W: Send, E>(
        self,
        next: impl FnMut() -> Option<J>,
        work: impl Fn(J) -> W + Sync,
        take: impl FnMut(W) -> Result<ControlFlow<()>, E>,
    ) -> Result<(), E> {
        in_order(self.threads, next, work, take)
    }
}

fn in_order<J: Send, W: Send, E>(
    threads: usize,
    mut next: impl FnMut() -> Option<J>,
    work: impl Fn(J) -> W + Sync,
    mut take: impl FnMut(W) -> Result<ControlFlow<()>, E>,
) -> Result<(), E> {
    let Some(first) = next() else {
        return Ok(());
    };
    let mut second = None;
    if threads > 1 {
        second = next();
    }
    let Some(second) = second else {
        let mut job = Some(first);
        while let Some(this) = job {
            if take(work(this))?.is_break() {
                break;
            }
            job = next();
        }
        return Ok(());
    };
    thread::scope(|scope| {
        let (jobs, waiting) = bounded::<Job<J, W>>(threads * AHEAD);
        for _ in 0..threads {
            let waiting: Receiver<Job<J, W>> = waiting.clone();
            let work = &work;
            scope.spawn(move || {
                for (job, done) in waiting {
                    let _ = done.send(work(job)); // After an early end nobody waits for it.
                }
            });
        }
        drop(waiting);
        let mut begun = VecDeque::new();
        let mut jobs_left = [first, second].into_iter().chain(std::iter::from_fn(next));
        let mut is_over = false;
        loop {
            while !is_over && begun.len() < threads * AHEAD {
                let Some(job) = jobs_left.next() else {
                    is_over = true;
                    break;
                };
                let (done, result) = bounded(1);
                is_over = jobs.send((job, done)).is_err(); // This happens only if every thread has panicked.
                begun.push_back(result);
            }
            let Some(result) = begun.pop_front() else {
                return Ok(());
            };
            // A thread that panicked gives no result; the scope then panics as well.
            let Ok(result) = result.recv() else {
                return Ok(());
            };
            if take(result)?.is_break() {
                return Ok(());
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::convert::Infallible;

    proptest! {
        #[test]
        fn results_come_in_the_order_of_the_jobs_up_to_where_it_is_broken_off(
            jobs in proptest::collection::vec(0_u64..2000, 0..60),
            stop in 0_usize..80,
            threads in 1_usize..6,
        ) {
            let mut given = jobs.iter().copied();
            let mut taken = Vec::new();
            let done = in_order(
                threads,
                || given.next(),
                // the work takes different times, so that jobs end in another order
                |job| (0..job * 20).fold(job, |sum, more| sum ^ std::hint::black_box(more) ^ more),
                |result| {
                    taken.push(result);
                    Ok::<_, Infallible>(if taken.len() == stop {
                        ControlFlow::Break(())
                    } else {
                        ControlFlow::Continue(())
                    })
                },
            );
            prop_assert_eq!(done, Ok(()));
            let most = if stop == 0 { jobs.len() } else { stop.min(jobs.len()) };
            prop_assert_eq!(&taken, &jobs[..most]);
        }
    }

    #[test]
    fn an_error_ends_the_work_and_no_more_jobs_are_taken() {
        let mut asked = 0_usize;
        let done = in_order(
            3,
            || {
                asked += 1;
                Some(asked)
            },
            |job| job,
            |result| {
                if result == 7 {
                    Err(result)
                } else {
                    Ok(ControlFlow::Continue(()))
                }
            },
        );
        assert_eq!(done, Err(7));
        assert!(asked <= 7 + 3 * AHEAD, "{asked}");
    }

    #[test]
    #[should_panic(expected = "a scoped thread panicked")]
    fn a_panic_in_the_work_is_not_swallowed() {
        let mut jobs = 0..10;
        let _ = in_order(
            2,
            || jobs.next(),
            |job| assert_ne!(job, 4),
            |()| Ok::<_, Infallible>(ControlFlow::Continue(())),
        );
    }
}
