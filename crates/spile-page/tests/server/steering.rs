//! The job steered by requests, as the page and scripts do it.

use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use crate::support::{Bench, CASE};
use axum::http::StatusCode;
use serde_json::{Value, json};
use spile_page::is_built;

async fn state(bench: &Bench) -> Value {
    serde_json::from_str(&bench.ask("GET", "api/state", "").await.1).unwrap()
}

/// Waits until the state is as wished.
async fn until(bench: &Bench, wished: impl Fn(&Value) -> bool) -> Value {
    let started = Instant::now();
    loop {
        let now = state(bench).await;
        if wished(&now) {
            return now;
        }
        assert!(started.elapsed() < Duration::from_secs(20), "{now}");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

async fn edit(bench: &Bench, path: Value, value: Value) -> StatusCode {
    let body = json!({ "what": "a change", "edits": [{ "path": path, "value": value }] });
    bench.ask("POST", "api/edit", &body.to_string()).await.0
}

#[tokio::test]
async fn the_page_is_at_the_address_that_is_printed() {
    let bench = Bench::new();
    let wished = if is_built() { StatusCode::OK } else { StatusCode::NOT_FOUND };
    for file in ["", "page.js", "page.css"] {
        assert_eq!(bench.ask("GET", file, "").await.0, wished, "{file}");
    }
    assert_eq!(bench.ask("GET", ".gitignore", "").await.0, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn values_change_are_undone_and_saved() {
    let bench = Bench::new();
    assert_eq!(edit(&bench, json!(["limits", "deviation"]), json!(0.25)).await, 204);
    let now = state(&bench).await;
    assert_eq!(now["case"]["values"]["limits"]["deviation"], 0.25);
    assert_eq!(now["case"]["text"], CASE.replace("0.1 ", "0.25 "));
    assert_eq!(
        (&now["case"]["undo"], &now["case"]["is_saved"]),
        (&json!("a change"), &json!(false))
    );
    assert_eq!(bench.ask("POST", "api/undo", "").await.0, 204);
    let now = state(&bench).await;
    assert_eq!((&now["case"]["text"], &now["case"]["is_saved"]), (&json!(CASE), &json!(true)));
    assert_eq!(bench.ask("POST", "api/undo", "").await.0, 422);
    assert_eq!(bench.ask("POST", "api/redo", "").await.0, 204);
    assert_eq!(bench.ask("POST", "api/save", "").await.0, 204);
    let file = bench.root.path().join("in/case.toml");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), CASE.replace("0.1 ", "0.25 "));
    // Changed by another meanwhile: nothing is written over.
    std::fs::write(&file, "# mine\n").unwrap();
    assert_eq!(edit(&bench, json!(["limits", "kink"]), json!(9)).await, 204);
    let (code, said) = bench.ask("POST", "api/save", "").await;
    assert_eq!(code, 422);
    assert!(said.contains("was changed outside this page"), "{said}");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "# mine\n");
}

#[test]
fn of_changes_that_come_together_none_is_lost() {
    let bench = Bench::new();
    let keys = ["wall_min", "bore_loss", "kink", "ball_min", "chord"];
    // Often, for what must not happen would be a matter of moments.
    for round in 1..=40 {
        std::thread::scope(|scope| {
            for key in keys {
                let session = &bench.session;
                scope.spawn(move || {
                    let edit = json!({ "path": ["limits", key], "value": 0.01 * f64::from(round) });
                    let edits = json!({ "what": key, "edits": [edit] });
                    session.edit(&serde_json::from_value(edits).unwrap()).unwrap();
                });
            }
        });
        let case = bench.session.state().case.unwrap();
        for key in keys {
            assert_eq!(case.values["limits"][key], 0.01 * f64::from(round), "{key} {round}");
        }
        assert_eq!(case.refused, None);
    }
}

#[tokio::test]
async fn a_mistake_is_told_at_its_line_and_nothing_is_made_of_it() {
    let bench = Bench::new();
    assert_eq!(edit(&bench, json!(["limits", "deviation"]), json!(-1)).await, 204);
    let refused = &state(&bench).await["case"]["refused"];
    assert_eq!(refused["places"][0]["line"], 9);
    assert_eq!(bench.ask("POST", "api/run", "").await.0, 422);
    assert_eq!(bench.job.runs.load(Ordering::SeqCst), 0);
    let file = bench.root.path().join("in/case.toml");
    assert_eq!(std::fs::read_to_string(file).unwrap(), CASE);
}

#[tokio::test]
async fn a_making_is_told_step_by_step_and_stops_at_once() {
    let bench = Bench::new();
    assert_eq!(bench.ask("POST", "api/run", "").await.0, 204);
    let now =
        until(&bench, |now| now["run"]["steps"].as_array().is_some_and(|s| s.len() > 2)).await;
    assert_eq!(now["run"]["steps"][0]["end"], "upper");
    assert_eq!(bench.ask("POST", "api/run", "").await.0, 422);
    assert_eq!(bench.ask("POST", "api/open", "{\"file\": \"scan.stl\"}").await.0, 422);
    let started = Instant::now();
    assert_eq!(bench.ask("POST", "api/stop", "").await.0, 204);
    assert_eq!(state(&bench).await["run"]["is"], "stopped");
    assert!(started.elapsed() < Duration::from_millis(500));
    assert_eq!(bench.ask("POST", "api/stop", "").await.0, 422);
    // It can be begun again, and what was stopped left nothing.
    assert_eq!(bench.ask("POST", "api/run", "").await.0, 204);
    assert_eq!(bench.ask("POST", "api/stop", "").await.0, 204);
    assert!(!bench.root.path().join("in/case-out").exists());
}

#[tokio::test]
async fn a_stopped_making_that_hears_nothing_delays_nobody_and_its_result_never_lands() {
    let bench = Bench::deaf();
    let begun = |n: usize| {
        let job = &bench.job;
        move |now: &Value| {
            job.runs.load(Ordering::SeqCst) == n && now["run"]["steps"][0]["end"] == "upper"
        }
    };
    let started = Instant::now();
    assert_eq!(bench.ask("POST", "api/run", "").await.0, 204);
    until(&bench, begun(1)).await;
    assert_eq!(bench.ask("POST", "api/stop", "").await.0, 204);
    assert_eq!(state(&bench).await["run"]["is"], "stopped");
    // The stopped thread still works: its steps are no longer told, and the next begins.
    assert_eq!(bench.ask("POST", "api/run", "").await.0, 204);
    until(&bench, begun(2)).await;
    assert_eq!(bench.job.ended.load(Ordering::SeqCst), 0);
    assert_eq!(bench.ask("POST", "api/stop", "").await.0, 204);
    assert_eq!(bench.ask("POST", "api/run", "").await.0, 204);
    until(&bench, begun(3)).await;
    assert!(started.elapsed() < Duration::from_secs(8), "who runs to the end takes ten");
    // All three come to their end at once: the last alone is written.
    let deaf_until = bench.job.deaf_until.as_ref().unwrap();
    deaf_until.store(true, Ordering::SeqCst);
    until(&bench, |now| now["run"]["is"] == "done").await;
    while bench.job.ended.load(Ordering::SeqCst) < 3 {
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    tokio::time::sleep(Duration::from_millis(200)).await;
    let out = std::fs::read_dir(bench.root.path().join("in/case-out")).unwrap();
    let names: Vec<_> = out.map(|file| file.unwrap().file_name()).collect();
    assert_eq!(names, ["made-by-3"]);
    assert_eq!(state(&bench).await["run"]["is"], "done");
    assert_eq!(bench.ask("POST", "api/stop", "").await.0, 422);
}

#[tokio::test]
async fn what_is_painted_comes_and_goes_with_the_case() {
    let bench = Bench::new();
    until(&bench, |now| !now["scan"]["examined"].is_null()).await;
    let named = |now: &Value| now["case"]["values"]["keep"][0]["file"].as_str().map(str::to_owned);
    let is_there = |name: &str| bench.root.path().join("in").join(name).exists();
    // Out of order and twice; a triangle that there is not.
    assert_eq!(bench.ask("POST", "api/paint", "{\"triangles\": [9]}").await.0, 422);
    assert_eq!(bench.ask("POST", "api/paint", "{\"triangles\": [2, 0, 2]}").await.0, 204);
    let first = named(&state(&bench).await).unwrap();
    let (code, said) = bench.ask("GET", "api/keep/0", "").await;
    let said: Value = serde_json::from_str(&said).unwrap();
    assert_eq!((code, &said["triangles"]), (StatusCode::OK, &json!([0, 2])));
    // Put in its place; the earlier file is named by nothing then, until it is undone.
    assert_eq!(bench.ask("POST", "api/paint", "{\"keep\": 0, \"triangles\": [1]}").await.0, 204);
    let second = named(&state(&bench).await).unwrap();
    assert!(is_there(&second) && !is_there(&first));
    assert_eq!(bench.ask("POST", "api/undo", "").await.0, 204);
    assert!(is_there(&first) && !is_there(&second));
    assert_eq!(state(&bench).await["case"]["refused"], json!(null));
    // What the saved case names stays, whatever is undone; the rest goes at the end.
    assert_eq!(bench.ask("POST", "api/save", "").await.0, 204);
    assert_eq!(bench.ask("POST", "api/redo", "").await.0, 204);
    assert!(is_there(&first) && is_there(&second));
    // Without any triangle the keep goes.
    assert_eq!(bench.ask("POST", "api/paint", "{\"keep\": 0, \"triangles\": []}").await.0, 204);
    assert_eq!(named(&state(&bench).await), None);
    bench.session.end();
    assert!(is_there(&first) && !is_there(&second));
}

#[tokio::test]
async fn a_mended_scan_has_a_file_of_its_own() {
    let bench = Bench::new();
    until(&bench, |now| !now["scan"]["examined"].is_null()).await;
    assert_eq!(bench.ask("POST", "api/mend", "").await.0, 204);
    let now = until(&bench, |now| now["scan"]["file"] == "scan-mended.stl").await;
    assert_eq!(now["scan"]["mended"]["of"], "scan.stl");
    assert_eq!(now["scan"]["mended"]["mends"][0]["kind"], "flipped");
    assert_eq!(now["case"]["text"], CASE.replace("scan.stl", "scan-mended.stl"));
    assert_eq!(bench.ask("POST", "api/undo", "").await.0, 204);
    let now = until(&bench, |now| now["scan"]["file"] == "scan.stl").await;
    assert_eq!((&now["scan"]["mended"], &now["case"]["text"]), (&json!(null), &json!(CASE)));
}

#[tokio::test]
async fn a_scan_gets_a_case_and_its_surface() {
    let bench = Bench::new();
    assert_eq!(bench.ask("POST", "api/open", "{\"file\": \"scan.stl\"}").await.0, 204);
    let now = until(&bench, |now| !now["case"].is_null()).await;
    assert_eq!(now["scan"]["examined"]["triangles"], 4);
    assert_eq!(now["case"]["file"], "scan.toml");
    let request = Bench::own("GET", "api/scan/surface").body(axum::body::Body::empty()).unwrap();
    let (code, bytes) = bench.send(request).await;
    assert_eq!((code, bytes.len()), (StatusCode::OK, 16 + 12 * (4 + 4)));
    // The plane z = 3 cuts the corner of legs 9 in a triangle of legs 6.
    let plane = json!({ "through": [0, 0, 3], "facing": [0, 0, 2] }).to_string();
    let (code, said) = bench.ask("POST", "api/section", &plane).await;
    let said: Value = serde_json::from_str(&said).unwrap();
    assert_eq!(code, StatusCode::OK);
    assert!((said["loops"][0]["area"].as_f64().unwrap() - 18.0).abs() < 1e-9, "{said}");
    // The file that is there already is not written over: the case takes another name.
    std::fs::write(bench.root.path().join("in/scan.toml"), "mine").unwrap();
    assert_eq!(bench.ask("POST", "api/save", "").await.0, 204);
    assert_eq!(state(&bench).await["case"]["file"], "scan-2.toml");
}
