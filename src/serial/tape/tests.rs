//! Tests that tapes are written, read, cut short, and refused when hostile.

use super::*;
use proptest::prelude::*;

fn head() -> Header {
    Header {
        at: "2026-11-25T09:14:03.120456Z".parse().unwrap(),
        line: "4800 7E2".parse().unwrap(),
        port: Some("/dev/ttyUSB0".to_owned()),
        instrument: Some("caliper-1".to_owned()),
        format: Some("decimal-line".to_owned()),
    }
}

fn written(marks: &[Timed]) -> Vec<u8> {
    let mut recorder = Recorder::new(Vec::new(), &head()).unwrap();
    for timed in marks {
        recorder.write(timed.micros, &timed.mark).unwrap();
    }
    recorder.into_inner()
}

/// All marks, and whether the tape was cut short.
fn read(tape: &[u8]) -> Result<(Vec<Timed>, bool), TapeError> {
    let mut player = Player::new(tape)?;
    let mut marks = Vec::new();
    while let Some(timed) = player.next_mark()? {
        marks.push(timed);
    }
    Ok((marks, player.is_cut_short()))
}

fn press() -> Vec<Timed> {
    let mark = |micros, mark| Timed { micros, mark };
    vec![
        mark(
            0,
            Mark::Opened {
                port: "/dev/ttyUSB0".to_owned(),
            },
        ),
        mark(20, Mark::Stale(b"+9.99\r".to_vec())),
        mark(1_234_567, Mark::Bytes(b"+1.63\r".to_vec())),
        mark(1_300_000, Mark::Contact { closed: true }),
        mark(1_300_000, Mark::Contact { closed: false }),
        mark(
            2_000_000,
            Mark::Closed {
                reason: "unplugged".to_owned(),
            },
        ),
    ]
}

#[test]
fn a_tape_is_the_text_of_the_notes_and_reads_back() {
    let tape = written(&press());
    assert_eq!(
        String::from_utf8(tape.clone()).unwrap(),
        "tallyjaw tape 1\n\
         at 2026-11-25T09:14:03.120456Z\n\
         line 4800 7E2\n\
         port /dev/ttyUSB0\n\
         instrument caliper-1\n\
         format decimal-line\n\
         \n\
         0 open /dev/ttyUSB0\n\
         20 stale 2b392e39390d\n\
         1234567 bytes 2b312e36330d\n\
         1300000 contact closed\n\
         1300000 contact open\n\
         2000000 close unplugged\n"
    );
    assert_eq!(read(&tape).unwrap(), (press(), false));
    assert_eq!(*Player::new(tape.as_slice()).unwrap().header(), head());
}

#[test]
fn a_tape_of_a_killed_recording_reads_up_to_its_last_whole_line() {
    let whole = written(&press());
    let head_len = written(&[]).len();
    for len in head_len..whole.len() {
        let (marks, cut_short) = read(&whole[..len]).unwrap();
        assert!(press().starts_with(&marks));
        assert_eq!(cut_short, whole[len - 1] != b'\n', "{len} bytes");
    }
}

#[test]
fn what_is_wrong_with_a_tape_is_said_with_its_line() {
    let says = |tape: &str| read(tape.as_bytes()).unwrap_err().to_string();
    let head = "tallyjaw tape 1\nat 2026-11-25T09:14:03Z\nline 9600 8N1\n\n";
    assert!(says("").starts_with("no tape"));
    assert!(says("+1.63\n").starts_with("no tape"));
    assert_eq!(says("tallyjaw tape 2\n"), "tape of version 2, want 1");
    assert_eq!(
        says("tallyjaw tape 1\nline 9600 8N1\n\n"),
        "line 3: no \"at\" in the head that ends here"
    );
    assert!(
        says("tallyjaw tape 1\nat noon\nline 9600 8N1\n\n")
            .starts_with("line 4: \"at\" in the head")
    );
    for mark in [
        "x bytes 2b",
        "5 bytes",
        "5 bytes 2",
        "5 bytes 2g",
        "5 byte 2b",
        "-5 bytes 2b",
        "5",
        "5 contact ajar",
        "99999999999999999999 bytes 2b",
    ] {
        let got = says(&format!("{head}{mark}\n"));
        assert!(got.starts_with("line 5: got "), "{mark}: {got}");
    }
    assert_eq!(
        says(&format!("{head}5 bytes 2b\n4 bytes 2b\n")),
        "line 6: 4 µs after 5 µs"
    );
    let endless = format!("{head}5 bytes {}", "2b".repeat(100_000));
    assert_eq!(says(&endless), "line 5: longer than 8256 bytes");
}

#[test]
fn a_long_run_is_split_and_reads_back_whole() {
    let long: Vec<u8> = (0..20_000_u32).map(|at| at.to_le_bytes()[0]).collect();
    let tape = written(&[Timed {
        micros: 7,
        mark: Mark::Stale(long.clone()),
    }]);
    let (marks, _) = read(&tape).unwrap();
    assert_eq!(marks.len(), 5);
    let joined: Vec<u8> = marks
        .into_iter()
        .flat_map(|timed| {
            if let Mark::Stale(bytes) = timed.mark {
                bytes
            } else {
                Vec::new()
            }
        })
        .collect();
    assert_eq!(joined, long);
}

#[test]
fn words_with_line_ends_in_them_make_no_lines_of_their_own() {
    let reason = "gone\n9 bytes 2b\r\u{1b}[2J".to_owned();
    let tape = written(&[Timed {
        micros: 1,
        mark: Mark::Closed { reason },
    }]);
    let (marks, _) = read(&tape).unwrap();
    let want = Mark::Closed {
        reason: "gone?9 bytes 2b??[2J".to_owned(),
    };
    assert_eq!(
        marks,
        [Timed {
            micros: 1,
            mark: want
        }]
    );
}

fn any_mark() -> impl Strategy<Value = Mark> {
    let bytes = || prop::collection::vec(any::<u8>(), 1..50);
    prop_oneof![
        bytes().prop_map(Mark::Bytes),
        bytes().prop_map(Mark::Spoiled),
        bytes().prop_map(Mark::Stale),
        any::<bool>().prop_map(|closed| Mark::Contact { closed }),
        "[a-z/0-9 ]{0,20}".prop_map(|port| Mark::Opened { port }),
        "[a-z ]{0,20}".prop_map(|reason| Mark::Closed { reason }),
    ]
}

proptest! {
    #[test]
    fn every_tape_reads_back(marks in prop::collection::vec((0..1_000_000_u64, any_mark()), 0..20)) {
        let mut micros = 0;
        let marks: Vec<Timed> = marks.into_iter().map(|(later, mark)| {
            micros += later;
            Timed { micros, mark }
        }).collect();
        prop_assert_eq!(read(&written(&marks)).unwrap(), (marks, false));
    }

    #[test]
    fn hostile_bytes_are_an_error_or_marks_and_never_more(
        bytes in prop::collection::vec(any::<u8>(), 0..2000),
        keep_head in any::<bool>(),
    ) {
        let mut tape = if keep_head { written(&press()) } else { Vec::new() };
        tape.extend(&bytes);
        if let Ok((marks, _)) = read(&tape) {
            prop_assert!(marks.len() <= tape.len());
        }
    }
}
