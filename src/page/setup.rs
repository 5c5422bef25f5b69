//! The configuration on the page, and changes that are checked or made.
//!
//! - Only with the token (`guard`), and only where the configuration allows it.
//! - Answers are JSON, including refusals: `{"error": …}` as on the control socket.

use super::guard::Refusal;
use super::routes::{JSON, Site, answer, command_of, commander, refused};
use crate::clients::{self, Commander};
use crate::message::setup::ChangeRequest;
use crate::message::{Call, line};
use axum::extract::{Request, State};
use axum::http::StatusCode;
use axum::response::Response;
use std::sync::Arc;

/// Answers with the configuration.
pub(super) async fn listed(State(site): State<Arc<Site>>, request: Request) -> Response {
    let from = commander(&request);
    match may(&site) {
        Ok(()) => said(&site, Call::Setup, from).await,
        Err(refusal) => refusal.response(),
    }
}

/// Checks a change, or makes it.
pub(super) async fn change(State(site): State<Arc<Site>>, request: Request) -> Response {
    if let Err(refusal) = may(&site) {
        return refusal.response();
    }
    let from = commander(&request);
    let body = match command_of(request).await {
        Ok(body) => body,
        Err(refusal) => return refusal.response(),
    };
    match ChangeRequest::parse(&body) {
        Ok(change) => said(&site, Call::Change(Box::new(change)), from).await,
        Err(error) => refused(&error),
    }
}

fn may(site: &Site) -> Result<(), Refusal> {
    if site.may_edit {
        return Ok(());
    }
    Err(Refusal::new(
        StatusCode::FORBIDDEN,
        "the configuration may not be changed on this page",
        "to allow it: edit = true in [page], then restart the daemon",
    ))
}

async fn said(site: &Site, call: Call, from: Commander) -> Response {
    match clients::ask(call, from, &site.sources.asked).await {
        Ok(outcome) => answer(StatusCode::OK, JSON, line(&outcome)),
        Err(error) => refused(&error),
    }
}
