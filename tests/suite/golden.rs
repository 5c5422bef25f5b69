//! Compares output with the files in `tests/golden`.

use std::env;
use std::fs;
use std::path::PathBuf;

pub(crate) fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/golden")
}

/// Asserts that `got` equals the file `name`. With `TALLYJAW_GOLDEN=write` the file is written instead; read its
/// difference before you commit it.
pub(crate) fn assert_same(name: &str, got: &str) {
    let path = folder().join(name);
    if env::var("TALLYJAW_GOLDEN").is_ok_and(|word| word == "write") {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, got).unwrap();
        return;
    }
    let want =
        fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let lines = got.lines().zip(want.lines());
    for (at, (got, want)) in lines.enumerate() {
        assert_eq!(got, want, "line {} of {name}", at + 1);
    }
    assert_eq!(got.len(), want.len(), "{name} has another length");
}
