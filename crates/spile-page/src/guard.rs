//! Who is answered: requests of this very page, or of a script that knows the address.
//!
//! A web page elsewhere can make a browser send requests to this machine. It does not
//! know the token; its requests carry a foreign `Origin` or say `cross-site`; and a
//! name that it has made lead to this machine shows in `Host`. Any one of these is
//! enough to be refused before anything is read or done.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::header::{HOST, HeaderName, ORIGIN};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};

/// What an address must show.
#[derive(Debug, Clone)]
pub(crate) struct Guard {
    /// `127.0.0.1:PORT` and `localhost:PORT`.
    pub hosts: [String; 2],
    /// The first part of every path.
    pub token: Arc<str>,
}

/// Whatever may not be loaded, run, framed or sent: everything but the page's own files.
/// Pictures of its own making come as `data:` or `blob:`.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    img-src 'self' data: blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; \
    frame-ancestors 'none'";

impl Guard {
    /// A guard for a server on this port.
    pub fn new(port: u16, token: &str) -> Self {
        let hosts = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
        Self { hosts, token: token.into() }
    }

    /// What is wrong with a request, if anything is.
    fn refused(&self, headers: &HeaderMap, path: &str) -> Option<StatusCode> {
        let only = |name: HeaderName| {
            let mut all = headers.get_all(name).iter();
            match (all.next(), all.next()) {
                (Some(value), None) => value.to_str().ok(),
                _ => None,
            }
        };
        let is_host = |host: &str| self.hosts.iter().any(|own| own.eq_ignore_ascii_case(host));
        if !only(HOST).is_some_and(is_host) {
            return Some(StatusCode::MISDIRECTED_REQUEST);
        }
        let is_own = |origin: &str| origin.strip_prefix("http://").is_some_and(is_host);
        if headers.contains_key(ORIGIN) && !only(ORIGIN).is_some_and(is_own) {
            return Some(StatusCode::FORBIDDEN);
        }
        let site = headers.get("sec-fetch-site");
        if site.is_some_and(|site| site != "same-origin" && site != "none") {
            return Some(StatusCode::FORBIDDEN);
        }
        let first = path.split('/').nth(1).unwrap_or_default();
        (!is_same(first.as_bytes(), self.token.as_bytes())).then_some(StatusCode::NOT_FOUND)
    }
}

/// Whether two texts are the same, in a time that does not tell where they differ.
fn is_same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |differs, (x, y)| differs | (x ^ y)) == 0
}

/// Lets through what the guard lets, and puts on every answer what a browser must know.
pub(crate) async fn guarded(State(guard): State<Guard>, request: Request, next: Next) -> Response {
    let refused = guard.refused(request.headers(), request.uri().path());
    let mut response = match refused {
        Some(code) => code.into_response(),
        None => next.run(request).await,
    };
    let headers = response.headers_mut();
    let fixed = [
        ("content-security-policy", POLICY),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("x-frame-options", "DENY"),
        ("cache-control", "no-store"),
    ];
    for (name, value) in fixed {
        headers.entry(HeaderName::from_static(name)).or_insert(HeaderValue::from_static(value));
    }
    response
}
