//! A proof that is stopped is an error, wherever it is stopped, and no verdict.

use std::sync::atomic::{AtomicUsize, Ordering};

use spile_proof::Claim;
use spile_proof::measures::Measures;

use super::*;

/// Looks, judges and measures until it has been asked `most` times whether to stop; gives how
/// often it was.
fn until(s: &Scene, most: usize) -> (Result<(Proof, Measures), ProofError>, usize) {
    let asks = AtomicUsize::new(0);
    // Only once: what was said must stay said.
    let stop = || asks.fetch_add(1, Ordering::Relaxed) + 1 == most;
    let scans = std::slice::from_ref(&s.scan);
    let found = Claim::new(scans, &s.part, &s.case).and_then(|claim| {
        let claim = claim.until(&stop);
        let look = claim.look()?;
        let proof = look.judge_as_asked(&s.case)?;
        let measures = look.measure(&proof)?;
        Ok((proof, measures))
    });
    (found, asks.load(Ordering::Relaxed))
}

#[test]
fn a_stopped_proof_is_an_error_and_no_verdict() {
    let mut s = scene(Recipe::default());
    s.case.limits.wall_min = Some(1.8);
    s.case.limits.bore_loss = Some(0.01);
    s.case.limits.ball_min = Some(17.5);
    let (found, asks) = until(&s, usize::MAX);
    let (proof, _) = found.expect("nobody stops it");
    assert_eq!(proof.verdict, Verdict::Held);
    assert_eq!(proof, judge_as_asked_alone(&s));
    assert!(asks > 100, "{asks}");
    // All asks of the proof one by one, then some of the measures' many.
    for most in (1..=60).chain((60..asks / 2).step_by(asks / 40)) {
        let (found, _) = until(&s, most);
        assert_eq!(found.err(), Some(ProofError::Stopped), "at ask {most} of {asks}");
    }
}

fn judge_as_asked_alone(s: &Scene) -> Proof {
    let scans = std::slice::from_ref(&s.scan);
    spile_proof::judge_as_asked(scans, &s.part, &s.case, &s.case).expect("they belong together")
}
