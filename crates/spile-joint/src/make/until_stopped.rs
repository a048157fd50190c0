//! A making that can be stopped: what the watcher has said once stays said.

use std::sync::atomic::{AtomicBool, Ordering};

use spile_mesh::StopAsked;

use super::{MakeError, Watch};

/// A watcher that never takes back that it wants to stop, so that nothing is made of what
/// a stopped step has left.
pub(crate) struct UntilStopped<'a> {
    watch: &'a dyn Watch,
    is_stopped: AtomicBool,
}

impl<'a> UntilStopped<'a> {
    pub fn new(watch: &'a dyn Watch) -> Self {
        Self { watch, is_stopped: AtomicBool::new(false) }
    }

    /// Whether the watcher has stopped it; the watcher is not asked again.
    pub fn is_stopped(&self) -> bool {
        self.is_stopped.load(Ordering::Relaxed)
    }

    /// A step begins, unless it is to stop.
    pub fn begin(&self, step: &'static str, end: Option<&str>) -> Result<(), MakeError> {
        self.go_on()?;
        self.watch.step(step, end);
        self.go_on()
    }

    /// Refuses to go on where it is to stop.
    pub fn go_on(&self) -> Result<(), MakeError> {
        go_on(&|| self.cancelled())
    }

    /// Whether to stop.
    pub fn cancelled(&self) -> bool {
        if self.is_stopped() {
            return true;
        }
        let says = self.watch.cancelled();
        if says {
            self.is_stopped.store(true, Ordering::Relaxed);
        }
        says
    }
}

/// Refuses to go on where it is to stop.
pub(crate) fn go_on(stop: StopAsked<'_>) -> Result<(), MakeError> {
    if stop() { Err(MakeError::Cancelled) } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Wants to stop at the first ask alone.
    struct Wavering(AtomicBool);

    impl Watch for Wavering {
        fn step(&self, _: &'static str, _: Option<&str>) {}

        fn cancelled(&self) -> bool {
            self.0.swap(false, Ordering::Relaxed)
        }
    }

    #[test]
    fn what_was_stopped_stays_stopped() {
        let wavering = Wavering(AtomicBool::new(true));
        let watch = UntilStopped::new(&wavering);
        assert!(!watch.is_stopped());
        assert_eq!(watch.go_on(), Err(MakeError::Cancelled));
        assert!(watch.is_stopped() && watch.cancelled());
        assert_eq!(watch.begin("cut", None), Err(MakeError::Cancelled));
    }
}
