//! Pairs a device: it shows a pairing code, and gets a token in a cookie.
//!
//! - In this order: the code is used up, the journal records the pairing, the token becomes valid. If any step fails,
//!   no device has access without an entry in the journal.

use super::connection::{Peer, Way};
use super::guard::Refusal;
use super::routes::{self, JSON, Site};
use super::tablet::{self, Gate, LetIn};
use crate::clients::{self, Commander};
use crate::message::{Call, TabletCall};
use axum::Extension;
use axum::extract::{Request, State};
use axum::http::header::SET_COOKIE;
use axum::http::{HeaderValue, StatusCode};
use axum::response::Response;
use serde::Deserialize;
use serde_json::json;
use std::sync::Arc;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Form {
    code: String,
}

/// Pairs a device that shows a valid code.
pub(super) async fn pair(
    State(site): State<Arc<Site>>,
    Extension(peer): Extension<Peer>,
    request: Request,
) -> Response {
    let (Way::Tablet(_), Some(gate)) = (&peer.way, &site.gate) else {
        return Refusal::new(
            StatusCode::NOT_FOUND,
            "devices are not paired at this address",
            "scan the code that `tallyjaw page --pair` shows",
        )
        .response();
    };
    match let_in(&site, gate, &peer, request).await {
        Ok(LetIn { tablet, cookie }) => {
            let said = format!("{}\n", json!({ "tablet": tablet }));
            let mut response = routes::answer(StatusCode::OK, JSON, said);
            if let Ok(cookie) = HeaderValue::from_str(&cookie) {
                response.headers_mut().insert(SET_COOKIE, cookie);
            }
            response
        }
        Err(refusal) => refusal.response(),
    }
}

async fn let_in(
    site: &Site,
    gate: &Arc<Gate>,
    peer: &Peer,
    request: Request,
) -> Result<LetIn, Refusal> {
    let body = routes::command_of(request).await?;
    let Form { code } = serde_json::from_slice(&body).map_err(|error| {
        Refusal::new(
            StatusCode::BAD_REQUEST,
            format!("not a pairing code: {error}"),
            "send {\"code\":\"K7QP-3MX2-…\"}",
        )
    })?;
    let from = peer.address.ip();
    let tablet = gate.redeem(&code, from).map_err(|why| {
        let (status, message, remedy) = tablet::denied(why);
        tracing::warn!(%from, "{message}");
        Refusal::new(status, message, remedy)
    })?;
    let call = Call::Tablet(TabletCall::Paired {
        tablet: tablet.clone(),
    });
    if let Err(error) = clients::ask(call, Commander::Machine, &site.sources.asked).await {
        return Err(Refusal::new(
            StatusCode::SERVICE_UNAVAILABLE,
            error.message,
            "get a new code and try again: tallyjaw page --pair",
        ));
    }
    let failed = |error: String| {
        tracing::error!(tablet, "a tablet could not be paired: {error}");
        Refusal::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            error,
            "look at the disk of state_dir, then get a new code: tallyjaw page --pair",
        )
    };
    let admitted = gate
        .admit(&tablet)
        .map_err(|error| failed(error.to_string()))?;
    let writing = Arc::clone(gate);
    let saved = tokio::task::spawn_blocking(move || writing.tokens.save()).await;
    match saved {
        Ok(Ok(())) => {
            tracing::info!(tablet, %from, "a tablet was paired");
            Ok(admitted)
        }
        Ok(Err(error)) => {
            gate.tokens.revoke(&tablet);
            Err(failed(error.to_string()))
        }
        Err(_) => Err(failed("the daemon is stopping".to_owned())),
    }
}
