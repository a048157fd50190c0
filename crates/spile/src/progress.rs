//! Signs of life during long work: on a screen only.

use std::io::IsTerminal as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};
use spile_joint::{MakeError, Watch};

use crate::times::Times;

/// Shows the step that is going on, when standard error is a screen, or tells another.
pub(crate) struct Progress {
    bar: ProgressBar,
    times: Times,
    told: Option<Arc<dyn Watch + Send>>,
    /// Whether `told` has said to stop: that is not taken back, so that nothing is written of
    /// what a stopped step has left.
    is_stopped: AtomicBool,
}

/// How often the bar is drawn again while a step runs.
const TICK: Duration = Duration::from_millis(120);

impl Progress {
    /// A bar of about `steps` steps; none at all if standard error is no screen.
    pub fn new(steps: usize) -> Progress {
        if !std::io::stderr().is_terminal() {
            return Progress::on(ProgressBar::hidden(), None);
        }
        let bar = ProgressBar::new(steps as u64);
        let template = "{spinner} [{bar:24}] {elapsed} {msg}";
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style.progress_chars("=> "));
        }
        bar.enable_steady_tick(TICK);
        Progress::on(bar, None)
    }

    /// Nothing on the screen: `told` hears each step, and may stop the work.
    pub fn telling(told: Arc<dyn Watch + Send>) -> Progress {
        Progress::on(ProgressBar::hidden(), Some(told))
    }

    fn on(bar: ProgressBar, told: Option<Arc<dyn Watch + Send>>) -> Progress {
        Progress { bar, times: Times::new(), told, is_stopped: AtomicBool::new(false) }
    }

    /// Refuses to go on if the work is to stop.
    pub fn go_on(&self) -> Result<(), MakeError> {
        if self.cancelled() { Err(MakeError::Cancelled) } else { Ok(()) }
    }

    /// Wipes the bar off the screen.
    pub fn done(&self) {
        self.times.done();
        self.bar.finish_and_clear();
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.done();
    }
}

impl Watch for Progress {
    fn step(&self, step: &'static str, end: Option<&str>) {
        self.times.step(step);
        if let Some(told) = &self.told {
            told.step(step, end);
        }
        let position = self.bar.position() + 1;
        if self.bar.length().is_some_and(|length| position > length) {
            self.bar.set_length(position + 1);
        }
        self.bar.set_position(position);
        self.bar.set_message(match end {
            Some(end) => format!("{step} (end {end})"),
            None => step.to_owned(),
        });
    }

    fn cancelled(&self) -> bool {
        self.times.ask();
        if self.is_stopped.load(Ordering::Relaxed) {
            return true;
        }
        let says = self.told.as_ref().is_some_and(|told| told.cancelled());
        if says {
            self.is_stopped.store(true, Ordering::Relaxed);
        }
        says
    }
}
