//! What is answered, below the token.
//!
//! `GET /`, `page.js` and `page.css` are the page. All else is described where it is
//! answered; the description is served at `GET api/openapi.json`, and `docs/src/openapi.json`
//! is the same. What is refused is `{error: {message, hints, places}}`, as the commands have
//! it.

mod answer;
mod case;
mod part;
mod scan;

use std::sync::Arc;
use std::time::Duration;

use axum::extract::{DefaultBodyLimit, Path};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::middleware::from_fn_with_state;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Json, Router};
use tokio::sync::{Notify, Semaphore};
use tower_http::timeout::TimeoutLayer;
use utoipa::OpenApi;
use utoipa::openapi::{ServerBuilder, ServerVariableBuilder};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::assets;
use crate::guard::{Guard, guarded};
use crate::messages::{ErrorDocument, Mistake, Refusal};
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
    let (described, mut description) = described(limits).split_for_parts();
    let server = ServerBuilder::new().url(format!("http://127.0.0.1:{port}/{token}")).build();
    description.servers = Some(vec![server]);
    let below = described
        .route("/{file}", get(|Path(file): Path<String>| async move { page(&file) }))
        .route("/api/openapi.json", get(move || async move { Json(description) }))
        .with_state(state);
    Router::new()
        // Everything else is relative to this, so the slash counts.
        .route(&format!("/{token}/"), get(|| async { page("index.html") }))
        .nest(&format!("/{token}"), below)
        .layer(TimeoutLayer::with_status_code(StatusCode::REQUEST_TIMEOUT, limits.answer))
        .layer(from_fn_with_state(Guard::new(port, token), guarded))
}

/// What a script can ask, as OpenAPI describes it.
pub fn description() -> utoipa::openapi::OpenApi {
    let mut description = described(&Limits::default()).into_openapi();
    let variable = |default: &str, words: &str| {
        ServerVariableBuilder::new().default_value(default).description(Some(words)).build()
    };
    let server = ServerBuilder::new()
        .url("http://127.0.0.1:{port}/{token}")
        .description(Some("the address that `spile open` prints"))
        .parameter("port", variable("0", "that of the printed address"))
        .parameter(
            "token",
            variable("token", "that of the printed address; without it nothing is answered"),
        )
        .build();
    description.servers = Some(vec![server]);
    description
}

/// What is described beside what each place says of itself.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "spile open",
        description = "All that the page of `spile open` does, for scripts. Lengths are in the case's unit, areas in its square, angles in degrees.",
        license(name = "MIT OR Apache-2.0"),
    ),
    paths(part::output),
    // Answers that are refused name these alone.
    components(schemas(ErrorDocument, Refusal, Mistake)),
    tags(
        (name = "case", description = "the case, and what is told of all"),
        (name = "scan", description = "the scan: handed over, looked at, cut in thought, painted, mended"),
        (name = "part", description = "the part: made, looked at, handed over"),
    ),
)]
struct Description;

/// All that is answered and described.
fn described(limits: &Limits) -> OpenApiRouter<App> {
    let files = OpenApiRouter::new()
        .routes(routes!(scan::put_file))
        .routes(routes!(scan::put_fitting))
        .routes(routes!(scan::paint))
        .layer(DefaultBodyLimit::max(limits.file_bytes));
    OpenApiRouter::with_openapi(Description::openapi())
        .routes(routes!(case::state))
        .routes(routes!(case::events))
        .routes(routes!(case::open))
        .routes(routes!(case::set_text))
        .routes(routes!(case::edit))
        .routes(routes!(case::undo))
        .routes(routes!(case::redo))
        .routes(routes!(case::save))
        .routes(routes!(case::end))
        .routes(routes!(scan::fittings))
        .routes(routes!(scan::surface))
        .routes(routes!(scan::finding))
        .routes(routes!(scan::section))
        .routes(routes!(scan::line))
        .routes(routes!(scan::reach))
        .routes(routes!(scan::keep))
        .routes(routes!(scan::mend))
        .routes(routes!(part::run))
        .routes(routes!(part::stop))
        .routes(routes!(part::surface))
        .routes(routes!(part::map))
        // OpenAPI has no name that takes slashes: it is described above.
        .route("/out/{*name}", get(part::output))
        .layer(DefaultBodyLimit::max(limits.request_bytes))
        .merge(files)
}

fn page(name: &str) -> Response {
    match assets::file(name) {
        Some((bytes, kind)) => ([(CONTENT_TYPE, kind)], bytes).into_response(),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}
