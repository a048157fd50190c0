//! Time and peak memory of each step, for benches: printed to standard error
//! when the environment variable `SPILE_TIMES` is set.

use std::sync::Mutex;
use std::time::Instant;

/// Watches the steps go by.
pub(crate) struct Times {
    current: Option<Mutex<Option<(String, Instant)>>>,
}

impl Times {
    /// Times that are printed if they are asked for.
    pub fn new() -> Times {
        let asked = std::env::var_os("SPILE_TIMES").is_some();
        Times { current: asked.then(|| Mutex::new(None)) }
    }

    /// A step begins, and the one before it ends.
    pub fn step(&self, name: &str) {
        self.turn(Some(name));
    }

    /// The last step ends.
    pub fn done(&self) {
        self.turn(None);
    }

    fn turn(&self, next: Option<&str>) {
        let Some(Ok(mut current)) = self.current.as_ref().map(Mutex::lock) else { return };
        let next = next.map(|name| (name.to_owned(), Instant::now()));
        if let Some((name, since)) = std::mem::replace(&mut *current, next) {
            let seconds = since.elapsed().as_secs_f64();
            eprintln!("time: {seconds:.3} s, peak {} MiB: {name}", peak_mib());
        }
        reset_peak();
    }
}

/// Peak resident memory since the last reset, where the system tells.
fn peak_mib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.and_then(|l| l.split_whitespace().next()?.parse::<u64>().ok()).unwrap_or(0) / 1024
}

/// Starts the peak anew; where the system does not know how, peaks add up.
fn reset_peak() {
    let _ = std::fs::write("/proc/self/clear_refs", "5");
}
