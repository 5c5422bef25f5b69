//! Terminals, plans, tools and operators set up over HTTP: what is written, what is entered, and that it is measured by.

use super::http::{Answer, Http, address, command, shop_with, token};
use crate::harness::{Daemon, PATIENCE, Shop};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::thread;
use std::time::Instant;

/// A bench whose page may change the configuration.
pub(super) struct Setup {
    pub(super) shop: Shop,
    pub(super) daemon: Daemon,
    pub(super) address: String,
    pub(super) token: String,
}

impl Setup {
    pub(super) fn start() -> Self {
        Self::of(shop_with("edit = true"))
    }

    pub(super) fn of(shop: Shop) -> Self {
        let daemon = shop.start();
        Self::served(shop, daemon)
    }

    pub(super) fn served(shop: Shop, daemon: Daemon) -> Self {
        drop(daemon.connected_feed());
        let (address, token) = (address(&daemon), token(&shop));
        Self {
            shop,
            daemon,
            address,
            token,
        }
    }

    pub(super) fn get(&self) -> Value {
        let headers = format!("Authorization: Bearer {}\r\n", self.token);
        Http::connect(&self.address).get("/setup", &headers).json()
    }

    pub(super) fn post(&self, body: &Value) -> Answer {
        self.post_text(&body.to_string())
    }

    pub(super) fn post_text(&self, body: &str) -> Answer {
        let mut http = Http::connect(&self.address);
        http.send(self.request(body).as_bytes());
        http.answer().unwrap()
    }

    pub(super) fn request(&self, body: &str) -> String {
        let Self { address, token, .. } = self;
        let len = body.len();
        format!(
            "POST /setup HTTP/1.1\r\nHost: {address}\r\nContent-Length: {len}\r\nAuthorization: Bearer {token}\r\n\
             Content-Type: application/json\r\n\r\n{body}"
        )
    }

    /// The digest of a file as the form is told it.
    pub(super) fn digest(&self, file: &str) -> Value {
        let setup = self.get();
        let files = setup["files"].as_array().unwrap();
        let found = files.iter().find(|known| known["file"] == file);
        found.unwrap_or_else(|| panic!("no {file} in {setup}"))["digest"].clone()
    }

    /// A change of a file as it stands now, with more keys of the request.
    pub(super) fn change(&self, file: &str, more: &Value) -> Value {
        let mut change = json!({"file": file, "digest": self.digest(file)});
        let more = more.as_object().unwrap().clone();
        change.as_object_mut().unwrap().extend(more);
        change
    }

    /// The same, checked only.
    #[track_caller]
    pub(super) fn check(&self, file: &str, more: &Value) -> Value {
        let answer = self.post(&self.change(file, more));
        assert_eq!(answer.status, 200, "{answer:?}");
        answer.json()
    }

    /// The same, written by mara; it must be right.
    #[track_caller]
    pub(super) fn write(&self, file: &str, more: &Value) -> Value {
        let answer = self.write_as_is(self.change(file, more));
        assert_eq!(answer.status, 200, "{answer:?}");
        let said = answer.json();
        assert_eq!(said["ok"], true, "{said}");
        assert_eq!(said["written"]["not_in_force"], Value::Null, "{said}");
        said
    }

    pub(super) fn write_as_is(&self, mut change: Value) -> Answer {
        change["write"] = json!(true);
        change["who"] = json!("mara");
        self.post(&change)
    }

    pub(super) fn read(&self, file: &str) -> String {
        fs::read_to_string(self.shop.path(file)).unwrap()
    }

    /// Entries of a change, as they are on disk.
    pub(super) fn entered(&self) -> Vec<Value> {
        let lines = self.shop.journal_lines();
        let lines = lines
            .iter()
            .map(|line| serde_json::from_str::<Value>(line).unwrap());
        lines
            .filter(|line| line["kind"] == "configuration_edited")
            .collect()
    }

    pub(super) fn names(&self) -> Vec<String> {
        let items = fs::read_dir(self.shop.path("")).unwrap();
        let mut names: Vec<_> = items
            .map(|item| item.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    fn copies(&self, file: &str) -> Vec<String> {
        let mut names = self.names();
        names.retain(|name| {
            name.starts_with(&format!("{file}."))
                && std::path::Path::new(name)
                    .extension()
                    .is_some_and(|end| end == "old")
        });
        names
    }
}

pub(super) fn sha256(bytes: impl AsRef<[u8]>) -> String {
    let bytes = Sha256::digest(bytes);
    bytes.iter().fold(String::new(), |mut hex, byte| {
        write!(hex, "{byte:02x}").unwrap();
        hex
    })
}

#[test]
#[expect(clippy::too_many_lines, reason = "one setting up, step by step")]
fn a_terminal_a_tool_a_plan_and_an_operator_are_set_up_and_measured_by() {
    let shop = shop_with("edit = true");
    let sheet = fs::read_to_string(shop.path("sheet.toml")).unwrap();
    let sheet = format!("# Ours, from the maker.\n\n{sheet}\n# The end.\n");
    shop.write("sheet.toml", &sheet);
    let mut setup = Setup::of(shop);
    let main = setup.read("tallyjaw.toml");
    setup.write(
        "sheet.toml",
        &json!({"list": "terminal", "change": "add", "values": {
            "id": "RB-090-M", "source": "maker's sheet, rev A",
            "row": [{"wire": "0.5 mm²", "core_crimp_height": "1.10 ±0.05 mm"}],
        }}),
    );
    let row = json!({"list": "row", "change": "add", "terminal": 1, "values": {
        "wire": "16 ga", "sizing": "sae_metric", "core_crimp_height": "1.20..1.30 mm"}});
    assert_eq!(
        setup.check("sheet.toml", &row)["reads"],
        json!([
            {"pointer": "/core_crimp_height", "text": "1.20 mm – 1.30 mm"},
            {"pointer": "/wire", "text": "16 ga = 1.0 mm² (SAE metric size; the AWG area is 1.31 mm²)"},
        ])
    );
    let written = setup.write("sheet.toml", &row);
    assert_eq!(
        setup.read("sheet.toml"),
        format!(
            "{sheet}\n[[terminal]]\nid = \"RB-090-M\"\nsource = \"maker's sheet, rev A\"\n\n[[terminal.row]]\nwire = \"0.5 mm²\"\n\
             core_crimp_height = \"1.10 ±0.05 mm\"\n\n[[terminal.row]]\nwire = \"16 ga\"\nsizing = \"sae_metric\"\n\
             core_crimp_height = \"1.20..1.30 mm\"\n"
        )
    );
    let signs = written["diff"]
        .as_array()
        .unwrap()
        .iter()
        .map(|line| line["sign"].clone());
    assert_eq!(signs.collect::<Vec<_>>(), vec![json!("+"); 5]);

    // There are no tools yet: their file is made, and the main file names it.
    let tool = json!({"list": "tool", "change": "add", "digest": setup.digest("tallyjaw.toml"), "values": {
        "id": "T-08", "class": "production", "nest": [{"id": "1.0", "wires": ["1.0 mm²"]}]}});
    let answer = setup.write_as_is(tool);
    assert_eq!(
        (answer.status, &answer.json()["ok"]),
        (200, &json!(true)),
        "{answer:?}"
    );
    let with_tools = main.replace(
        "plans = [\"plans.toml\"]\n",
        "plans = [\"plans.toml\"]\ntools = [\"tools.toml\"]\n",
    );
    assert_eq!(setup.read("tallyjaw.toml"), with_tools);
    setup.write(
        "plans.toml",
        &json!({"list": "plan", "change": "add", "values": {
            "id": "valve", "terminal": "RB-090-M", "wire": "16 ga", "sizing": "sae_metric",
            "axes": ["core_crimp_height"], "pieces": 2, "purpose": "first_off", "tool": "T-08", "nest": "1.0",
            "zero": {"before_first": false, "closing": false},
        }}),
    );
    setup.write(
        "tallyjaw.toml",
        &json!({"list": "operator", "change": "add", "values": {"name": "Jörg Ö."}}),
    );
    assert_eq!(
        setup.read("tallyjaw.toml"),
        format!("{with_tools}\n[[operator]]\nname = \"Jörg Ö.\"\n")
    );

    let plans = super::get(&setup.address, "/plans/bench-1").json();
    assert_eq!(
        (&plans["operators"], &plans["may_edit"]),
        (&json!(["Jörg Ö."]), &json!(true))
    );
    let mut feed = setup.daemon.feed();
    let armed = command(
        &setup.address,
        &setup.token,
        "arm",
        &json!({"plan": "valve", "operator": "Jörg Ö."}),
    );
    assert_eq!(armed["result"]["armed"]["terminal"], "RB-090-M", "{armed}");
    for (hundredths, verdict) in [(125, "pass"), (131, "fail_high")] {
        setup.shop.press(hundredths);
        assert_eq!(feed.wait_for("reading")["verdict"], verdict);
    }

    let entered = setup.entered();
    let said: Vec<_> = entered
        .iter()
        .map(|entry| {
            format!(
                "{} {} {} {}",
                entry["who"], entry["change"], entry["list"], entry["name"]
            )
        })
        .collect();
    assert_eq!(
        said,
        [
            r#""mara" "add" "terminal" "RB-090-M""#,
            r#""mara" "add" "row" "RB-090-M 16 ga""#,
            r#""mara" "add" "tool" "T-08""#,
            r#""mara" "add" "plan" "valve""#,
            r#""mara" "add" "operator" "Jörg Ö.""#,
        ]
    );
    assert_eq!(entered[0]["files"][0]["before"], sha256(&sheet));
    assert_eq!(
        entered[1]["files"][0]["before"],
        entered[0]["files"][0]["after"]
    );
    assert_eq!(
        entered[1]["files"][0]["after"],
        sha256(setup.read("sheet.toml"))
    );
    let copy = entered[0]["files"][0]["copy"].as_str().unwrap();
    assert_eq!(setup.read(copy), sheet);
    let files: Vec<_> = entered[2]["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|file| &file["file"])
        .collect();
    assert_eq!(files, ["tools.toml", "tallyjaw.toml"]);
    assert_eq!(entered[2]["files"][0].get("before"), None);
    let deadline = Instant::now() + PATIENCE;
    while setup.daemon.call("status", &json!({}))["sinks"][0]["behind"] != 0 {
        assert!(Instant::now() < deadline, "the verdict log stays behind");
    }
    let log = setup.read("state/verdicts.log");
    assert!(
        log.contains("mara added the row RB-090-M 16 ga on the page: sheet.toml"),
        "{log}"
    );
    assert!(setup.shop.run(&["check"]).status.success());
    assert!(setup.shop.run(&["verify"]).status.success());
}

#[test]
fn what_was_added_and_taken_out_again_leaves_every_byte() {
    let setup = Setup::start();
    let (sheet, plans) = (setup.read("sheet.toml"), setup.read("plans.toml"));
    let rows = |setup: &Setup| {
        setup.get()["files"][1]["entries"][0]["rows"]
            .as_array()
            .unwrap()
            .len()
    };
    let before = rows(&setup);
    let row = json!({"wire": "0.35 mm²", "core_crimp_height": "0.90 ±0.05 mm"});
    setup.write(
        "sheet.toml",
        &json!({"list": "row", "change": "add", "terminal": 0, "values": row}),
    );
    assert_eq!(rows(&setup), before + 1);
    setup.write("sheet.toml", &json!({"list": "row", "change": "set", "terminal": 0, "at": before, "values": {"core_crimp_height": "0.91 ±0.05 mm"}}));
    assert!(setup.read("sheet.toml").contains("0.91 ±0.05 mm"));
    setup.write(
        "sheet.toml",
        &json!({"list": "row", "change": "remove", "terminal": 0, "at": before}),
    );
    assert_eq!(setup.read("sheet.toml"), sheet);
    let first = setup.get()["files"][2]["entries"][0]["values"].clone();
    setup.write(
        "plans.toml",
        &json!({"list": "plan", "change": "set", "at": 0, "values": {"pieces": 7}}),
    );
    assert_ne!(setup.read("plans.toml"), plans);
    setup.write(
        "plans.toml",
        &json!({"list": "plan", "change": "set", "at": 0, "values": {"pieces": first["pieces"]}}),
    );
    assert_eq!(setup.read("plans.toml"), plans);
}

#[test]
fn each_fault_stands_at_its_field_as_check_says_it() {
    let setup = Setup::start();
    let faults = |file: &str, more: Value| {
        let said = setup.check(file, &more);
        assert_eq!(said["ok"], json!(false), "{said}");
        let faults = said["faults"].as_array().unwrap().clone();
        let said = faults.iter().map(|fault| {
            let pointer = fault["pointer"].as_str().unwrap_or("elsewhere").to_owned();
            (pointer, fault["message"].as_str().unwrap().to_owned())
        });
        said.collect::<Vec<_>>()
    };
    let row =
        |values: Value| json!({"list": "row", "change": "add", "terminal": 0, "values": values});
    let one = |pointer: &str, message: &str| vec![(pointer.to_owned(), message.to_owned())];
    assert_eq!(
        faults(
            "sheet.toml",
            row(json!({"wire": "0.35 mm²", "core_crimp_height": "0,9 ±0.05 mm"}))
        )[0]
        .0,
        "/core_crimp_height"
    );
    assert_eq!(
        faults(
            "sheet.toml",
            row(json!({"wire": "14 ga", "core_crimp_height": "0.9 ±0.05 mm"}))
        )[0]
        .0,
        "/wire"
    );
    assert_eq!(
        faults(
            "sheet.toml",
            row(json!({"core_crimp_height": "0.9 ±0.05 mm"}))
        ),
        one("/wire", "[[terminal.row]] has no wire")
    );
    assert_eq!(
        faults(
            "sheet.toml",
            row(json!({"wire": "0.35 mm²", "core_crimp_hieght": "0.9 ±0.05 mm"}))
        )[0]
        .0,
        "/core_crimp_hieght"
    );
    let plan = |values: Value| json!({"list": "plan", "change": "set", "at": 0, "values": values});
    assert_eq!(
        faults("plans.toml", plan(json!({"terminal": "QF-250-X"})))[0].0,
        "/terminal"
    );
    assert_eq!(
        faults(
            "plans.toml",
            plan(json!({"axes": ["core_crimp_height", "core_crimp_heigth"]}))
        )[0]
        .0,
        "/axes/1"
    );
    assert_eq!(
        faults("plans.toml", plan(json!({"pieces": null}))),
        one("/pieces", "[[plan]] has no pieces")
    );
    assert_eq!(
        faults("plans.toml", plan(json!({"zero": {"limit": -1}})))[0].0,
        "/zero/limit"
    );
    // A terminal that plans need: the fault is in another file.
    let gone = faults(
        "sheet.toml",
        json!({"list": "terminal", "change": "remove", "at": 0}),
    );
    assert!(
        gone.iter().all(|(pointer, _)| pointer == "elsewhere"),
        "{gone:?}"
    );
    // What is unlikely may be meant.
    let inches = setup.check(
        "sheet.toml",
        &row(json!({"wire": "0.35 mm²", "core_crimp_height": "0.062 ±0.002 mm"})),
    );
    assert_eq!(
        (&inches["ok"], &inches["warnings"][0]["pointer"]),
        (&json!(true), &json!("/core_crimp_height"))
    );
    // A faulty change is not written, whoever signs it.
    let (sheet, change) = (
        setup.read("sheet.toml"),
        setup.change("sheet.toml", &row(json!({"wire": "x"}))),
    );
    let said = setup.write_as_is(change).json();
    assert_eq!((&said["ok"], said.get("written")), (&json!(false), None));
    assert_eq!(setup.read("sheet.toml"), sheet);
    assert_eq!(setup.entered(), Vec::<Value>::new());
}

#[test]
fn a_fault_that_was_there_before_is_told_from_those_of_the_change() {
    let setup = Setup::start();
    let plans = setup.read("plans.toml");
    setup
        .shop
        .write("plans.toml", &plans.replace("purpose = ", "porpuse = "));
    let row = json!({"list": "row", "change": "add", "terminal": 0, "values": {"wire": "0.35 mm²", "core_crimp_height": "0.9 mm"}});
    let said = setup.check("sheet.toml", &row);
    let faults = said["faults"].as_array().unwrap();
    let (old, new): (Vec<_>, Vec<_>) = faults.iter().partition(|fault| fault["before"] == true);
    assert_eq!(
        (new.len(), &new[0]["pointer"]),
        (1, &json!("/core_crimp_height"))
    );
    assert!(
        old.iter()
            .all(|fault| fault["file"] == "plans.toml" && fault["line"].is_u64()),
        "{said}"
    );
    assert!(!old.is_empty());
}

#[test]
fn whoever_saved_first_wins_and_the_other_is_told_so() {
    let setup = Setup::start();
    let set = |pieces: u32| json!({"list": "plan", "change": "set", "at": 0, "values": {"pieces": pieces}});
    let stale = setup.change("plans.toml", &set(3));
    let by_hand = format!("# by hand\n{}", setup.read("plans.toml"));
    setup.shop.write("plans.toml", &by_hand);
    let answer = setup.write_as_is(stale);
    assert_eq!(answer.status, 409, "{answer:?}");
    assert_eq!(
        answer.json()["error"]["message"],
        "plans.toml was changed meanwhile"
    );
    assert_eq!(setup.read("plans.toml"), by_hand);

    let changes: Vec<_> = (11..19)
        .map(|pieces| setup.change("plans.toml", &set(pieces)))
        .collect();
    let done: Vec<_> = thread::scope(|scope| {
        let tasks: Vec<_> = changes
            .into_iter()
            .map(|change| scope.spawn(|| setup.write_as_is(change).status))
            .collect();
        tasks.into_iter().map(|task| task.join().unwrap()).collect()
    });
    assert_eq!(
        done.iter().filter(|status| **status == 200).count(),
        1,
        "{done:?}"
    );
    assert!(
        done.iter().all(|status| [200, 409, 503].contains(status)),
        "{done:?}"
    );
    assert_eq!(setup.entered().len(), 1);
    assert_eq!(setup.copies("plans.toml").len(), 1);
}

#[test]
fn a_plan_changed_under_an_open_series_counts_from_the_next_one_on() {
    let mut setup = Setup::start();
    let mut feed = setup.daemon.feed();
    let armed = setup.daemon.call("arm", &json!({"plan": "no-zero"}));
    setup.shop.press(162);
    feed.wait_for("reading");
    let plans = setup.get()["files"][2]["entries"].clone();
    let at = plans
        .as_array()
        .unwrap()
        .iter()
        .position(|plan| plan["values"]["id"] == "no-zero")
        .unwrap();
    setup.write(
        "plans.toml",
        &json!({"list": "plan", "change": "set", "at": at, "values": {"pieces": 2}}),
    );
    let status = setup.daemon.call("status", &json!({}));
    assert_eq!(
        status["state"]["stations"][0]["armed"]["pieces"], armed["armed"]["pieces"],
        "{status}"
    );
    setup.shop.press(163);
    assert_eq!(feed.wait_for("reading")["piece"], 2);
    let next = setup
        .daemon
        .call("arm", &json!({"plan": "no-zero", "cut": true}));
    assert_eq!(next["armed"]["pieces"], 2, "{next}");
}

#[test]
fn twenty_copies_of_a_file_are_kept_and_what_is_beside_them_is_left_alone() {
    let setup = Setup::start();
    setup.shop.write("plans.toml.mine.old", "mine");
    for round in 0..23 {
        let pieces = json!({"pieces": 2 + round});
        setup.write(
            "plans.toml",
            &json!({"list": "plan", "change": "set", "at": 0, "values": pieces}),
        );
    }
    let copies = setup.copies("plans.toml");
    assert_eq!(copies.len(), 21, "{copies:?}");
    assert!(
        setup.read(&copies[0]).contains("pieces = 4"),
        "the oldest are gone: {copies:?}"
    );
    assert_eq!(setup.read("plans.toml.mine.old"), "mine");
}

#[test]
fn copies_and_files_have_the_permissions_of_the_old_file() {
    let setup = Setup::start();
    let mode = |file: &str| {
        fs::metadata(setup.shop.path(file))
            .unwrap()
            .permissions()
            .mode()
            & 0o7777
    };
    fs::set_permissions(
        setup.shop.path("plans.toml"),
        fs::Permissions::from_mode(0o640),
    )
    .unwrap();
    let written = setup.write(
        "plans.toml",
        &json!({"list": "plan", "change": "set", "at": 0, "values": {"pieces": 2}}),
    );
    let copy = written["written"]["copies"][0].as_str().unwrap();
    assert_eq!((mode("plans.toml"), mode(copy)), (0o640, 0o640));
}

/// Whether anything is answered on a connection before it ends.
pub(super) fn answered(mut stream: std::net::TcpStream) -> bool {
    use std::io::Read as _;
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    stream.read(&mut [0; 1]).is_ok_and(|count| count > 0)
}
