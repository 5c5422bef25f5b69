//! Pictures on the page: serves the small copies, and takes a file or a photograph by the device's camera.
//!
//! - Only small copies that we made are served, never a file as it was given.
//! - A picture comes as the body of the request, with its subject in the query, and only with the token (`guard`).

use super::guard::Refusal;
use super::routes::{JSON, Site, answer, commander, key, refused};
use crate::clients::PICTURE_WITHIN;
use crate::entry::line::Digest;
use crate::entry::{Means, Seq};
use crate::message::line;
use crate::message::picture::{PictureCall, not_taken};
use crate::pictures::{MOST_BYTES, NotAPicture, safe_name};
use axum::body::to_bytes;
use axum::extract::{Path, Request, State};
use axum::http::header::{CACHE_CONTROL, CONTENT_LENGTH, CONTENT_TYPE};
use axum::http::{HeaderValue, StatusCode};
use axum::response::Response;
use percent_encoding::percent_decode_str;
use serde_json::json;
use std::sync::Arc;
use tokio::task::spawn_blocking;

/// Media types of a picture. A form of another page cannot send these without the user's consent.
const KINDS: [&str; 2] = ["image/jpeg", "image/png"];

/// The small copy with this digest. Its bytes never change.
pub(super) async fn small(State(site): State<Arc<Site>>, Path(shown): Path<String>) -> Response {
    let intake = Arc::clone(&site.sources.intake);
    let copy = match shown.parse::<Digest>() {
        Ok(shown) => spawn_blocking(move || intake.album().copy(shown).ok()).await,
        Err(_) => Ok(None),
    };
    let Ok(Some(copy)) = copy else {
        return Refusal::new(
            StatusCode::NOT_FOUND,
            "no such picture",
            "look which pictures are missing: tallyjaw verify",
        )
        .response();
    };
    let mut response = answer(StatusCode::OK, "image/jpeg", copy);
    let long = HeaderValue::from_static("private, max-age=31536000, immutable");
    response.headers_mut().insert(CACHE_CONTROL, long);
    response
}

/// Takes the picture in the body: `POST /picture?name=cut.jpg&station=bench-1&piece=3`.
pub(super) async fn take(State(site): State<Arc<Site>>, request: Request) -> Response {
    let from = commander(&request);
    let headers = request.headers();
    let kind = headers
        .get(CONTENT_TYPE)
        .and_then(|kind| kind.to_str().ok());
    let kind = kind.unwrap_or("none").to_owned();
    let query = request.uri().query().unwrap_or_default();
    let call = match call_of(query) {
        Ok(call) => call,
        Err(refusal) => return refusal.response(),
    };
    let name = safe_name(&call.name);
    if !KINDS.contains(&kind.as_str()) {
        return Refusal::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            format!("got the content type {kind:?}, want image/jpeg or image/png"),
            "send the picture's bytes as the body, with its own content type",
        )
        .response();
    }
    let length = headers
        .get(CONTENT_LENGTH)
        .and_then(|length| length.to_str().ok()?.parse::<usize>().ok());
    if length.is_some_and(|length| length > MOST_BYTES) {
        return refused(&not_taken(&name, &NotAPicture::TooLarge));
    }
    let place = site.sources.intake.place().await;
    let body = to_bytes(request.into_body(), MOST_BYTES);
    let bytes = match tokio::time::timeout(PICTURE_WITHIN, body).await {
        Ok(Ok(bytes)) => bytes.to_vec(),
        // The body was larger than announced, or was cut off; then nobody reads the answer.
        Ok(Err(_)) => return refused(&not_taken(&name, &NotAPicture::TooLarge)),
        Err(_) => {
            return Refusal::new(
                StatusCode::REQUEST_TIMEOUT,
                format!(
                    "no end of the picture within {} seconds",
                    PICTURE_WITHIN.as_secs()
                ),
                "send a smaller one, or from nearer to the access point",
            )
            .response();
        }
    };
    let intake = &site.sources.intake;
    let taken = intake.take(call, bytes, from, Means::Command).await;
    drop(place);
    match taken {
        Ok(outcome) => answer(StatusCode::OK, JSON, line(&json!({ "result": outcome }))),
        Err(not) => refused(&not.answer()),
    }
}

/// The subject of the picture, from the query.
fn call_of(query: &str) -> Result<PictureCall, Refusal> {
    let number = |name: &'static str| match key(query, name) {
        None => Ok(None),
        Some(text) => text.parse::<u64>().map(Some).map_err(|_| {
            Refusal::new(
                StatusCode::BAD_REQUEST,
                format!("got {name}={text:?}, want a number"),
                "POST /picture?name=cut.jpg&station=bench-1&piece=3",
            )
        }),
    };
    let piece = number("piece")?.map(|piece| u32::try_from(piece).unwrap_or(u32::MAX));
    Ok(PictureCall {
        station: key(query, "station").map(decoded),
        series: number("series")?.map(Seq),
        piece,
        name: key(query, "name").map(decoded).unwrap_or_default(),
        size: 0,
    })
}

/// A value of a query without percent-encoding.
fn decoded(text: &str) -> String {
    percent_decode_str(text).decode_utf8_lossy().into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_decoded_and_what_is_no_escape_stays() {
        for (sent, name) in [
            ("cut%203.jpg", "cut 3.jpg"),
            ("%C3%9Cbersicht%2B.png", "Übersicht+.png"),
            ("100%.jpg", "100%.jpg"),
            ("%zz%4", "%zz%4"),
            ("%2e%2E%2F%00", "../\0"),
            ("%ff", "\u{fffd}"),
        ] {
            assert_eq!(decoded(sent), name);
        }
    }
}
