//! The bodies of the fuzz engine, run over the inputs in `tests/corpus`.
//!
//! An input that broke something is added there under a name that says what, before the code is corrected.

mod bodies;

use std::fs;
use std::path::{Path, PathBuf};

fn corpus(body: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/corpus")
        .join(body);
    let mut files: Vec<_> = fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|item| item.unwrap().path())
        .collect();
    files.sort();
    files
}

#[test]
fn every_body_holds_for_every_input_of_its_corpus() {
    for (name, body) in bodies::BODIES {
        let files = corpus(name);
        assert!(files.len() >= 10, "{name}: only {} inputs", files.len());
        for file in files {
            let input = fs::read(&file).unwrap();
            // Shown only if the body panics.
            println!("{}", file.display());
            body(&input);
        }
    }
}
