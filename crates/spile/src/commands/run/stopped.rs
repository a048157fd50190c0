//! A run that is stopped writes nothing, wherever it is stopped.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};

use spile_joint::Watch;

use super::{Wish, run_watched};
use crate::answer::Answer;
use crate::failure::Failure;
use crate::progress::Progress;

/// Counts how often each step is asked whether to stop, and stops at one of these asks.
#[derive(Default)]
struct Stops {
    at: Option<(&'static str, usize)>,
    asks: Mutex<(&'static str, BTreeMap<&'static str, usize>)>,
    has_stopped: AtomicBool,
}

impl Watch for Stops {
    fn step(&self, step: &'static str, _: Option<&str>) {
        assert!(!self.has_stopped.load(Ordering::Relaxed), "`{step}` begins after the stop");
        let mut asks = self.asks.lock().unwrap();
        asks.0 = step;
        asks.1.entry(step).or_default();
    }

    fn cancelled(&self) -> bool {
        let mut asks = self.asks.lock().unwrap();
        let step = asks.0;
        let count = asks.1.entry(step).or_default();
        *count += 1;
        // Only once: what was said must stay said.
        let says = self.at == Some((step, *count));
        self.has_stopped.fetch_or(says, Ordering::Relaxed);
        says
    }
}

/// The case of the arch on the real scan.
const ARCH: &str = "../../tests/real/aortic-arch.toml";

fn run(
    case: &Path,
    tries: u16,
    out: &Path,
    at: Option<(&'static str, usize)>,
) -> (Result<Answer, Failure>, Arc<Stops>) {
    let case = Path::new(env!("CARGO_MANIFEST_DIR")).join(case);
    let stops = Arc::new(Stops { at, ..Stops::default() });
    let wish = Wish { tries, all_files: false, report: tries == 0 };
    let ready = run_watched(&case, wish, &Progress::telling(stops.clone()));
    (ready.and_then(|ready| ready.write(out)), stops)
}

/// Every file below a folder with its bytes; none where there is no folder.
fn files(folder: &Path) -> Option<BTreeMap<String, Vec<u8>>> {
    let entries = std::fs::read_dir(folder).ok()?.map(|entry| entry.unwrap().path());
    let read = |path: &Path| std::fs::read(path).unwrap_or_default();
    Some(entries.map(|path| (path.display().to_string(), read(&path))).collect())
}

#[test]
fn a_run_stopped_in_any_step_is_an_error_and_writes_nothing() {
    let place = tempfile::tempdir().unwrap();
    let (made, stops) = run(ARCH.as_ref(), 0, &place.path().join("whole"), None);
    assert!(made.is_ok(), "{made:?}");
    let asks = stops.asks.lock().unwrap().1.clone();
    let steps = [
        "read", "align", "mend", "walls", "cut", "refine", "fair", "span", "close", "assemble",
        "write", "prove", "measure", "report",
    ];
    for step in steps {
        assert!(asks.get(step).is_some_and(|&n| n > 0), "`{step}` is never asked: {asks:?}");
    }
    // A folder with an earlier result, and one that is not there.
    let [old, none] = ["old", "none"].map(|name| place.path().join(name));
    std::fs::create_dir(&old).unwrap();
    std::fs::write(old.join("proof.json"), "an earlier proof").unwrap();
    let before = files(&old);
    let stop = |step, ask, out: &Path| {
        let (made, _) = run(ARCH.as_ref(), 0, out, Some((step, ask)));
        let Err(failure) = made else { panic!("stopped at ask {ask} of `{step}`: {made:?}") };
        assert_eq!(failure.message, "stopped on request", "ask {ask} of `{step}`");
    };
    for (&step, &asks) in &asks {
        stop(step, 1, &old);
        // As many asks as there are at least on any number of threads.
        stop(step, asks.div_ceil(2), &none);
    }
    // The last moment: all is there but to be written.
    stop("report", asks["report"], &old);
    assert_eq!(files(&old), before);
    assert_eq!(files(&none), None);
}

/// What a case leaves to be found, and what would hold in place of what is broken, is sought
/// by making part after part: long, and to be stopped within each of them.
#[test]
fn what_makes_part_after_part_is_asked_within_each_and_stops() {
    let place = tempfile::tempdir().unwrap();
    let arch = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(ARCH));
    let scan = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans");
    let arch = arch.unwrap().replace("../scans", &scan.display().to_string().replace('\\', "/"));
    let changed = |name: &str, from: &str, to: &str| {
        assert!(arch.contains(from), "{from}");
        let file = place.path().join(name);
        std::fs::write(&file, arch.replace(from, to)).unwrap();
        file
    };
    let sought = changed("sought.toml", "{ gap = 15.0 }", "\"auto\"");
    let broken = changed("broken.toml", "kink = 10.0", "kink = 0.5");
    let out = place.path().join("out");
    for (case, step, tries) in [(sought, "seek", 0), (broken, "try", 2)] {
        let (made, stops) = run(&case, tries, &place.path().join("whole"), None);
        assert!(made.is_ok(), "{made:?}");
        let asks = stops.asks.lock().unwrap().1.get(step).copied().unwrap_or_default();
        assert!(asks > 100, "`{step}` is asked {asks} times only");
        for ask in [1, asks / 3, asks / 2] {
            let (made, _) = run(&case, tries, &out, Some((step, ask)));
            let Err(failure) = made else { panic!("stopped at ask {ask} of `{step}`: {made:?}") };
            assert_eq!(failure.message, "stopped on request", "ask {ask} of `{step}`");
        }
    }
    assert_eq!(files(&out), None);
}
