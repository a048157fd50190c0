//! The case, and what is told of all.

use std::convert::Infallible;

use axum::Json;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::sse::{Event, KeepAlive, Sse};
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::WatchStream;

use super::App;
use super::answer::{Refused, aside, told, understood};
use crate::messages::{self, Edits, Named, NewText};

/// All that the page shows.
#[utoipa::path(get, path = "/api/state", operation_id = "state", tag = "case",
    responses((status = 200, description = "it", body = messages::State)))]
pub(super) async fn state(State(app): State<App>) -> Json<messages::State> {
    Json(app.session.state())
}

/// Tells of changes: one server-sent event at once and one after every change, each with the
/// version of the state; changes that come fast are told as one.
#[utoipa::path(get, path = "/api/events", operation_id = "events", tag = "case",
    responses((status = 200, description = "events without end", body = String,
        content_type = "text/event-stream")))]
pub(super) async fn events(State(app): State<App>) -> impl IntoResponse {
    let versions = WatchStream::new(app.session.versions());
    let told = versions.map(|v| Ok::<_, Infallible>(Event::default().data(v.to_string())));
    Sse::new(told).keep_alive(KeepAlive::default())
}

/// Takes a scan or a case of the folder in hand.
///
/// A scan that no case in hand names gets a starter case.
#[utoipa::path(post, path = "/api/open", operation_id = "open", tag = "case",
    request_body = Named, responses((status = 204, description = "done"), Refused))]
pub(super) async fn open(State(app): State<App>, body: Bytes) -> Result<StatusCode, Refused> {
    let named: Named = understood(&body)?;
    aside(move || app.session.open(&named.file)).await.map(|()| StatusCode::NO_CONTENT)
}

/// Replaces the case's text.
#[utoipa::path(put, path = "/api/case", operation_id = "set_text", tag = "case",
    request_body = NewText, responses((status = 204, description = "done"), Refused))]
pub(super) async fn set_text(State(app): State<App>, body: Bytes) -> Result<StatusCode, Refused> {
    let new: NewText = understood(&body)?;
    told(app.session.set_text(new.text, "the text"))
}

/// Changes values of the case, all or none; they are undone together.
#[utoipa::path(post, path = "/api/edit", operation_id = "edit", tag = "case",
    request_body = Edits, responses((status = 204, description = "done"), Refused))]
pub(super) async fn edit(State(app): State<App>, body: Bytes) -> Result<StatusCode, Refused> {
    let edits: Edits = understood(&body)?;
    told(app.session.edit(&edits))
}

/// Takes back the last change of the case.
#[utoipa::path(post, path = "/api/undo", operation_id = "undo", tag = "case",
    responses((status = 204, description = "done"), Refused))]
pub(super) async fn undo(State(app): State<App>) -> Result<StatusCode, Refused> {
    told(app.session.undo())
}

/// Makes again the change that was taken back last.
#[utoipa::path(post, path = "/api/redo", operation_id = "redo", tag = "case",
    responses((status = 204, description = "done"), Refused))]
pub(super) async fn redo(State(app): State<App>) -> Result<StatusCode, Refused> {
    told(app.session.redo())
}

/// Saves the case to its file.
#[utoipa::path(post, path = "/api/save", operation_id = "save", tag = "case",
    responses((status = 204, description = "done"), Refused))]
pub(super) async fn save(State(app): State<App>) -> Result<StatusCode, Refused> {
    told(app.session.save())
}

/// Ends the program. What was not saved is lost.
#[utoipa::path(post, path = "/api/end", operation_id = "end", tag = "case",
    responses((status = 204, description = "it ends")))]
pub(super) async fn end(State(app): State<App>) -> StatusCode {
    app.end.notify_one();
    StatusCode::NO_CONTENT
}
