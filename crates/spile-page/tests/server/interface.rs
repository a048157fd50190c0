//! What a script can ask is described, and nothing else is: every route has its description,
//! every description its route, and what the guide holds is fresh.

use std::collections::BTreeSet;
use std::path::Path;

use axum::http::StatusCode;
use serde_json::Value;

use crate::support::{Bench, TOKEN};

/// Set to write the file anew.
const WRITE: &str = "SPILE_WRITE_TYPES";

/// What is answered but is no part of the interface: the page's own files, and the
/// description itself.
const NOT_DESCRIBED: [&str; 3] = ["/", "/{file}", "/api/openapi.json"];

fn described() -> Value {
    serde_json::to_value(spile_page::description()).unwrap()
}

/// The method and path of everything that is described.
fn operations(description: &Value) -> BTreeSet<(String, String)> {
    let paths = description["paths"].as_object().unwrap();
    let of = |(path, methods): (&String, &Value)| {
        let names: Vec<String> = methods.as_object().unwrap().keys().cloned().collect();
        names.into_iter().map(|method| (method, path.clone())).collect::<Vec<_>>()
    };
    paths.iter().flat_map(of).collect()
}

/// The paths of a router's routes, as its debug text has them: it tells them nowhere else.
fn routes(bench: &Bench) -> BTreeSet<String> {
    let text = format!("{:?}", bench.router);
    let start = format!("\"/{TOKEN}");
    let pieces = text.split(&start).skip(1);
    let path = |rest: &str| rest.split_once('"').map(|(path, _)| path.to_owned());
    pieces.filter_map(path).collect()
}

#[tokio::test]
async fn every_route_is_described_and_every_description_has_its_route() {
    let bench = Bench::new();
    let described: BTreeSet<String> =
        operations(&described()).into_iter().map(|(_, path)| path).collect();
    let known = described.iter().map(|path| path.replace("/out/{name}", "/out/{*name}"));
    let known: BTreeSet<String> = known.chain(NOT_DESCRIBED.map(str::to_owned)).collect();
    assert_eq!(routes(&bench), known);
    for (method, path) in operations(&self::described()) {
        let path = path.replace("{k}", "0").replace("{which}", "wall").replace("{name}", "x.stl");
        let path = path.trim_start_matches('/');
        // A method that is not described is refused as that, one that is is not.
        assert_eq!(bench.code("PATCH", path).await, StatusCode::METHOD_NOT_ALLOWED, "{path}");
        let code = bench.code(&method.to_uppercase(), path).await;
        assert_ne!(code, StatusCode::METHOD_NOT_ALLOWED, "{method} {path}");
    }
}

#[tokio::test]
async fn the_served_description_is_the_guides_with_the_servers_own_address() {
    let bench = Bench::new();
    let (code, body) = bench.ask("GET", "api/openapi.json", "").await;
    assert_eq!(code, StatusCode::OK);
    let mut served: Value = serde_json::from_str(&body).unwrap();
    assert_eq!(served["servers"][0]["url"], format!("http://127.0.0.1:4711/{TOKEN}"));
    let mut own = described();
    served["servers"] = Value::Null;
    own["servers"] = Value::Null;
    assert_eq!(served, own);
}

#[test]
fn the_guides_description_is_fresh() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/src/openapi.json");
    let written = serde_json::to_string_pretty(&described()).unwrap() + "\n";
    if std::env::var_os(WRITE).is_some() {
        std::fs::write(&path, &written).unwrap();
    }
    let there = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(there == written, "openapi.json is not fresh; write it with {WRITE}=1");
}
