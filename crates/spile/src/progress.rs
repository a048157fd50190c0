//! Signs of life during long work: on a screen only.

use std::io::IsTerminal as _;
use std::sync::Arc;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};
use spile_joint::{MakeError, Watch};

use crate::times::Times;

/// Shows the step that is going on, when standard error is a screen, or tells another.
pub(crate) struct Progress {
    bar: ProgressBar,
    times: Times,
    told: Option<Arc<dyn Watch + Send>>,
}

/// How often the bar is drawn again while a step runs.
const TICK: Duration = Duration::from_millis(120);

impl Progress {
    /// A bar of about `steps` steps; none at all if standard error is no screen.
    pub fn new(steps: usize) -> Progress {
        if !std::io::stderr().is_terminal() {
            return Progress { bar: ProgressBar::hidden(), times: Times::new(), told: None };
        }
        let bar = ProgressBar::new(steps as u64);
        let template = "{spinner} [{bar:24}] {elapsed} {msg}";
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style.progress_chars("=> "));
        }
        bar.enable_steady_tick(TICK);
        Progress { bar, times: Times::new(), told: None }
    }

    /// Nothing on the screen: `told` hears each step, and may stop the work.
    pub fn telling(told: Arc<dyn Watch + Send>) -> Progress {
        Progress { bar: ProgressBar::hidden(), times: Times::new(), told: Some(told) }
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
        self.told.as_ref().is_some_and(|told| told.cancelled())
    }
}
