//! The page's types are those of the server: written from them, and checked to be fresh.

use std::path::Path;

use spile_page::messages::{
    CaseShown, ConflictShown, Edit, Edits, EndLine, ErrorDocument, Examined, FileShown,
    FindingShown, FittingShown, FoundEndShown, KeepFile, LimitShown, LineAsked, LinePoint,
    LineShown, LoopShown, MendRefused, MendShown, MendedShown, Mistake, Named, NewText, Painted,
    PartShown, PlaneAsked, ReachAsked, Refusal, ResultShown, RunShown, ScanShown, SectionShown,
    SizeShown, State, StationShown, Step, StepShown, WantedShown, Which,
};
use ts_rs::{Config, TS};

/// Set to write the file anew.
const WRITE: &str = "SPILE_WRITE_TYPES";

fn written() -> String {
    let config = Config::new();
    let mut out = String::from(
        "// The server's messages. Written from crates/spile-page/src/messages.rs; do not edit:\n\
         // SPILE_WRITE_TYPES=1 cargo test -p spile-page types\n",
    );
    let mut add = |text: String| out.push_str(&format!("\nexport {text}\n"));
    macro_rules! all { ($($t:ty),* $(,)?) => { $(add(<$t>::decl(&config));)* } }
    all!(
        ErrorDocument,
        Refusal,
        Mistake,
        Examined,
        FindingShown,
        FoundEndShown,
        State,
        ScanShown,
        CaseShown,
        Edit,
        Step,
        Edits,
        NewText,
        Named,
        RunShown,
        StepShown,
        ResultShown,
        LimitShown,
        ConflictShown,
        WantedShown,
        EndLine,
        StationShown,
        PartShown,
        FileShown,
        SectionShown,
        LoopShown,
        PlaneAsked,
        Which,
        LineAsked,
        LineShown,
        LinePoint,
        ReachAsked,
        Painted,
        KeepFile,
        FittingShown,
        SizeShown,
        MendedShown,
        MendShown,
        MendRefused,
    );
    out
}

#[test]
fn the_pages_types_are_the_servers() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("web/src/api/messages.ts");
    if std::env::var_os(WRITE).is_some() {
        std::fs::write(&path, written()).unwrap();
    }
    let there = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(there == written(), "messages.ts is not fresh; write it with {WRITE}=1");
}
