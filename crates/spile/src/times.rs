//! Time, processor time and peak memory of each step, and how long it went without being asked
//! whether to stop, for benches: printed to standard error when the environment variable
//! `SPILE_TIMES` is set.

use std::sync::Mutex;
use std::time::Instant;

/// Watches the steps go by.
pub(crate) struct Times {
    current: Option<Mutex<Option<Running>>>,
}

/// The step that is going on.
struct Running {
    name: String,
    since: Instant,
    processor_s: f64,
    /// When it was last asked whether to stop, and the longest that it was not.
    asked: Instant,
    unasked_s: f64,
}

impl Running {
    /// It is asked whether to stop, or it ends.
    fn ask(&mut self) {
        self.unasked_s = self.unasked_s.max(self.asked.elapsed().as_secs_f64());
        self.asked = Instant::now();
    }
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

    /// It is asked whether to stop.
    pub fn ask(&self) {
        let Some(Ok(mut current)) = self.current.as_ref().map(Mutex::lock) else { return };
        if let Some(step) = &mut *current {
            step.ask();
        }
    }

    /// The last step ends.
    pub fn done(&self) {
        self.turn(None);
    }

    fn turn(&self, next: Option<&str>) {
        let Some(Ok(mut current)) = self.current.as_ref().map(Mutex::lock) else { return };
        let processor_s = processor_s();
        let now = Instant::now();
        let next = next.map(|name| Running {
            name: name.to_owned(),
            since: now,
            processor_s,
            asked: now,
            unasked_s: 0.0,
        });
        if let Some(mut step) = std::mem::replace(&mut *current, next) {
            step.ask();
            let seconds = step.since.elapsed().as_secs_f64();
            let busy = processor_s - step.processor_s;
            let peak = peak_mib();
            eprintln!(
                "time: {seconds:.3} s, processor {busy:.2} s, peak {peak} MiB: {}",
                step.name
            );
            // What a page's button to stop has to wait for at most.
            eprintln!("unasked: {:.3} s at most: {}", step.unasked_s, step.name);
        }
        reset_peak();
    }
}

/// Processor time of all threads so far, in seconds, where the system tells;
/// Linux counts it in hundredths of a second.
fn processor_s() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // The command's name, the second field, may hold spaces; it ends in `)`.
    let Some((_, after)) = stat.rsplit_once(')') else { return 0.0 };
    let ticks: u64 =
        after.split_whitespace().skip(11).take(2).filter_map(|n| n.parse::<u64>().ok()).sum();
    ticks as f64 / 100.0
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
