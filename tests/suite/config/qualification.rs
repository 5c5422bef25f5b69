//! The `[qualification]` section, and the mistakes in it.

use super::Texts;
use crate::golden;
use std::fmt::Write as _;
use tallyjaw::spec::QualificationRule;

fn with(section: &str) -> Texts {
    let mut texts = Texts::good();
    texts.main.push_str(section);
    texts
}

#[test]
fn each_key_may_be_left_out_and_without_the_section_there_is_no_rule() {
    let rule = |section: &str| with(section).assemble().unwrap().catalog.qualification;
    assert_eq!(rule(""), None);
    let usual = QualificationRule {
        pieces: 25,
        ppk_hundredths: 133,
        pull: true,
        months: 12,
        require: false,
    };
    assert_eq!(rule("\n[qualification]\n"), Some(usual));
    let all =
        "\n[qualification]\npieces = 30\nppk = 1.5\npull = false\nmonths = 24\nrequire = true\n";
    let wanted = QualificationRule {
        pieces: 30,
        ppk_hundredths: 150,
        pull: false,
        months: 24,
        require: true,
    };
    assert_eq!(rule(all), Some(wanted));
}

const MISTAKES: &[(&str, &str)] = &[
    ("too few pieces for any index", "pieces = 10"),
    ("an index with a comma", "ppk = \"1,33\""),
    ("an index with too many digits", "ppk = 1.333"),
    ("an index that is too large", "ppk = 133"),
    ("months in words", "months = \"a year\""),
    ("no month", "months = 0"),
    ("a misspelled key", "requires = true"),
];

#[test]
fn each_mistake_gives_one_error_with_its_place_and_what_is_wanted() {
    let mut all = String::new();
    for (name, line) in MISTAKES {
        let faulty = with(&format!("\n[qualification]\n{line}\n"))
            .assemble()
            .unwrap_err();
        assert_eq!(faulty.diagnostics.len(), 1, "{name}");
        let _ = writeln!(all, "# {name}");
        for fault in faulty.rendered(false) {
            let _ = writeln!(all, "{fault}");
        }
    }
    golden::assert_same("config/qualification_mistakes.txt", &all);
}
