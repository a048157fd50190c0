//! A job that does next to nothing, a folder with a scan, and requests to the server.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode};
use http_body_util::BodyExt as _;
use spile_case::{Case, read_case_with};
use spile_formats::ReadMesh;
use spile_joint::Watch;
use spile_mesh::Mesh;
use spile_page::messages::{Examined, FittingShown, MendShown, Mistake, Refusal};
use spile_page::{Folder, Job, Limits, Loaded, Looked, MendedScan, Session, Start, Write, app};
use tokio::sync::Notify;
use tower::ServiceExt as _;

pub const TOKEN: &str = "0123456789abcdef";
pub const PORT: u16 = 4711;

/// A tetrahedron as an STL file in text.
pub const SCAN: &str = "solid t
facet normal 0 0 0
outer loop
vertex 0 0 0
vertex 0 9 0
vertex 9 0 0
endloop
endfacet
facet normal 0 0 0
outer loop
vertex 0 0 0
vertex 9 0 0
vertex 0 0 9
endloop
endfacet
facet normal 0 0 0
outer loop
vertex 0 0 0
vertex 0 0 9
vertex 0 9 0
endloop
endfacet
facet normal 0 0 0
outer loop
vertex 9 0 0
vertex 0 9 0
vertex 0 0 9
endloop
endfacet
endsolid t
";

pub const CASE: &str = "unit = \"mm\"\n[scan]\nfile = \"scan.stl\"\nform = \"shell\"\n\
    [[end]]\nname = \"upper\"\ncut = { through = [1, 1, 5], facing = [0, 0, 1] }\n\
    [limits]\ndeviation = 0.1 # how far\n";

/// Counts what it is asked to do, so that a test can tell that nothing was.
#[derive(Default)]
pub struct Idle {
    pub runs: AtomicUsize,
    /// Runs that hear nothing of being stopped go on until this is set.
    pub deaf_until: Option<AtomicBool>,
    /// How many of them have come to their end.
    pub ended: AtomicUsize,
}

impl Job for Idle {
    fn examine(&self, _: &str, _: &[u8], read: &ReadMesh) -> Looked {
        let examined = Examined {
            sha256: String::new(),
            triangles: read.mesh.triangles().len(),
            vertices: read.mesh.points().len(),
            unit_guess: "mm".into(),
            unit_stated: None,
            size: [9.0; 3],
            shells: 1,
            closed: true,
            findings: Vec::new(),
            ends: Vec::new(),
        };
        Looked { examined, starter: CASE.to_owned(), outlines: Vec::new() }
    }

    /// One mend that changes nothing.
    fn mend(&self, _: &Mesh, _: &str) -> Result<MendedScan, Refusal> {
        let mend = MendShown { kind: "flipped".into(), where_: [0.0; 3], size: 1.0, change: 0.0 };
        Ok(MendedScan { stl: SCAN.into(), mends: vec![mend], refused: Vec::new() })
    }

    fn fittings(&self) -> Vec<FittingShown> {
        Vec::new()
    }

    fn check(
        &self,
        text: &str,
        _: &Path,
        may_read: &dyn Fn(&str) -> Result<(), String>,
    ) -> Result<Case, Refusal> {
        let painted = &mut |file: &str| {
            may_read(file)?;
            Ok(spile_case::Painted { scan_sha256: String::new(), triangles: Vec::new() })
        };
        let case = read_case_with(text, "case.toml", painted).map_err(|mistakes| Refusal {
            places: mistakes
                .iter()
                .map(|m| Mistake {
                    line: m.line,
                    column: m.column,
                    message: m.message.clone(),
                    hints: m.hints(),
                })
                .collect(),
            ..Refusal::new("the case has mistakes")
        })?;
        for file in &case.scan.files {
            may_read(file).map_err(Refusal::new)?;
        }
        Ok(case)
    }

    fn load(&self, _: &Path) -> Result<Loaded, Refusal> {
        Err(Refusal::new("not in this test"))
    }

    /// Steps until it is stopped, for ten seconds at most; then writes. Deaf ones step until
    /// they are let go, and write their number.
    fn run(&self, _: &Path, out: &Path, watch: Arc<dyn Watch + Send>) -> Result<Write, Refusal> {
        let number = self.runs.fetch_add(1, Ordering::SeqCst) + 1;
        for _ in 0..1000 {
            watch.step("turn", Some("upper"));
            match &self.deaf_until {
                None if watch.cancelled() => return Err(Refusal::new("stopped on request")),
                Some(until) if until.load(Ordering::SeqCst) => break,
                _ => std::thread::sleep(Duration::from_millis(10)),
            }
        }
        self.ended.fetch_add(1, Ordering::SeqCst);
        let out = out.to_owned();
        Ok(Box::new(move || {
            let refused = |e: std::io::Error| Refusal::new(e.to_string());
            std::fs::create_dir_all(&out).map_err(refused)?;
            std::fs::write(out.join(format!("made-by-{number}")), "").map_err(refused)
        }))
    }
}

/// A server without a socket, in a folder of its own.
pub struct Bench {
    pub root: tempfile::TempDir,
    pub session: Arc<Session>,
    pub job: Arc<Idle>,
    pub router: Router,
}

impl Bench {
    /// With `scan.stl` and `case.toml`, and the case opened.
    pub fn new() -> Self {
        Self::with(Limits::default())
    }

    pub fn with(limits: Limits) -> Self {
        Self::of(limits, Idle::default())
    }

    /// Whose runs hear nothing of being stopped.
    pub fn deaf() -> Self {
        let deaf_until = Some(AtomicBool::new(false));
        Self::of(Limits::default(), Idle { deaf_until, ..Idle::default() })
    }

    fn of(limits: Limits, job: Idle) -> Self {
        let root = tempfile::tempdir().unwrap();
        let inner = root.path().join("in");
        std::fs::create_dir(&inner).unwrap();
        std::fs::write(inner.join("scan.stl"), SCAN).unwrap();
        std::fs::write(inner.join("case.toml"), CASE).unwrap();
        std::fs::write(root.path().join("secret.stl"), SCAN).unwrap();
        let job = Arc::new(job);
        let start = Start::File("case.toml".into());
        let folder = Folder::new(&inner).unwrap();
        let session = Session::new(folder, Arc::clone(&job) as Arc<dyn Job>, &start).unwrap();
        let router = app(Arc::clone(&session), PORT, TOKEN, &limits, Arc::new(Notify::new()));
        Self { root, session, job, router }
    }

    /// A request of the page's own, to be changed.
    pub fn own(method: &str, path: &str) -> axum::http::request::Builder {
        Request::builder()
            .method(method)
            .uri(format!("/{TOKEN}/{path}"))
            .header("host", format!("127.0.0.1:{PORT}"))
    }

    pub async fn send(&self, request: Request<Body>) -> (StatusCode, Vec<u8>) {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let code = response.status();
        (code, response.into_body().collect().await.unwrap().to_bytes().to_vec())
    }

    pub async fn ask(&self, method: &str, path: &str, body: &str) -> (StatusCode, String) {
        let request = Self::own(method, path).body(Body::from(body.to_owned())).unwrap();
        let (code, bytes) = self.send(request).await;
        (code, String::from_utf8_lossy(&bytes).into_owned())
    }

    /// The code of an answer, of which no more is read: some have no end.
    pub async fn code(&self, method: &str, path: &str) -> StatusCode {
        let request = Self::own(method, path).body(Body::empty()).unwrap();
        self.router.clone().oneshot(request).await.unwrap().status()
    }

    /// The head of an answer.
    pub async fn head(&self, path: &str) -> axum::http::HeaderMap {
        let request = Self::own("GET", path).body(Body::empty()).unwrap();
        self.router.clone().oneshot(request).await.unwrap().headers().clone()
    }

    /// Every file below the root with its bytes: what must not change.
    pub fn files(&self) -> Vec<(String, Vec<u8>)> {
        let mut found = Vec::new();
        let mut open = vec![self.root.path().to_owned()];
        while let Some(folder) = open.pop() {
            for entry in std::fs::read_dir(folder).unwrap().flatten() {
                match entry.file_type().unwrap() {
                    kind if kind.is_dir() => open.push(entry.path()),
                    _ => found.push((
                        entry.path().display().to_string(),
                        std::fs::read(entry.path()).unwrap_or_default(),
                    )),
                }
            }
        }
        found.sort();
        found
    }
}
