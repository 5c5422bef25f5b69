//! The Parquet library panics on some damaged files. Here that is an error like any other.

use super::ReadError;
use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    /// Whether this thread reads a file that may be damaged.
    static IS_READING: Cell<bool> = const { Cell::new(false) };
}

/// The result of `read`. After an error its file must not be read further.
///
/// # Errors
/// If the library panics; its message is not printed.
pub(super) fn trapped<T>(read: impl FnOnce() -> T) -> Result<T, ReadError> {
    static QUIET: Once = Once::new();
    QUIET.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |about| {
            if !IS_READING.get() {
                before(about);
            }
        }));
    });
    IS_READING.set(true);
    let done = panic::catch_unwind(AssertUnwindSafe(read));
    IS_READING.set(false);
    done.map_err(|_| ReadError::Parquet {
        cause: "its parts contradict each other".to_owned(),
    })
}
