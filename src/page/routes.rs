//! The routes of the page, and their answers.

use super::assets;
use super::board::Docs;
use super::guard::{self, Hosts, Refusal};
use super::metrics::{self, Clients, Form};
use super::programs::Programs;
use super::tablet::Gate;
use super::token::Token;
use super::{LONGEST_BODY, MOST_EVENT_CLIENTS, Sources, events};
use super::{pairing, picture, report, series, setup};
use crate::clients::{self, Commander, Health, Live, MOST_CLIENTS};
use crate::entry::Seq;
use crate::message::qualified::QualifiedPage;
use crate::message::{self, ErrorObject, StateSent, code};
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{Path, RawQuery, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_LENGTH, CONTENT_SECURITY_POLICY, CONTENT_TYPE, VARY,
};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::middleware;
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};
use serde_json::json;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Semaphore;

pub(super) const JSON: &str = "application/json";

/// Time limit for the body of a request.
const BODY_WITHIN: Duration = Duration::from_secs(10);

/// Maximum number of searches in the journal at once; each reads it from its beginning.
const SEARCHES_MOST: usize = 2;

/// The data of every route.
#[derive(Debug)]
pub(super) struct Site {
    pub(super) sources: Sources,
    pub(super) token: Token,
    /// The tokens of programs.
    pub(super) programs: Arc<Programs>,
    pub(super) hosts: Hosts,
    pub(super) docs: Docs,
    /// Access over the network.
    pub(super) gate: Option<Arc<Gate>>,
    event_places: Arc<Semaphore>,
    searches: Semaphore,
    /// Whether the configuration may be changed here.
    pub(super) may_edit: bool,
}

impl Site {
    pub(super) fn new(
        sources: Sources,
        (token, programs): (Token, Arc<Programs>),
        hosts: Hosts,
        docs: Docs,
        gate: Option<Arc<Gate>>,
    ) -> Self {
        Self {
            sources,
            token,
            programs,
            hosts,
            docs,
            gate,
            event_places: Arc::new(Semaphore::new(MOST_EVENT_CLIENTS)),
            searches: Semaphore::new(SEARCHES_MOST),
            may_edit: false,
        }
    }
}

pub(super) fn routes(site: Arc<Site>) -> Router {
    let guard = middleware::from_fn_with_state(Arc::clone(&site), guard::guard);
    let page = assets::ASSETS.iter().fold(Router::new(), |routes, file| {
        let serve = get(move |request: Request| async move { asset(file, &request) });
        routes.route(file.path, serve)
    });
    page.route("/plans/{station}", get(plans))
        .route(assets::DRAWINGS, get(assets::drawings))
        .route("/jobs", get(jobs))
        .route("/qualified", get(qualified))
        .route("/events", get(event_stream))
        .route("/state", get(state))
        .route("/series/{series}", get(one_series))
        .route("/report/{series}", get(one_report))
        .route("/metrics", get(scrape))
        .route("/healthz", get(health))
        .route("/control", post(control))
        .route(assets::PAIR, post(pairing::pair))
        .route("/picture", post(picture::take))
        .route("/picture/{shown}", get(picture::small))
        .route("/setup", get(setup::listed).post(setup::change))
        .fallback(nothing_here)
        .method_not_allowed_fallback(wrong_method)
        .layer(guard)
        .with_state(site)
}

/// An answer that must not be cached.
pub(super) fn answer(status: StatusCode, kind: &'static str, body: impl Into<Body>) -> Response {
    let mut response = Response::new(body.into());
    *response.status_mut() = status;
    let headers = response.headers_mut();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(kind));
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}

/// An error of the daemon, as the control socket has it.
pub(super) fn refused(error: &ErrorObject) -> Response {
    let status = match error.code {
        code::INVALID_PARAMS => StatusCode::BAD_REQUEST,
        code::BUSY | code::JOURNAL_FULL | code::JOURNAL_FAILED => StatusCode::SERVICE_UNAVAILABLE,
        _ => StatusCode::CONFLICT,
    };
    answer(status, JSON, message::line(&json!({ "error": error })))
}

fn asset(asset: &'static assets::Asset, request: &Request) -> Response {
    let mut response = match commander(request) {
        Commander::Tablet(tablet) if asset.path == "/" => answer(
            StatusCode::OK,
            asset.kind,
            assets::for_tablet(asset.text, &tablet),
        ),
        Commander::Machine | Commander::Tablet(_) | Commander::Token(_) => {
            answer(StatusCode::OK, asset.kind, asset.text)
        }
    };
    // The file is small, and must be that of the running version.
    let again = HeaderValue::from_static("no-cache");
    response.headers_mut().insert(CACHE_CONTROL, again);
    response
}

async fn nothing_here(request: Request) -> Response {
    let path = request.uri().path();
    Refusal::new(
        StatusCode::NOT_FOUND,
        format!("nothing at {path:?}"),
        "there are /, /events, /state, /plans/STATION, /jobs, /qualified, /series/N, /report/N, /picture/DIGEST, /metrics, /healthz, /setup and /control",
    )
    .response()
}

async fn wrong_method(request: Request) -> Response {
    let (method, path) = (request.method(), request.uri().path());
    Refusal::new(
        StatusCode::METHOD_NOT_ALLOWED,
        format!("got {method} of {path}"),
        "commands are POSTed to /control and /setup, pictures to /picture, everything else is GET",
    )
    .response()
}

async fn state(State(site): State<Arc<Site>>) -> Response {
    let doc = site.docs.now();
    answer(StatusCode::OK, JSON, format!("{}\n", doc.json))
}

/// The plans that can be started at a station.
async fn plans(
    State(site): State<Arc<Site>>,
    Path(station): Path<String>,
    request: Request,
) -> Response {
    let catalog = site.sources.live.catalog();
    if !catalog.stations.contains(&station) {
        return Refusal::new(
            StatusCode::NOT_FOUND,
            format!("no station {station:?} in the configuration"),
            "list them: tallyjaw status",
        )
        .response();
    }
    let mut plans = site.docs.plans(&catalog, &station);
    plans.may_edit = site.may_edit && commander(&request) == Commander::Machine;
    let json = crate::message::line(&plans);
    answer(StatusCode::OK, JSON, json)
}

/// The jobs and lots that can be chosen.
async fn jobs(State(site): State<Arc<Site>>) -> Response {
    let jobs = site.docs.jobs(&site.sources.live.catalog());
    answer(StatusCode::OK, JSON, crate::message::line(&jobs))
}

/// The combinations with their standing.
async fn qualified(State(site): State<Arc<Site>>) -> Response {
    let Ok(_search) = site.searches.try_acquire() else {
        return busy("the journal is being searched for others").response();
    };
    let live = Arc::clone(&site.sources.live);
    let making = tokio::task::spawn_blocking(move || {
        let page = QualifiedPage::new(&live.state(), &live.catalog(), report::now());
        crate::message::line(&page)
    });
    match making.await {
        Ok(json) => answer(StatusCode::OK, JSON, json),
        Err(_) => busy("the daemon is stopping").response(),
    }
}

async fn scrape(State(site): State<Arc<Site>>, headers: HeaderMap) -> Response {
    let Some(form) = Form::accepted(&headers) else {
        return Form::none_accepted(&headers).response();
    };
    let Sources {
        live,
        meter,
        feed_places,
        ..
    } = &site.sources;
    let clients = Clients {
        feed: MOST_CLIENTS.saturating_sub(feed_places.available_permits()),
        events: MOST_EVENT_CLIENTS.saturating_sub(site.event_places.available_permits()),
    };
    let text = metrics::text(live, meter, clients, form);
    let mut response = answer(StatusCode::OK, form.content_type(), text);
    let by_accept = HeaderValue::from_static("accept");
    response.headers_mut().insert(VARY, by_accept);
    response
}

async fn health(State(site): State<Arc<Site>>) -> Response {
    let health = site.sources.live.health();
    let status = if health == Health::Ok {
        StatusCode::OK
    } else {
        StatusCode::SERVICE_UNAVAILABLE
    };
    let text = match health {
        Health::Ok => "ok\n".to_owned(),
        Health::Stalled { .. } => format!(
            "the disk has not answered for {} s: nothing is announced until it does\n",
            health.stalled_seconds().unwrap_or_default()
        ),
        Health::Full => "the disk is full: nothing counts\n".to_owned(),
        Health::Failed => "the journal has failed: nothing is recorded\n".to_owned(),
    };
    answer(status, "text/plain; charset=utf-8", text)
}

async fn one_series(State(site): State<Arc<Site>>, Path(series): Path<String>) -> Response {
    let found = found(&site, &series, |live, wanted, last| {
        series::find(live.state_dir(), wanted, last)
    });
    match found.await {
        Ok(line) => answer(StatusCode::OK, JSON, line),
        Err(refusal) => refusal.response(),
    }
}

/// Policy of a report: its style is inside, and it loads nothing.
const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; \
    base-uri 'none'; frame-ancestors 'none'; form-action 'none'";

async fn one_report(State(site): State<Arc<Site>>, Path(series): Path<String>) -> Response {
    let zone = site.sources.zone.clone();
    let found = found(&site, &series, |live, wanted, last| {
        let version = live.status().version;
        let of_shop = (version, zone, live.letterhead());
        report::make(live.state_dir(), (wanted, last), of_shop)
    });
    match found.await {
        Ok(html) => {
            let mut response = answer(StatusCode::OK, "text/html; charset=utf-8", html);
            let policy = HeaderValue::from_static(REPORT_POLICY);
            response
                .headers_mut()
                .insert(CONTENT_SECURITY_POLICY, policy);
            response
        }
        Err(refusal) => refusal.response(),
    }
}

/// Makes something of a series by reading the journal, a few at a time.
async fn found<T: Send + 'static>(
    site: &Site,
    series: &str,
    make: impl FnOnce(&Live, Seq, Seq) -> Result<Option<T>, String> + Send + 'static,
) -> Result<T, Refusal> {
    let Ok(wanted) = series.parse() else {
        return Err(Refusal::new(
            StatusCode::BAD_REQUEST,
            format!("got the series {series:?}, want a number"),
            "a series has the number of its `armed` entry: tallyjaw series",
        ));
    };
    let Ok(_search) = site.searches.try_acquire() else {
        return Err(busy("the journal is being searched for others"));
    };
    let live = Arc::clone(&site.sources.live);
    let last = live.last();
    let making = tokio::task::spawn_blocking(move || make(&live, Seq(wanted), last));
    match making.await {
        Ok(Ok(Some(found))) => Ok(found),
        Ok(Ok(None)) => Err(Refusal::new(
            StatusCode::NOT_FOUND,
            format!("no series {wanted} in this journal"),
            "list them: tallyjaw series",
        )),
        Ok(Err(message)) => Err(Refusal::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            message,
            "look what is wrong with the journal: tallyjaw verify",
        )),
        Err(_) => Err(busy("the daemon is stopping")),
    }
}

fn busy(why: &str) -> Refusal {
    Refusal::new(StatusCode::SERVICE_UNAVAILABLE, why, "ask again in a while")
}

/// The last entry that a client has. What a browser reports by itself takes precedence over the address it began with.
fn asked_after(headers: &HeaderMap, query: Option<&str>) -> Result<Option<Seq>, Refusal> {
    let last = headers
        .get("last-event-id")
        .map(|id| id.to_str().unwrap_or("no text"));
    let after = query.and_then(|query| key(query, "after"));
    let Some(text) = last.filter(|last| !last.is_empty()).or(after) else {
        return Ok(None);
    };
    text.parse().map(|seq| Some(Seq(seq))).map_err(|_| {
        Refusal::new(
            StatusCode::BAD_REQUEST,
            format!("got after {text:?}, want the number of an entry"),
            "ask for /events?after=17 to get everything after entry 17",
        )
    })
}

/// The value of a key in a query. Numbers and words need no decoding.
pub(super) fn key<'q>(query: &'q str, key: &str) -> Option<&'q str> {
    let mut pairs = query.split('&').filter_map(|pair| pair.split_once('='));
    pairs.find_map(|(name, value)| (name == key).then_some(value))
}

/// Whether the state is sent after each change, and not only at the beginning.
fn wants_each_state(query: Option<&str>) -> Result<bool, Refusal> {
    let Some(asked) = query.and_then(|query| key(query, "state")) else {
        return Ok(false);
    };
    match StateSent::from_name(asked) {
        Some(sent) => Ok(sent == StateSent::Each),
        None => Err(Refusal::new(
            StatusCode::BAD_REQUEST,
            format!("got state={asked:?}, want first or each"),
            "ask for /events?state=each to get the state after each change",
        )),
    }
}

async fn event_stream(
    State(site): State<Arc<Site>>,
    RawQuery(query): RawQuery,
    headers: HeaderMap,
) -> Response {
    let query = query.as_deref();
    let asked =
        asked_after(&headers, query).and_then(|after| Ok((after, wants_each_state(query)?)));
    let (after, each_state) = match asked {
        Ok(asked) => asked,
        Err(refusal) => return refusal.response(),
    };
    let Ok(place) = Arc::clone(&site.event_places).try_acquire_owned() else {
        let why = format!("{MOST_EVENT_CLIENTS} clients have the event stream, no more are served");
        return busy(&why).response();
    };
    let live = Arc::clone(&site.sources.live);
    let events = events::stream(live, site.docs.clone(), (after, each_state), place);
    let kind = (CONTENT_TYPE, "text/event-stream; charset=utf-8");
    ([kind, (CACHE_CONTROL, "no-store")], events).into_response()
}

/// The body of a command, within its limits.
pub(super) async fn command_of(request: Request) -> Result<Vec<u8>, Refusal> {
    let headers = request.headers();
    let kind = headers
        .get(CONTENT_TYPE)
        .map_or("none", |kind| kind.to_str().unwrap_or("no text"));
    let media = kind.split(';').next().unwrap_or_default().trim();
    // A form of another page can be sent as text without the user's consent, but not as JSON.
    if !media.eq_ignore_ascii_case(JSON) {
        return Err(Refusal::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            format!("got the content type {kind:?}, want {JSON}"),
            "send Content-Type: application/json",
        ));
    }
    let too_long = || {
        Refusal::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!("a body of more than {LONGEST_BODY} bytes"),
            "send one request at a time",
        )
    };
    let length = headers
        .get(CONTENT_LENGTH)
        .and_then(|length| length.to_str().ok());
    let length = length.and_then(|length| length.parse::<usize>().ok());
    if length.is_some_and(|length| length > LONGEST_BODY) {
        return Err(too_long());
    }
    let body = to_bytes(request.into_body(), LONGEST_BODY);
    match tokio::time::timeout(BODY_WITHIN, body).await {
        Ok(Ok(bytes)) => Ok(bytes.to_vec()),
        Ok(Err(_)) => Err(too_long()),
        Err(_) => Err(Refusal::new(
            StatusCode::REQUEST_TIMEOUT,
            format!(
                "no end of the body within {} seconds",
                BODY_WITHIN.as_secs()
            ),
            "send it in one piece",
        )),
    }
}

/// Who a request comes from, as `guard` has found.
pub(super) fn commander(request: &Request) -> Commander {
    let from = request.extensions().get::<Commander>();
    from.cloned().unwrap_or(Commander::Machine)
}

async fn control(State(site): State<Arc<Site>>, request: Request) -> Response {
    let from = commander(&request);
    let command = match command_of(request).await {
        Ok(command) => command,
        Err(refusal) => return refusal.response(),
    };
    match clients::answer(&command, &from, &site.sources.asked).await {
        Some(said) => answer(StatusCode::OK, JSON, said),
        None => answer(StatusCode::NO_CONTENT, JSON, Body::empty()),
    }
}
