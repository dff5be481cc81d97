//! The page of a drive that goes on, for whoever stands at the pit wall.
//!
//! In: the feed of the live side. Out: HTTP. One thread of its own serves a bounded number of readers; it
//! takes the latest from the feed and holds nobody up. It listens on this machine unless somebody asks for
//! more, and then a token is needed.
//!
//! ```text
//! connections -> access -> document (the page) | reader (events) | history | marks
//! ```

mod access;
mod connections;
mod document;
mod message;
mod reader;

use std::io;
use std::net::SocketAddr;
use std::time::Duration;

use axum::Router;
use axum::extract::rejection::FormRejection;
use axum::extract::{DefaultBodyLimit, Form, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, LOCATION, REFERRER_POLICY, SET_COOKIE,
    X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderValue, Method, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::sse::Sse;
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use serde::Deserialize;

pub use access::{LEAST_TOKEN_BYTES, Token};
pub use connections::MOST_CONNECTIONS;

use crate::feed::Feed;
use crate::link::Handle;
use access::Access;

/// Longest form that is taken, bytes.
const LONGEST_FORM: usize = 2048;

/// Whoever gives a wrong token waits so long for the answer.
const WRONG_TOKEN: Duration = Duration::from_secs(1);

/// Serves the page on a thread of its own for as long as the program runs, and says where. Elsewhere than on
/// this machine it refuses to without a token.
pub fn serve(
    listen: SocketAddr,
    token: Option<Token>,
    feed: Feed,
    handle: Handle,
) -> io::Result<SocketAddr> {
    if token.is_none() && !listen.ip().is_loopback() {
        let why = "the page can be seen from elsewhere there, and that takes a token";
        return Err(io::Error::new(io::ErrorKind::PermissionDenied, why));
    }
    let listener = std::net::TcpListener::bind(listen)?;
    listener.set_nonblocking(true)?;
    let address = listener.local_addr()?;
    let access = Access::new(address, token)?;
    let site = Site {
        access,
        feed,
        handle,
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_io()
        .enable_time()
        .build()?;
    std::thread::Builder::new()
        .name("page".to_owned())
        .spawn(move || {
            runtime.block_on(async {
                if let Ok(listener) = tokio::net::TcpListener::from_std(listener) {
                    let listener = connections::Bounded::new(listener);
                    // It never returns: a connection that cannot be taken is left out.
                    let _ = axum::serve(listener, routes(site)).await;
                }
            });
        })?;
    Ok(address)
}

/// What every answer is made from.
#[derive(Clone, Debug)]
struct Site {
    access: Access,
    feed: Feed,
    handle: Handle,
}

fn routes(site: Site) -> Router {
    Router::new()
        .route("/", get(async || Html(document::LIVE.as_str())))
        .route("/events", get(events))
        .route("/history", get(history))
        .route("/snapshot", get(snapshot))
        .route("/mark", post(mark))
        .route("/token", post(give_token))
        .layer(DefaultBodyLimit::max(LONGEST_FORM))
        .layer(from_fn_with_state(site.clone(), guard))
        .with_state(site)
}

/// Stands before everything: who asks, under what name, from what page.
async fn guard(State(site): State<Site>, request: Request, next: Next) -> Response {
    let headers = request.headers();
    let is_asking = request.method() == Method::GET || request.method() == Method::HEAD;
    let gives_token = request.uri().path() == "/token";
    let response = if !site.access.names_this_machine(headers) {
        (
            StatusCode::MISDIRECTED_REQUEST,
            "asked for under another name",
        )
            .into_response()
    } else if !is_asking && !site.access.is_own(headers) {
        (StatusCode::FORBIDDEN, "sent by another page").into_response()
    } else if !gives_token && !site.access.allows(headers) {
        (
            StatusCode::UNAUTHORIZED,
            Html(document::ASKS_TOKEN.as_str()),
        )
            .into_response()
    } else {
        next.run(request).await
    };
    sealed(response)
}

/// With the headers that every answer has.
fn sealed(mut response: Response) -> Response {
    let headers = response.headers_mut();
    if let Ok(policy) = HeaderValue::from_str(&document::policy()) {
        headers.insert(CONTENT_SECURITY_POLICY, policy);
    }
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    response
}

async fn events(State(site): State<Site>) -> impl IntoResponse {
    Sse::new(reader::events(&site.feed))
}

fn json(body: serde_json::Result<String>) -> Response {
    match body {
        Ok(body) => ([(CONTENT_TYPE, "application/json")], body).into_response(),
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

async fn history(State(site): State<Site>) -> Response {
    json(serde_json::to_string(&*site.feed.history()))
}

async fn snapshot(State(site): State<Site>) -> Response {
    let latest = site.feed.snapshots().borrow().clone();
    json(serde_json::to_string(&latest.as_deref()))
}

#[derive(Debug, Deserialize)]
struct Note {
    note: String,
}

async fn mark(State(site): State<Site>, form: Result<Form<Note>, FormRejection>) -> Response {
    match form {
        Ok(Form(Note { note })) => {
            site.handle.mark(&note);
            StatusCode::NO_CONTENT.into_response()
        }
        Err(why) => why.into_response(),
    }
}

#[derive(Deserialize)]
struct Given {
    token: String,
}

async fn give_token(
    State(site): State<Site>,
    form: Result<Form<Given>, FormRejection>,
) -> Response {
    let cookie = form
        .ok()
        .and_then(|Form(given)| site.access.cookie(&given.token));
    match cookie.and_then(|cookie| HeaderValue::from_str(&cookie).ok()) {
        Some(cookie) => {
            let to_page = HeaderValue::from_static("/");
            (
                StatusCode::SEE_OTHER,
                [(SET_COOKIE, cookie), (LOCATION, to_page)],
            )
                .into_response()
        }
        None => {
            tokio::time::sleep(WRONG_TOKEN).await;
            (
                StatusCode::UNAUTHORIZED,
                Html(document::ASKS_TOKEN.as_str()),
            )
                .into_response()
        }
    }
}
