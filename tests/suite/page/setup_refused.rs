//! Changes of the configuration that are refused: nothing is written, and what is there stays.

use super::http::{Http, shop, shop_with};
use super::setup::Setup;
use serde_json::{Value, json};
use std::fs;
use std::os::unix::fs::{chown, symlink};
use std::process::Command;

fn set_pieces() -> Value {
    json!({"list": "plan", "change": "set", "at": 0, "values": {"pieces": 3}})
}

/// Every file of a shop with its bytes, but what the daemon itself writes. A port has none, and reading it would wait.
fn files(setup: &Setup) -> Vec<(String, Option<String>)> {
    let names = setup.names().into_iter();
    let names = names.filter(|name| name != "messages" && !name.starts_with("tty-"));
    let with_text = |name: String| {
        let text = fs::read_to_string(setup.shop.path(&name)).ok();
        (name, text)
    };
    names.map(with_text).collect()
}

#[track_caller]
#[expect(
    clippy::needless_pass_by_value,
    reason = "the change is written where it is refused"
)]
fn refused(setup: &Setup, change: Value, status: u16, message: &str) {
    let before = files(setup);
    for write in [false, true] {
        let answer = if write {
            setup.write_as_is(change.clone())
        } else {
            setup.post(&change)
        };
        assert_eq!(answer.status, status, "{answer:?}");
        let error = &answer.json()["error"];
        let said = error["message"].as_str().unwrap();
        assert!(said.contains(message), "{said}");
        assert!(error["data"]["remedy"].is_string(), "{answer:?}");
    }
    assert_eq!(files(setup), before);
    assert_eq!(setup.entered(), Vec::<Value>::new());
}

#[test]
fn a_request_that_means_nothing_is_refused() {
    let setup = Setup::start();
    let with = |key: &str, value: Value| {
        let mut change = setup.change("plans.toml", &set_pieces());
        change[key] = value;
        change
    };
    refused(
        &setup,
        with("list", json!("plans")),
        400,
        "list is \"plans\"",
    );
    refused(
        &setup,
        with("change", json!("replace")),
        400,
        "change is \"replace\"",
    );
    refused(&setup, with("at", json!(99)), 409, "no [[plan]] number 99");
    refused(&setup, with("values", json!([])), 400, "");
    refused(
        &setup,
        with("path", json!("/etc/passwd")),
        400,
        "unknown field",
    );
    for file in [
        "../../etc/passwd",
        "/etc/passwd",
        "sheet.toml",
        "plans.toml\u{0}",
        "./plans.toml",
        "state/page.token",
        "",
    ] {
        refused(
            &setup,
            with("file", json!(file)),
            409,
            "the configuration has no file",
        );
    }
    refused(
        &setup,
        with("digest", json!("0")),
        409,
        "plans.toml was changed meanwhile",
    );
    for who in [
        Value::Null,
        json!(""),
        json!("  "),
        json!("m\u{1b}[2J"),
        json!("m\nara"),
        json!("x".repeat(101)),
    ] {
        let mut change = with("who", who);
        change["write"] = json!(true);
        let answer = setup.post(&change);
        assert_eq!(answer.status, 400, "{answer:?}");
        assert_eq!(answer.json()["error"]["data"]["pointer"], "/who");
    }
    assert_eq!(setup.post_text("{").status, 400);
    assert_eq!(setup.entered(), Vec::<Value>::new());
}

#[test]
fn texts_that_try_to_be_more_are_values_or_faults() {
    let setup = Setup::start();
    let before = files(&setup);
    for text in [
        "x\"\n[[plan]]\nid = \"y",
        "x\u{0}",
        "x\u{1b}]0;title\u{7}",
        "x\u{202e}y",
        "'''\n[daemon]\nannounce = [\"sh\"]\n'''",
        "../../x",
    ] {
        let said = setup.check("plans.toml", &json!({"list": "plan", "change": "add", "values": {
            "id": text, "terminal": "QF-250-F", "wire": "2.0 mm²", "axes": ["core_crimp_height"], "pieces": 1, "purpose": "first_off"}}));
        assert_eq!(
            (&said["ok"], &said["faults"][0]["pointer"]),
            (&json!(false), &json!("/id")),
            "{said}"
        );
        let said = setup.check(
            "plans.toml",
            &json!({"list": "plan", "change": "set", "at": 0, "values": {text: "x"}}),
        );
        assert_eq!(said["ok"], false, "{said}");
        assert_eq!(said["faults"].as_array().unwrap().len(), 1, "{said}");
    }
    let long =
        json!({"list": "plan", "change": "set", "at": 0, "values": {"nest": "x".repeat(60_000)}});
    assert_eq!(
        setup.check("plans.toml", &long)["faults"][0]["pointer"],
        "/nest"
    );
    let mut deep = json!(1);
    for _ in 0..100 {
        deep = json!({"a": deep});
    }
    let deep = setup.check(
        "plans.toml",
        &json!({"list": "plan", "change": "set", "at": 0, "values": {"zero": deep}}),
    );
    assert_eq!(deep["ok"], false, "{deep}");
    let megabyte = setup.change(
        "plans.toml",
        &json!({"list": "plan", "change": "add", "values": {"id": "x".repeat(1_000_000)}}),
    );
    let mut http = Http::connect(&setup.address);
    let head = setup.request(&megabyte.to_string());
    let (head, _) = head.split_once("\r\n\r\n").unwrap();
    http.send(format!("{head}\r\n\r\n").as_bytes());
    assert_eq!(http.answer().unwrap().status, 413);
    assert_eq!(files(&setup), before);
    assert_eq!(
        setup.daemon.call("status", &json!({}))["journal_health"],
        "ok"
    );
}

#[test]
fn a_file_that_is_a_link_has_two_names_or_another_owner_is_left_to_an_editor() {
    let setup = Setup::start();
    fs::rename(setup.shop.path("plans.toml"), setup.shop.path("elsewhere")).unwrap();
    symlink("elsewhere", setup.shop.path("plans.toml")).unwrap();
    refused(
        &setup,
        setup.change("plans.toml", &set_pieces()),
        409,
        "plans.toml is a link",
    );
    fs::remove_file(setup.shop.path("plans.toml")).unwrap();
    fs::hard_link(setup.shop.path("elsewhere"), setup.shop.path("plans.toml")).unwrap();
    refused(
        &setup,
        setup.change("plans.toml", &set_pieces()),
        409,
        "plans.toml has 2 names",
    );
    fs::remove_file(setup.shop.path("elsewhere")).unwrap();
    // Only root can give a file away.
    if chown(setup.shop.path("plans.toml"), Some(4_321), None).is_ok() {
        refused(
            &setup,
            setup.change("plans.toml", &set_pieces()),
            409,
            "plans.toml belongs to uid 4321",
        );
    }
}

#[test]
fn what_would_leave_a_configuration_that_is_not_in_force_is_refused() {
    let setup = Setup::start();
    let main = setup.read("tallyjaw.toml");
    setup.shop.write(
        "tallyjaw.toml",
        &main.replace("[daemon]\n", "[daemon]\nsocket_mode = \"0660\"\n"),
    );
    refused(
        &setup,
        setup.change("plans.toml", &set_pieces()),
        409,
        "the section [daemon] has changed",
    );
    setup.shop.write("tallyjaw.toml", &main);
    // A file of that name that nobody has named yet.
    setup.shop.write("tools.toml", "# of somebody\n");
    let tool = json!({"list": "tool", "change": "add", "digest": setup.digest("tallyjaw.toml"), "values": {"id": "T-1", "class": "repair"}});
    refused(&setup, tool, 409, "there is a file tools.toml already");
    fs::remove_file(setup.shop.path("tools.toml")).unwrap();
    // A pattern that would take the copy for a sheet.
    setup.shop.write(
        "tallyjaw.toml",
        &main.replace("\"plans.toml\"", "\"plans*\""),
    );
    refused(
        &setup,
        setup.change("plans.toml", &set_pieces()),
        409,
        "plans* would take the copy of plans.toml",
    );
    setup.shop.write("tallyjaw.toml", &main);
    // Written in a form that only an editor keeps.
    setup.shop.write("plans.toml", "plan = [{ id = \"x\", terminal = \"QF-250-F\", wire = \"2.0 mm²\", axes = [\"core_crimp_height\"], pieces = 1, purpose = \"first_off\" }]\n");
    refused(
        &setup,
        setup.change("plans.toml", &set_pieces()),
        409,
        "[[plan]] is written as a list of inline tables",
    );
    setup.shop.write("plans.toml", "plan = ");
    refused(
        &setup,
        setup.change("plans.toml", &set_pieces()),
        409,
        "the file is not TOML",
    );
}

#[test]
fn only_with_the_token_of_the_page_itself_and_only_where_it_is_allowed() {
    let setup = Setup::start();
    let change = setup.change("plans.toml", &set_pieces()).to_string();
    let with = |headers: &str| {
        let request = setup
            .request(&change)
            .replace("Content-Type", &format!("{headers}Content-Type"));
        let mut http = Http::connect(&setup.address);
        http.send(request.as_bytes());
        http.answer().unwrap().status
    };
    assert_eq!(with("Origin: http://evil.example\r\n"), 403);
    assert_eq!(with("Sec-Fetch-Site: cross-site\r\n"), 403);
    let mut http = Http::connect(&setup.address);
    http.send(
        setup
            .request(&change)
            .replace(&setup.token, &"0".repeat(64))
            .as_bytes(),
    );
    assert_eq!(http.answer().unwrap().status, 401);
    assert_eq!(Http::connect(&setup.address).get("/setup", "").status, 401);
    assert_eq!(
        Http::connect(&setup.address)
            .get("/setup", "Host: evil.example\r\n")
            .status,
        400
    );

    for shop in [shop(), shop_with("edit = false")] {
        let setup = Setup::of(shop);
        let change = json!({"file": "plans.toml", "digest": "", "list": "plan", "change": "remove", "at": 0});
        let answer = setup.post(&change);
        assert_eq!(answer.status, 403);
        assert!(answer.body.contains("edit = true in [page]"), "{answer:?}");
        let headers = format!("Authorization: Bearer {}\r\n", setup.token);
        assert_eq!(
            Http::connect(&setup.address).get("/setup", &headers).status,
            403
        );
        let plans = super::get(&setup.address, "/plans/bench-1").json();
        assert_eq!(plans.get("may_edit"), None);
        // Nor by way of the commands.
        let answer = super::command(&setup.address, &setup.token, "change", &change);
        assert_eq!(answer["error"]["code"], -32_601);
    }
}

/// Also for root, to whom permissions mean nothing: the folder of the plans is mounted read-only.
#[test]
fn a_folder_that_cannot_be_written_to_is_named_while_the_form_is_still_typed() {
    let shop = shop_with("edit = true");
    fs::create_dir(shop.path("plans")).unwrap();
    fs::rename(shop.path("plans.toml"), shop.path("plans/plans.toml")).unwrap();
    let main = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    shop.write(
        "tallyjaw.toml",
        &main.replace("\"plans.toml\"", "\"plans/*.toml\""),
    );
    let mount = "mount --bind plans plans && mount -o remount,ro,bind plans";
    let may_mount = Command::new("unshare")
        .args(["-m", "sh", "-c", mount])
        .current_dir(shop.dir.path())
        .output();
    if !may_mount.is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: this user may not mount a folder read-only");
        return;
    }
    let serve = shop.tallyjaw(&["--json", "serve"]);
    let mut command = Command::new("unshare");
    command
        .args(["-m", "sh", "-c", &format!("{mount} && exec \"$@\""), "sh"])
        .arg(serve.get_program())
        .args(serve.get_args())
        .current_dir(shop.dir.path());
    let daemon = shop.start_by(command);
    let setup = Setup::served(shop, daemon);
    let file = "plans/plans.toml";
    let change = setup.change(file, &set_pieces());
    let checked = setup.post(&change);
    let written = setup.write_as_is(change);
    for answer in [checked, written] {
        assert_eq!(answer.status, 409, "{answer:?}");
        let error = answer.json()["error"].clone();
        assert_eq!(
            error["message"],
            "cannot write to the folder of plans/plans.toml: Read-only file system (os error 30)"
        );
        assert_eq!(
            error["data"]["remedy"],
            "let the daemon's user write to this folder"
        );
    }
    assert!(setup.entered().is_empty());
    // What is in another folder may be changed.
    setup.write(
        "tallyjaw.toml",
        &json!({"list": "operator", "change": "add", "values": {"name": "mara"}}),
    );
}

#[test]
fn what_stands_in_the_way_of_a_plan_has_one_row_for_both_its_halves() {
    let setup = Setup::of(shop_with("edit = true"));
    let said = setup.check(
        "plans.toml",
        &json!({"list": "plan", "change": "set", "at": 0, "values": {"tool": "T-99"}}),
    );
    let fault = &said["faults"][0];
    assert_eq!(
        (&fault["message"], &fault["want"]),
        (
            &json!("no tool \"T-99\""),
            &json!("want the id of a [[tool]]")
        )
    );
    assert_eq!(
        said["texts"]["no tool \"T-99\", want the id of a [[tool]]"],
        json!({"key": "daemon.unarmable.no_tool", "with": {"got": "T-99"}})
    );
}

/// What of a fault the page has no text for; it joins the halves as `faultWords` does.
fn left_in_english(said: &Value) -> Vec<String> {
    let has = |sentence: &str| said["texts"].get(sentence).is_some();
    let listed = |name: &str| said[name].as_array().cloned().unwrap_or_default();
    let mut left = Vec::new();
    for fault in listed("faults").iter().chain(&listed("warnings")) {
        let text = |key: &str| fault[key].as_str().unwrap_or_default().to_owned();
        let (message, want, remedy) = (text("message"), text("want"), text("remedy"));
        let mut parts = vec![remedy];
        if !has(&format!("{message}, {want}")) {
            if !message.contains(", want ") {
                parts.push(want);
            }
            parts.push(message);
        }
        left.extend(
            parts
                .into_iter()
                .filter(|part| !part.is_empty() && !has(part)),
        );
    }
    left
}

#[test]
fn whatever_is_typed_into_a_form_its_faults_are_said_in_every_language() {
    let setup = Setup::of(shop_with("edit = true"));
    let typed = [
        "",
        "x",
        "a b",
        "a/b",
        "-x",
        "\u{202e}a",
        "1.62",
        "1.62 mm",
        "1.62 ±",
        "±0.05 mm",
        "1.62 ±0.05",
        "1,62 ±0,05 mm",
        "1.62 ±0.05 kg",
        "1.62 ±0.05 N",
        "1.62 ± 0 mm",
        "1.62 ±-0.05 mm",
        "-1.62 ±0.05 mm",
        "1.67..1.57 mm",
        "1.57..",
        "..1.57 mm",
        ">= ",
        ">= 1.5",
        "<= 180 N",
        ">= -5 N",
        "1.62 +0.05 mm",
        "0 ±0.05 mm",
        "1.62 ±5 mm",
        "99999 ±1 mm",
        "14 ga",
        "100 ga",
        "2.0..1.0 mm²",
        "1.0..9.0 mm²",
        "2.5-4.0 mm²",
        "0 mm²",
        "2,0 mm²",
        "100000000000000000000 mm",
        "01.01.2026",
    ];
    let (forms, mut tried) = (
        [
            (
                "sheet.toml",
                "row",
                ["wire", "core_crimp_height", "pull_force"].as_slice(),
            ),
            ("sheet.toml", "terminal", &["id", "source", "repair_needs"]),
            (
                "plans.toml",
                "plan",
                &["id", "terminal", "wire", "tool", "nest", "pieces", "axes"],
            ),
            (
                "tools.toml",
                "tool",
                &[
                    "id",
                    "terminals",
                    "last_check",
                    "check_due",
                    "crimps_before",
                ],
            ),
        ],
        0,
    );
    let mut left = Vec::new();
    for (file, list, keys) in forms {
        for key in keys {
            for value in typed {
                let value = match *key {
                    "axes" | "terminals" => json!([value]),
                    _ => json!(value),
                };
                let said = if list == "tool" {
                    // No file has tools yet.
                    let mut values = json!({"id": "T-1", "class": "repair"});
                    values[*key] = value.clone();
                    let digest = setup.digest("tallyjaw.toml");
                    let change =
                        json!({"list": list, "change": "add", "digest": digest, "values": values});
                    setup.post(&change).json()
                } else {
                    let change = json!({"list": list, "change": "set", "terminal": 0, "at": 0, "values": {*key: value}});
                    setup.check(file, &change)
                };
                tried += 1;
                let words = left_in_english(&said).into_iter();
                left.extend(words.map(|words| format!("{list} {key} {value}: {words}")));
            }
        }
    }
    assert_eq!(left, Vec::<String>::new());
    assert!(tried > 500, "{tried}");
}
