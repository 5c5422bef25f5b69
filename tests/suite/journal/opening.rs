//! What can prevent opening a journal, and how much of it is read.

use super::bench::{names, options, reopen, reopen_error, segment, shop, stopped, write};
use std::fs;
use std::os::unix::fs::symlink;
use std::process::Command;
use tallyjaw::entry::Seq;
use tallyjaw::journal::{JournalError, Options, open};

#[test]
fn a_second_daemon_is_told_who_holds_the_journal() {
    let folder = tempfile::tempdir().unwrap();
    let first = reopen(folder.path());
    let error = reopen_error(folder.path());
    let pid = std::process::id();
    let path = folder.path().join("lock");
    assert_eq!(
        error.to_string(),
        format!("{} is held by another daemon, pid {pid}", path.display())
    );
    assert!(error.remedy().unwrap().contains("stop it first"));
    drop(first);
    reopen(folder.path());
}

#[test]
fn a_lock_file_without_a_holder_stands_in_nobodys_way() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(
        folder.path().join("lock"),
        "4194304\nleft by a killed process",
    )
    .unwrap();
    let opened = reopen(folder.path());
    let (journal, (last, digest)) = (opened.journal.clone(), opened.tail);
    drop(opened);
    let text = fs::read_to_string(folder.path().join("lock")).unwrap();
    let pid = std::process::id();
    assert_eq!(text, format!("{pid}\n{journal} {last} {digest}\n"));
}

#[test]
fn symbolic_links_and_other_things_in_place_of_the_journal_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let real = folder.path().join("real");
    shop(&real);
    let check = |state_dir: &std::path::Path, want: &str| {
        let error = reopen_error(state_dir);
        assert!(matches!(error, JournalError::WrongKind { .. }), "{error}");
        assert!(error.to_string().ends_with(want), "{error}");
        assert!(error.remedy().is_some());
    };

    let linked = folder.path().join("linked");
    fs::create_dir(&linked).unwrap();
    symlink(real.join("journal"), linked.join("journal")).unwrap();
    check(&linked, "journal is a symbolic link, want a folder");

    let plain = folder.path().join("plain");
    fs::create_dir(&plain).unwrap();
    fs::write(plain.join("journal"), "").unwrap();
    check(&plain, "journal is a file, want a folder");

    let linked_file = folder.path().join("linked-file");
    fs::create_dir_all(linked_file.join("journal")).unwrap();
    symlink(segment(&real, 1), segment(&linked_file, 1)).unwrap();
    check(
        &linked_file,
        "00000001.jsonl is a symbolic link, want a regular file",
    );

    let piped = folder.path().join("piped");
    fs::create_dir_all(piped.join("journal")).unwrap();
    let made = Command::new("mkfifo").arg(segment(&piped, 1)).status();
    assert!(made.unwrap().success());
    check(
        &piped,
        "00000001.jsonl is a device, pipe or socket, want a regular file",
    );

    let nested = folder.path().join("nested");
    fs::create_dir_all(segment(&nested, 1)).unwrap();
    check(&nested, "00000001.jsonl is a folder, want a regular file");
}

#[test]
fn other_files_beside_the_segments_are_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let live = shop(folder.path());
    let journal = folder.path().join("journal");
    for name in [
        "1.jsonl",
        "00000000.jsonl",
        "00000009.jsonl.bak",
        "README",
        "0000000x.jsonl",
    ] {
        fs::write(journal.join(name), "mine").unwrap();
    }
    let before = names(folder.path());
    assert_eq!(reopen(folder.path()).state, live);
    assert_eq!(names(folder.path()), before);
}

#[test]
fn a_line_of_a_newer_release_is_refused_by_name_and_nothing_is_written() {
    for (from, to, said) in [
        (
            "\"v\":1,\"seq\":2",
            "\"v\":2,\"seq\":2",
            "entry of version 2, want at most 1",
        ),
        (
            "\"kind\":\"stopped\"",
            "\"kind\":\"hummed\"",
            "unknown kind of entry \"hummed\"",
        ),
    ] {
        let folder = tempfile::tempdir().unwrap();
        write(reopen(folder.path()), &[stopped(Seq(2), "a")]);
        let path = segment(folder.path(), 1);
        let text = fs::read_to_string(&path).unwrap().replace(from, to);
        fs::write(&path, &text).unwrap();
        let error = reopen_error(folder.path());
        assert_eq!(error.to_string(), format!("00000001.jsonl:2: {said}"));
        assert!(error.remedy().unwrap().contains("release"), "{error:?}");
        let accepting = Options {
            accept_damage: Some(Seq(2)),
            ..options()
        };
        assert!(matches!(
            open(folder.path(), accepting),
            Err(JournalError::Newer { .. })
        ));
        assert_eq!(fs::read_to_string(&path).unwrap(), text);
    }
}

/// Bytes that this thread has read from files so far, as the kernel counts them.
fn bytes_read() -> u64 {
    let text = fs::read_to_string("/proc/thread-self/io").unwrap();
    let line = text.lines().find_map(|line| line.strip_prefix("rchar: "));
    line.unwrap().parse().unwrap()
}

#[test]
fn opening_reads_the_last_segment_and_no_more_than_a_line_of_the_others() {
    let folder = tempfile::tempdir().unwrap();
    let live = shop(folder.path());
    // Old segments of a large journal: only their first and last lines are read.
    let first = segment(folder.path(), 1);
    let text = fs::read_to_string(&first).unwrap();
    let (head, rest) = text.split_once('\n').unwrap();
    let padding = format!("{}\n", "#".repeat(1000)).repeat(30_000);
    fs::write(&first, format!("{head}\n{padding}{rest}")).unwrap();
    let second = fs::metadata(segment(folder.path(), 2)).unwrap().len();
    let third = fs::metadata(segment(folder.path(), 3)).unwrap().len();

    let before = bytes_read();
    let opened = reopen(folder.path());
    let read = bytes_read() - before;
    assert_eq!(opened.state, live);
    assert!(read < second + third + 20_000, "{read} bytes were read");
    assert!(fs::metadata(&first).unwrap().len() > 30_000_000);
}
