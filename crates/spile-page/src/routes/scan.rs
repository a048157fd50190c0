//! The scan: handed over, looked at, cut in thought, painted, mended.

use std::sync::Arc;

use axum::Json;
use axum::body::Bytes;
use axum::extract::{FromRequest as _, Path, Request, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

use super::App;
use super::answer::{Refused, aside, numbers, understood};
use crate::messages::{
    AnyFile, FittingShown, KeepFile, LineAsked, LineShown, Named, OutlineBytes, Painted,
    PlaneAsked, ReachAsked, Refusal, SectionShown, SurfaceBytes, TrianglesBytes,
};
use crate::session::Session;

/// Writes a scan or a case to the folder, under a name that is free, and takes it in hand.
#[utoipa::path(put, path = "/api/file/{name}", operation_id = "put_file", tag = "scan",
    params(("name" = String, Path, description = "the name that it should have")),
    request_body(content = AnyFile, content_type = "application/octet-stream"),
    responses((status = 200, description = "the name that it has", body = Named),
        (status = 413, description = "it is too large"), Refused))]
pub(super) async fn put_file(
    State(app): State<App>,
    Path(name): Path<String>,
    request: Request,
) -> Result<Json<Named>, Response> {
    taken(app, request, move |session, bytes| session.take(&name, bytes)).await
}

/// Writes a fitting's file to the folder, under a name that is free.
#[utoipa::path(put, path = "/api/fitting/{name}", operation_id = "put_fitting", tag = "scan",
    params(("name" = String, Path, description = "the name that it should have")),
    request_body(content = AnyFile, content_type = "application/octet-stream"),
    responses((status = 200, description = "the name that it has", body = Named),
        (status = 413, description = "it is too large"), Refused))]
pub(super) async fn put_fitting(
    State(app): State<App>,
    Path(name): Path<String>,
    request: Request,
) -> Result<Json<Named>, Response> {
    taken(app, request, move |session, bytes| session.take_fitting(&name, bytes)).await
}

/// Takes a file from the browser, one at a time, so that two large ones never lie in memory
/// together.
async fn taken(
    app: App,
    request: Request,
    take: impl FnOnce(&Arc<Session>, &[u8]) -> Result<String, Refusal> + Send + 'static,
) -> Result<Json<Named>, Response> {
    let _one = app.uploads.acquire().await.map_err(|_| StatusCode::GONE.into_response())?;
    let body = Bytes::from_request(request, &()).await.map_err(IntoResponse::into_response)?;
    let session = Arc::clone(&app.session);
    let file = aside(move || take(&session, &body)).await.map_err(IntoResponse::into_response)?;
    Ok(Json(Named { file }))
}

/// The fittings that are known.
#[utoipa::path(get, path = "/api/fittings", operation_id = "fittings", tag = "scan",
    responses((status = 200, description = "kind by kind", body = Vec<FittingShown>)))]
pub(super) async fn fittings(State(app): State<App>) -> Json<Vec<FittingShown>> {
    Json(app.session.fittings())
}

/// The scan's surface.
#[utoipa::path(get, path = "/api/scan/surface", operation_id = "scan_surface", tag = "scan",
    responses((status = 200, description = "it", body = SurfaceBytes,
        content_type = "application/octet-stream"),
        (status = 404, description = "there is none yet")))]
pub(super) async fn surface(State(app): State<App>) -> Response {
    numbers(app.session.scan_surface())
}

/// The outlines of a finding.
#[utoipa::path(get, path = "/api/scan/finding/{k}", operation_id = "finding", tag = "scan",
    params(("k" = usize, Path, description = "its place in the state's list, from 0")),
    responses((status = 200, description = "they", body = OutlineBytes,
        content_type = "application/octet-stream"),
        (status = 400, description = "this is no number"),
        (status = 404, description = "there is no such finding")))]
pub(super) async fn finding(State(app): State<App>, Path(k): Path<usize>) -> Response {
    numbers(app.session.outline(k).map(Arc::new))
}

/// The loops of scan or part in a plane.
#[utoipa::path(post, path = "/api/section", operation_id = "section", tag = "scan",
    request_body = PlaneAsked,
    responses((status = 200, description = "they", body = SectionShown), Refused))]
pub(super) async fn section(
    State(app): State<App>,
    body: Bytes,
) -> Result<Json<SectionShown>, Refused> {
    let plane: PlaneAsked = understood(&body)?;
    aside(move || app.session.section(plane)).await.map(Json)
}

/// The line along the middle of the scan's bore.
#[utoipa::path(post, path = "/api/line", operation_id = "line", tag = "scan",
    request_body = LineAsked,
    responses((status = 200, description = "it", body = LineShown), Refused))]
pub(super) async fn line(State(app): State<App>, body: Bytes) -> Result<Json<LineShown>, Refused> {
    let asked: LineAsked = understood(&body)?;
    aside(move || app.session.line(asked)).await.map(Json)
}

/// The scan's triangles within reach of an end.
#[utoipa::path(post, path = "/api/reach", operation_id = "reach", tag = "scan",
    request_body = ReachAsked,
    responses((status = 200, description = "they", body = TrianglesBytes,
        content_type = "application/octet-stream"), Refused))]
pub(super) async fn reach(State(app): State<App>, body: Bytes) -> Result<Response, Refused> {
    let asked: ReachAsked = understood(&body)?;
    let found = aside(move || app.session.reached(asked)).await?;
    Ok(numbers(Some(Arc::new(found))))
}

/// Keeps triangles of the scan.
#[utoipa::path(post, path = "/api/paint", operation_id = "paint", tag = "scan",
    request_body = Painted,
    responses((status = 204, description = "done"),
        (status = 413, description = "these are too many"), Refused))]
pub(super) async fn paint(State(app): State<App>, body: Bytes) -> Result<StatusCode, Refused> {
    let painted: Painted = understood(&body)?;
    aside(move || app.session.paint(&painted)).await.map(|()| StatusCode::NO_CONTENT)
}

/// The file of a painted keep.
#[utoipa::path(get, path = "/api/keep/{k}", operation_id = "keep", tag = "scan",
    params(("k" = usize, Path, description = "its place among the case's keeps, from 0")),
    responses((status = 200, description = "it", body = KeepFile),
        (status = 400, description = "this is no number"), Refused))]
pub(super) async fn keep(
    State(app): State<App>,
    Path(k): Path<usize>,
) -> Result<Response, Refused> {
    let file = aside(move || app.session.painted(k)).await?;
    Ok(([(CONTENT_TYPE, "application/json")], file).into_response())
}

/// Writes the scan mended, under a name of its own, and has the case name that.
#[utoipa::path(post, path = "/api/mend", operation_id = "mend", tag = "scan",
    responses((status = 204, description = "done"), Refused))]
pub(super) async fn mend(State(app): State<App>) -> Result<StatusCode, Refused> {
    aside(move || app.session.mend()).await.map(|()| StatusCode::NO_CONTENT)
}
