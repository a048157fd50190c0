//! What the page's script reads is what is written: its types come from ours.

use std::path::Path;

use spile_report::{EndTold, MapTold, PlaceTold, RegionTold, Turnable};
use ts_rs::{Config, TS};

/// Set to write the file anew.
const WRITE: &str = "SPILE_WRITE_TYPES";

#[test]
fn the_scripts_types_are_the_reports() {
    let config = Config::new();
    let mut written = String::from(
        "// The part to be turned in a report. Written from crates/spile-report/src/turnable.rs; do\n\
         // not edit: SPILE_WRITE_TYPES=1 cargo test -p spile-report types\n",
    );
    let all = [
        Turnable::decl(&config),
        RegionTold::decl(&config),
        MapTold::decl(&config),
        EndTold::decl(&config),
        PlaceTold::decl(&config),
    ];
    all.iter().for_each(|text| written.push_str(&format!("\nexport {text}\n")));
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../spile-page/web/src/api/turnable.ts");
    if std::env::var_os(WRITE).is_some() {
        std::fs::write(&path, &written).unwrap();
    }
    let there = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(there == written, "turnable.ts is not fresh; write it with {WRITE}=1");
}
