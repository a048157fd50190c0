//! A judgement that can be stopped: what was asked for once stays asked for.

use std::sync::atomic::{AtomicBool, Ordering};

use spile_mesh::{NEVER_STOP, StopAsked};

use crate::proof::ProofError;

/// Whether nobody wants the proof any more.
///
/// Invariant: once [`Stop::is_asked`] has said yes, [`Stop::go_on`] refuses for ever. So a
/// loop may break off and leave whatever it has: no verdict comes of it, since each way out
/// of the prover goes through [`Stop::go_on`] last.
pub(crate) struct Stop<'a> {
    asked: StopAsked<'a>,
    was_asked: AtomicBool,
}

impl<'a> Stop<'a> {
    /// One that is never asked for.
    pub fn never() -> Self {
        Self::new(NEVER_STOP)
    }

    pub fn new(asked: StopAsked<'a>) -> Self {
        Self { asked, was_asked: AtomicBool::new(false) }
    }

    /// Whether to stop.
    pub fn is_asked(&self) -> bool {
        if self.was_asked.load(Ordering::Relaxed) {
            return true;
        }
        let says = (self.asked)();
        if says {
            self.was_asked.store(true, Ordering::Relaxed);
        }
        says
    }

    /// Refuses to go on where it is to stop.
    pub fn go_on(&self) -> Result<(), ProofError> {
        if self.is_asked() { Err(ProofError::Stopped) } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_stopped_stays_stopped() {
        let wavering = AtomicBool::new(true);
        let asked = || wavering.swap(false, Ordering::Relaxed);
        let stop = Stop::new(&asked);
        assert_eq!(stop.go_on(), Err(ProofError::Stopped));
        assert!(stop.is_asked());
        assert_eq!(stop.go_on(), Err(ProofError::Stopped));
    }
}
