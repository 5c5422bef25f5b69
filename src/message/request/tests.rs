//! Tests of valid requests, and of the answers to lines that are not.

use super::*;

fn parse(text: &str) -> Result<Call, ErrorObject> {
    Request::parse(text.as_bytes())
        .map(|request| request.call)
        .map_err(|rejected| rejected.error)
}

fn asked(method: &str, params: &str) -> Result<Call, ErrorObject> {
    parse(&format!(
        r#"{{"jsonrpc":"2.0","id":1,"method":"{method}","params":{params}}}"#
    ))
}

#[test]
fn a_line_that_is_no_request_is_answered_with_its_code() {
    for (line, code) in [
        ("", -32_700),
        ("\u{1}\u{2}", -32_700),
        ("{\"jsonrpc\":\"2.0\"", -32_700),
        ("[]", -32_600),
        ("42", -32_600),
        ("{\"id\":1,\"method\":\"status\"}", -32_600),
        ("{\"jsonrpc\":\"2.0\",\"id\":1}", -32_600),
        (
            "{\"jsonrpc\":\"2.0\",\"id\":{},\"method\":\"status\"}",
            -32_600,
        ),
        ("{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"amr\"}", -32_601),
        (
            "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"disarm\",\"params\":[\"bench-1\"]}",
            -32_602,
        ),
        (
            "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"disarm\",\"params\":{\"bench\":1}}",
            -32_602,
        ),
    ] {
        assert_eq!(parse(line).unwrap_err().code, code, "{line}");
    }
    let binary = Request::parse(b"\xff\xfe\x00").unwrap_err();
    assert_eq!(
        (binary.error.code, binary.id),
        (-32_700, Some(RequestId::null()))
    );
}

#[test]
fn a_misspelled_method_is_answered_with_the_nearest_one() {
    let error = asked("retrct", "{}").unwrap_err();
    assert_eq!(
        error.data.remedy.as_deref(),
        Some("did you mean \"retract\"?")
    );
}

/// The id of the answer to this line; `None` if it gets no answer.
fn answered(id: &str, rest: &str) -> Option<String> {
    let id = if id.is_empty() {
        String::new()
    } else {
        format!("\"id\":{id},")
    };
    let line = format!("{{{id}\"jsonrpc\":\"2.0\",{rest}}}");
    let id = match Request::parse(line.as_bytes()) {
        Ok(request) => request.id,
        Err(rejected) => rejected.id,
    };
    id.map(|id| serde_json::to_string(&id).unwrap())
}

#[test]
fn an_id_is_echoed_to_the_letter() {
    for id in [
        "1",
        "-0",
        "1.0",
        "1.10",
        "1e2",
        "123456789012345678901234567890",
        "0.1000000000000000055511151231257827",
        "null",
        "\"\"",
        "\"a-7\"",
        "\"\\u0041\\/\"",
    ] {
        for rest in [
            "\"method\":\"status\"",
            "\"method\":\"amr\"",
            "\"method\":7",
            "\"method\":\"status\",\"params\":{\"x\":1}",
        ] {
            assert_eq!(answered(id, rest).as_deref(), Some(id), "{rest}");
        }
    }
}

#[test]
fn an_id_that_is_none_is_answered_with_null() {
    for id in ["{}", "{\"a\":1}", "[1]", "true", "false"] {
        let answer = answered(id, "\"method\":\"status\"");
        assert_eq!(answer.as_deref(), Some("null"), "{id}");
    }
}

#[test]
fn a_notification_is_not_answered_whatever_is_wrong_and_what_is_no_request_is() {
    for rest in [
        "\"method\":\"status\"",
        "\"method\":\"amr\"",
        "\"method\":\"status\",\"params\":[]",
        "\"method\":\"status\",\"params\":{\"x\":1}",
    ] {
        assert_eq!(answered("", rest), None, "{rest}");
    }
    // As in the examples of the specification: these are not requests, so they are not notifications either.
    for rest in [
        "\"method\":1,\"params\":\"bar\"",
        "\"method\":\"status\",\"params\":\"bar\"",
    ] {
        assert_eq!(answered("", rest).as_deref(), Some("null"), "{rest}");
    }
}
