//! The part: made, looked at, handed over.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

use super::App;
use super::answer::{Refused, numbers, told};
use crate::assets;
use crate::messages::{AnyFile, MapBytes, SurfaceBytes};

/// Saves the case and begins to make the part; the state tells each step and the end.
#[utoipa::path(post, path = "/api/run", operation_id = "run", tag = "part",
    responses((status = 204, description = "it has begun"), Refused))]
pub(super) async fn run(State(app): State<App>) -> Result<StatusCode, Refused> {
    told(app.session.run())
}

/// Stops making the part; the earlier result stands.
#[utoipa::path(post, path = "/api/stop", operation_id = "stop", tag = "part",
    responses((status = 204, description = "it is stopped"), Refused))]
pub(super) async fn stop(State(app): State<App>) -> Result<StatusCode, Refused> {
    told(app.session.stop())
}

/// The part's surface with its regions.
#[utoipa::path(get, path = "/api/part/surface", operation_id = "part_surface", tag = "part",
    responses((status = 200, description = "it", body = SurfaceBytes,
        content_type = "application/octet-stream"),
        (status = 404, description = "there is none yet")))]
pub(super) async fn surface(State(app): State<App>) -> Response {
    numbers(app.session.part_surface())
}

/// A value for each point of the part's surface: its deviation, or its wall.
#[utoipa::path(get, path = "/api/part/map/{which}", operation_id = "part_map", tag = "part",
    params(("which" = String, Path, description = "`deviation` or `wall`")),
    responses((status = 200, description = "it", body = MapBytes,
        content_type = "application/octet-stream"),
        (status = 404, description = "there is none yet")))]
pub(super) async fn map(State(app): State<App>, Path(which): Path<String>) -> Response {
    numbers(app.session.part_map(&which))
}

/// A file of the result, as the state lists it.
///
/// The report is shown, without any right but to run the script that turns its part; all
/// else is handed over as a file.
#[utoipa::path(get, path = "/out/{name}", operation_id = "output", tag = "part",
    params(("name" = String, Path, description = "its name in the list, slashes and all")),
    responses((status = 200, description = "it", body = AnyFile,
        content_type = "application/octet-stream"),
        (status = 404, description = "there is no such file")))]
pub(super) async fn output(State(app): State<App>, Path(name): Path<String>) -> Response {
    let session = Arc::clone(&app.session);
    let wanted = name.clone();
    let found = tokio::task::spawn_blocking(move || session.output(&wanted)).await;
    let Ok(Some(bytes)) = found else { return StatusCode::NOT_FOUND.into_response() };
    if name == "report.html" {
        let script = assets::turning_script_hash().unwrap_or("'none'");
        let policy = format!(
            "sandbox allow-scripts; default-src 'none'; script-src {script}; \
             style-src 'unsafe-inline'; img-src data:"
        );
        let kind = "text/html; charset=utf-8".to_owned();
        let head = [(CONTENT_TYPE, kind), (CONTENT_SECURITY_POLICY, policy)];
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
