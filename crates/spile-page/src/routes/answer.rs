//! What is answered: done, not done and why, JSON, or bytes.

use std::sync::Arc;

use axum::Json;
use axum::body::Bytes;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use serde::de::DeserializeOwned;
use utoipa::IntoResponses;

use crate::messages::{ErrorDocument, Refusal};

/// Refused: nothing was done.
#[derive(IntoResponses)]
#[response(status = 422)]
pub(super) struct Refused(ErrorDocument);

impl From<Refusal> for Refused {
    fn from(error: Refusal) -> Self {
        Self(ErrorDocument { error })
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        (StatusCode::UNPROCESSABLE_ENTITY, Json(self.0)).into_response()
    }
}

/// Done without more to say, or why not.
pub(super) fn told(done: Result<(), Refusal>) -> Result<StatusCode, Refused> {
    Ok(done.map(|()| StatusCode::NO_CONTENT)?)
}

/// The JSON of a request.
pub(super) fn understood<T: DeserializeOwned>(body: &[u8]) -> Result<T, Refused> {
    let read = serde_json::from_slice(body);
    Ok(read.map_err(|e| Refusal::new(format!("the request is not understood: {e}")))?)
}

/// Work that takes more than a moment, off the threads that answer.
pub(super) async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refused> {
    let done = tokio::task::spawn_blocking(work).await;
    let fault = |_| {
        Refusal::new("this is a fault in spile; nothing was changed")
            .hint("please report it with the file")
    };
    Ok(done.map_err(fault)??)
}

/// Numbers for the picture, if they are there.
pub(super) fn numbers(bytes: Option<Arc<Vec<u8>>>) -> Response {
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
