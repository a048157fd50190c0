//! Making a part while the page goes on: on a thread of its own, step by step, to be
//! stopped at any time.

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
    /// Set when nothing of the run is left.
    is_over: AtomicBool,
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

/// One part is made at a time: a stopped run may still be on its way out.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

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
            is_over: AtomicBool::new(false),
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
            let made = {
                let _one = ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner);
                let watch: Arc<dyn Watch + Send> = ear.clone();
                session.job.run(&case, &out, watch)
            };
            session.ended(&ear, made, text);
            ear.is_over.store(true, Ordering::Release);
        });
        Ok(())
    }

    fn ended(self: &Arc<Self>, ear: &Arc<Ear>, made: Result<(), Refusal>, text: String) {
        let seconds = ear.started.elapsed().as_secs_f64();
        let is_done = made.is_ok();
        let mut held = self.held();
        let is_ours = held.making.now.as_ref().is_some_and(|now| Arc::ptr_eq(now, ear));
        if is_ours {
            held.making.now = None;
            held.making.ended = Some(match made {
                Ok(()) => RunShown::Done { seconds },
                Err(refused) => RunShown::Failed { refused },
            });
        }
        drop(held);
        // A run that was stopped when it had written already is a result all the same.
        if is_done {
            self.read_result_beside(Some(text));
        }
        self.changed();
    }

    /// Stops the making at once, as far as the page is concerned: what the thread still
    /// does is thrown away, and nothing is written.
    ///
    /// # Errors
    /// None goes on.
    pub fn stop(&self) -> Result<(), Refusal> {
        let mut held = self.held();
        let ear = held.making.now.take().ok_or_else(|| Refusal::new("no part is being made"))?;
        ear.stopped.store(true, Ordering::Relaxed);
        held.making.ended = Some(RunShown::Stopped);
        drop(held);
        self.changed();
        Ok(())
    }

    /// Stops what goes on before the program ends, and waits a little for a run that is
    /// just writing: its files come all or none.
    pub fn end(&self) {
        let ear = self.held().making.now.clone();
        let _ = self.stop();
        self.tidy_painted(true);
        let Some(ear) = ear else { return };
        for _ in 0..50 {
            if ear.is_over.load(Ordering::Acquire) {
                return;
            }
            thread::sleep(Duration::from_millis(100));
        }
    }
}
