//! Making a part while the page goes on: on a thread of its own, step by step, to be
//! stopped at any time.
//!
//! Who stops it waits for nothing. A thread that has not heard of it yet may go on beside the
//! next making, but what it makes can no longer land: only the making in hand may write, and
//! whether it is that is decided under the session's lock, where it is stopped, too.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use spile_joint::Watch;

use crate::messages::{Refusal, RunShown, StepShown};
use crate::session::Session;
use crate::shown;

/// What the making is at.
#[derive(Default)]
pub(crate) struct Making {
    now: Option<Arc<Ear>>,
    ended: Option<RunShown>,
}

/// Hears the steps of one run.
struct Ear {
    session: std::sync::Weak<Session>,
    started: Instant,
    steps: Mutex<Vec<StepShown>>,
    stopped: AtomicBool,
    /// All is made, and what is made is being written: too late to stop.
    is_writing: AtomicBool,
}

impl Making {
    /// As the page shows it.
    pub fn shown(&self) -> RunShown {
        match (&self.now, &self.ended) {
            (Some(ear), _) => RunShown::Running {
                steps: ear.steps.lock().unwrap_or_else(PoisonError::into_inner).clone(),
                seconds: ear.started.elapsed().as_secs_f64(),
            },
            (None, Some(ended)) => ended.clone(),
            (None, None) => RunShown::Idle,
        }
    }
}

impl Watch for Ear {
    fn step(&self, step: &'static str, end: Option<&str>) {
        // Nobody looks at what a stopped run still does.
        if self.cancelled() {
            return;
        }
        let at_seconds = self.started.elapsed().as_secs_f64();
        let step = StepShown { step: step.to_owned(), end: end.map(str::to_owned), at_seconds };
        self.steps.lock().unwrap_or_else(PoisonError::into_inner).push(step);
        if let Some(session) = self.session.upgrade() {
            session.changed();
        }
    }

    fn cancelled(&self) -> bool {
        self.stopped.load(Ordering::Relaxed)
    }
}

impl Session {
    /// Saves the case and begins to make its part.
    ///
    /// # Errors
    /// The case has mistakes, cannot be saved, or a part is being made already.
    pub fn run(self: &Arc<Self>) -> Result<(), Refusal> {
        self.fit_to_run()?;
        let (file, text) = self.saved()?;
        let out = self.folder.place_for(&shown::out_name(&file))?;
        let case = self.folder.inside(&file)?;
        let ear = Arc::new(Ear {
            session: Arc::downgrade(self),
            started: Instant::now(),
            steps: Mutex::default(),
            stopped: AtomicBool::new(false),
            is_writing: AtomicBool::new(false),
        });
        {
            let mut held = self.held();
            if held.making.now.is_some() {
                return Err(Refusal::new("a part is being made already").hint("stop it first"));
            }
            held.making.now = Some(Arc::clone(&ear));
        }
        self.changed();
        let session = Arc::clone(self);
        thread::spawn(move || {
            let watch: Arc<dyn Watch + Send> = ear.clone();
            let made = session.job.run(&case, &out, watch);
            // What was stopped meanwhile is thrown away here, unwritten.
            if session.may_write(&ear) {
                session.ended(&ear, made.and_then(|write| write()), text);
            }
        });
        Ok(())
    }

    /// Whether this run is still the one in hand; from then on it cannot be stopped.
    fn may_write(&self, ear: &Arc<Ear>) -> bool {
        let held = self.held();
        let is_ours = held.making.now.as_ref().is_some_and(|now| Arc::ptr_eq(now, ear));
        ear.is_writing.store(is_ours, Ordering::Release);
        is_ours
    }

    fn ended(self: &Arc<Self>, ear: &Ear, made: Result<(), Refusal>, text: String) {
        let seconds = ear.started.elapsed().as_secs_f64();
        let is_done = made.is_ok();
        let mut held = self.held();
        held.making.now = None;
        held.making.ended = Some(match made {
            Ok(()) => RunShown::Done { seconds },
            Err(refused) => RunShown::Failed { refused },
        });
        drop(held);
        if is_done {
            self.read_result_beside(Some(text));
        }
        self.changed();
    }

    /// Stops the making at once, as far as the page is concerned: what the thread still
    /// does is thrown away, nothing of it is written, and another can begin.
    ///
    /// # Errors
    /// None goes on, or it is being written already.
    pub fn stop(&self) -> Result<(), Refusal> {
        let mut held = self.held();
        let ear = held.making.now.clone().ok_or_else(|| Refusal::new("no part is being made"))?;
        if ear.is_writing.load(Ordering::Acquire) {
            return Err(Refusal::new("the part is made and its files are being written")
                .hint("they are there in a moment"));
        }
        ear.stopped.store(true, Ordering::Relaxed);
        held.making.now = None;
        held.making.ended = Some(RunShown::Stopped);
        drop(held);
        self.changed();
        Ok(())
    }

    /// Stops what goes on before the program ends, and waits a little for a run that is
    /// just writing: its files come all or none.
    pub fn end(&self) {
        let is_stopped = self.stop().is_ok();
        self.tidy_painted(true);
        for _ in 0..50 {
            if is_stopped || self.held().making.now.is_none() {
                return;
            }
            thread::sleep(Duration::from_millis(100));
        }
    }
}
