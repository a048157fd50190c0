//! What is answered, below the token.
//!
//! | request | does |
//! |---|---|
//! | `GET /`, `page.js`, `page.css` | the page |
//! | `GET api/state` | all that the page shows |
//! | `GET api/events` | one server-sent event a change: the state's version |
//! | `POST api/open {file}` | takes a scan or case of the folder in hand |
//! | `PUT api/file/NAME` | a scan or case from the browser, written under a free name |
//! | `PUT api/fitting/NAME` | a fitting's file from the browser, written under a free name |
//! | `GET api/fittings` | the fittings that are known |
//! | `GET api/scan/surface`, `api/part/surface` | surfaces as flat arrays, see `geometry` |
//! | `GET api/scan/finding/K` | the outlines of a finding: pairs of points, as `f32` |
//! | `GET api/part/map/deviation`, `wall` | one `f32` a point of the part |
//! | `POST api/section {through, facing, of}` | the loops of scan or part in a plane |
//! | `POST api/line {from, facing, bore}` | the line along the middle of the scan's bore |
//! | `POST api/paint {keep, triangles}` | keeps triangles of the scan |
//! | `GET api/keep/K` | the file of a painted keep |
//! | `POST api/mend` | writes the scan mended and has the case name that |
//! | `PUT api/case {text}`, `POST api/edit {what, edits}` | changes the case |
//! | `POST api/undo`, `api/redo`, `api/save` | |
//! | `POST api/run`, `api/stop` | makes the part, stops it |
//! | `GET out/NAME` | a file of the result |
//! | `POST api/end` | ends the program |
//!
//! What is refused is `{error: {message, hints, places}}`, as the commands have it.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::extract::{DefaultBodyLimit, FromRequest as _, Path, Request, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE};
use axum::middleware::from_fn_with_state;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post, put};
use axum::{Json, Router};
use serde::Serialize;
use serde::de::DeserializeOwned;
use tokio::sync::{Notify, Semaphore};
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::WatchStream;
use tower_http::timeout::TimeoutLayer;

use crate::assets;
use crate::guard::{Guard, guarded};
use crate::messages::{Edits, LineAsked, Named, NewText, Painted, PlaneAsked, Refusal};
use crate::session::Session;

/// What one request may take.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Bytes of a file from the browser.
    pub file_bytes: usize,
    /// Bytes of any other request.
    pub request_bytes: usize,
    /// Time for a request's head.
    pub head: Duration,
    /// Time until it is answered, its body included.
    pub answer: Duration,
    /// Connections at a time.
    pub connections: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            // Ten million triangles as binary STL.
            file_bytes: 512 << 20,
            request_bytes: 4 << 20,
            head: Duration::from_secs(10),
            answer: Duration::from_secs(120),
            connections: 64,
        }
    }
}

#[derive(Clone)]
struct App {
    session: Arc<Session>,
    uploads: Arc<Semaphore>,
    end: Arc<Notify>,
}

/// The whole server apart from its socket: answers for `127.0.0.1:port` below `/token/`,
/// and tells `end` when it is asked to end.
pub fn app(
    session: Arc<Session>,
    port: u16,
    token: &str,
    limits: &Limits,
    end: Arc<Notify>,
) -> Router {
    let state = App { session, uploads: Arc::new(Semaphore::new(1)), end };
    let files = Router::new()
        .route("/api/file/{name}", put(take))
        .route("/api/fitting/{name}", put(take_fitting))
        .route("/api/paint", post(paint))
        .layer(DefaultBodyLimit::max(limits.file_bytes));
    let below = Router::new()
        .route("/{file}", get(|Path(file): Path<String>| async move { page(&file) }))
        .route("/api/state", get(state_of))
        .route("/api/events", get(events))
        .route("/api/open", post(open))
        .route("/api/scan/surface", get(scan_surface))
        .route("/api/part/surface", get(part_surface))
        .route("/api/scan/finding/{k}", get(outline))
        .route("/api/part/map/{which}", get(part_map))
        .route("/api/fittings", get(fittings))
        .route("/api/section", post(section))
        .route("/api/line", post(line))
        .route("/api/keep/{k}", get(painted))
        .route("/api/mend", post(mend))
        .route("/api/case", put(set_text))
        .route("/api/edit", post(edit))
        .route("/api/undo", post(|State(app): State<App>| async move { told(app.session.undo()) }))
        .route("/api/redo", post(|State(app): State<App>| async move { told(app.session.redo()) }))
        .route("/api/save", post(|State(app): State<App>| async move { told(app.session.save()) }))
        .route("/api/run", post(|State(app): State<App>| async move { told(app.session.run()) }))
        .route("/api/stop", post(|State(app): State<App>| async move { told(app.session.stop()) }))
        .route("/api/end", post(end_all))
        .route("/out/{*name}", get(output))
        .layer(DefaultBodyLimit::max(limits.request_bytes))
        .merge(files)
        .with_state(state);
    Router::new()
        // Everything else is relative to this, so the slash counts.
        .route(&format!("/{token}/"), get(|| async { page("index.html") }))
        .nest(&format!("/{token}"), below)
        .layer(TimeoutLayer::with_status_code(StatusCode::REQUEST_TIMEOUT, limits.answer))
        .layer(from_fn_with_state(Guard::new(port, token), guarded))
}

/// A refusal as an answer.
struct Refused(Refusal);

#[derive(Serialize)]
struct ErrorDocument {
    error: Refusal,
}

impl From<Refusal> for Refused {
    fn from(refusal: Refusal) -> Self {
        Self(refusal)
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        let document = ErrorDocument { error: self.0 };
        (StatusCode::UNPROCESSABLE_ENTITY, Json(document)).into_response()
    }
}

/// Done without more to say, or why not.
fn told(done: Result<(), Refusal>) -> Result<StatusCode, Refused> {
    done.map(|()| StatusCode::NO_CONTENT).map_err(Refused)
}

/// The JSON of a request.
fn understood<T: DeserializeOwned>(body: &[u8]) -> Result<T, Refused> {
    serde_json::from_slice(body)
        .map_err(|e| Refused(Refusal::new(format!("the request is not understood: {e}"))))
}

/// Work that takes more than a moment, off the threads that answer.
async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refused> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done.map_err(Refused),
        Err(_) => Err(Refused(
            Refusal::new("this is a fault in spile; nothing was changed")
                .hint("please report it with the file"),
        )),
    }
}

fn page(name: &str) -> Response {
    match assets::file(name) {
        Some((bytes, kind)) => ([(CONTENT_TYPE, kind)], bytes).into_response(),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}

async fn state_of(State(app): State<App>) -> Response {
    Json(app.session.state()).into_response()
}

/// The version at once and after every change; changes that come fast are told as one.
async fn events(State(app): State<App>) -> Response {
    let versions = WatchStream::new(app.session.versions());
    let told = versions.map(|v| Ok::<_, Infallible>(Event::default().data(v.to_string())));
    Sse::new(told).keep_alive(KeepAlive::default()).into_response()
}

async fn open(State(app): State<App>, body: Bytes) -> Result<StatusCode, Refused> {
    let named: Named = understood(&body)?;
    aside(move || app.session.open(&named.file)).await.map(|()| StatusCode::NO_CONTENT)
}

#[derive(Serialize)]
struct Taken {
    file: String,
}

async fn take(
    State(app): State<App>,
    Path(name): Path<String>,
    request: Request,
) -> Result<Response, Response> {
    // One at a time, so that two large files never lie in memory together.
    let _one = app.uploads.acquire().await.map_err(|_| StatusCode::GONE.into_response())?;
    let body = Bytes::from_request(request, &()).await.map_err(IntoResponse::into_response)?;
    let session = Arc::clone(&app.session);
    let file =
        aside(move || session.take(&name, &body)).await.map_err(IntoResponse::into_response)?;
    Ok(Json(Taken { file }).into_response())
}

async fn take_fitting(
    State(app): State<App>,
    Path(name): Path<String>,
    request: Request,
) -> Result<Response, Response> {
    let _one = app.uploads.acquire().await.map_err(|_| StatusCode::GONE.into_response())?;
    let body = Bytes::from_request(request, &()).await.map_err(IntoResponse::into_response)?;
    let session = Arc::clone(&app.session);
    let file = aside(move || session.take_fitting(&name, &body))
        .await
        .map_err(IntoResponse::into_response)?;
    Ok(Json(Taken { file }).into_response())
}

async fn fittings(State(app): State<App>) -> Response {
    Json(app.session.fittings()).into_response()
}

async fn scan_surface(State(app): State<App>) -> Response {
    surface(app.session.scan_surface())
}

async fn part_surface(State(app): State<App>) -> Response {
    surface(app.session.part_surface())
}

async fn part_map(State(app): State<App>, Path(which): Path<String>) -> Response {
    surface(app.session.part_map(&which))
}

async fn outline(State(app): State<App>, Path(k): Path<usize>) -> Response {
    surface(app.session.outline(k).map(Arc::new))
}

fn surface(bytes: Option<Arc<Vec<u8>>>) -> Response {
    match bytes {
        Some(bytes) => {
            let bytes = Bytes::from_owner(Shared(bytes));
            ([(CONTENT_TYPE, "application/octet-stream")], bytes).into_response()
        }
        None => StatusCode::NOT_FOUND.into_response(),
    }
}

/// Bytes that are sent from where they lie.
struct Shared(Arc<Vec<u8>>);

impl AsRef<[u8]> for Shared {
    fn as_ref(&self) -> &[u8] {
        &self.0
    }
}

async fn section(State(app): State<App>, body: Bytes) -> Result<Response, Refused> {
    let plane: PlaneAsked = understood(&body)?;
    let shown = aside(move || app.session.section(plane)).await?;
    Ok(Json(shown).into_response())
}

async fn line(State(app): State<App>, body: Bytes) -> Result<Response, Refused> {
    let asked: LineAsked = understood(&body)?;
    let shown = aside(move || app.session.line(asked)).await?;
    Ok(Json(shown).into_response())
}

async fn paint(State(app): State<App>, body: Bytes) -> Result<StatusCode, Refused> {
    let painted: Painted = understood(&body)?;
    aside(move || app.session.paint(&painted)).await.map(|()| StatusCode::NO_CONTENT)
}

async fn painted(State(app): State<App>, Path(k): Path<usize>) -> Result<Response, Refused> {
    let file = aside(move || app.session.painted(k)).await?;
    Ok(([(CONTENT_TYPE, "application/json")], file).into_response())
}

async fn mend(State(app): State<App>) -> Result<StatusCode, Refused> {
    aside(move || app.session.mend()).await.map(|()| StatusCode::NO_CONTENT)
}

async fn set_text(State(app): State<App>, body: Bytes) -> Result<StatusCode, Refused> {
    let new: NewText = understood(&body)?;
    told(app.session.set_text(new.text, "the text"))
}

async fn edit(State(app): State<App>, body: Bytes) -> Result<StatusCode, Refused> {
    let edits: Edits = understood(&body)?;
    told(app.session.edit(&edits))
}

async fn end_all(State(app): State<App>) -> StatusCode {
    app.end.notify_one();
    StatusCode::NO_CONTENT
}

/// A report is shown, without rights of any kind; all else is handed over as a file.
async fn output(State(app): State<App>, Path(name): Path<String>) -> Response {
    let session = Arc::clone(&app.session);
    let wanted = name.clone();
    let found = tokio::task::spawn_blocking(move || session.output(&wanted)).await;
    let Ok(Some(bytes)) = found else { return StatusCode::NOT_FOUND.into_response() };
    if name == "report.html" {
        let policy = "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:";
        let head = [(CONTENT_TYPE, "text/html; charset=utf-8"), (CONTENT_SECURITY_POLICY, policy)];
        return (head, bytes).into_response();
    }
    // The name is one of those that the folder lists, but a header takes no quote.
    let last = name.rsplit('/').next().unwrap_or("file").replace(['"', '\\'], "_");
    let plain: String = last.chars().map(|c| if c.is_ascii_graphic() { c } else { '_' }).collect();
    let head = [
        (CONTENT_TYPE, "application/octet-stream".to_owned()),
        (CONTENT_DISPOSITION, format!("attachment; filename=\"{plain}\"")),
    ];
    (head, bytes).into_response()
}
