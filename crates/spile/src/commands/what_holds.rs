//! What would have to give: after a run that ends broken, changed cases are
//! made and judged, and the nearest that holds is told.
//!
//! First every value that the proof found: one that follows from the fitting, or at
//! which the same part would hold. A part made with it may come out otherwise, so it is
//! made and judged too, once more with the value at which that part would hold, and
//! where that breaks a limit again it is told only if nothing else holds. Then the fitting a little further off along
//! its own axis, other edges of the joint, a shorter reach, and the fitting further off,
//! with the way back halved, until one of them holds.

use spile_case::{Case, Clear, End, Fitting, Onward, Place};
use spile_joint::Watch as _;
use spile_mesh::DVec3;
use spile_proof::{Conflict, KnownBy, Proof, Verdict, Wanted, WantedValue};

use crate::commands::tried::judged;
use crate::inputs::Loaded;
use crate::progress::Progress;

/// How much further the fitting stands off in one try after the other, in its outside's
/// widths: with as much room as in the last a joint turns aside and over without folding.
const FURTHER: [f64; 3] = [0.2, 0.75, 3.0];

/// The way back to the last place that did not hold is halved while it is longer than
/// this, in the same.
const NEAR_ENOUGH: f64 = 0.1;

/// Lengths of the joint's edges that are tried, as multiples of the usual one: one before
/// the fitting is moved far, the others after that.
const EDGES: [f64; 3] = [0.75, 0.55, 1.25];

/// A shorter reach that is tried, as a share: its border lies elsewhere on the scan.
const LESS_REACH: f64 = 0.8;

/// How often a value that did not hold is tried again with what its own part would hold.
const AGAIN: usize = 1;

/// Edges round a fitting's outside where the case does not give their length; what the
/// joint takes is near it.
const USUAL_EDGES: f64 = 110.0;

/// Makes and judges up to `tries` changed cases, and writes what held into the
/// conflicts.
///
/// `found` is the case with all that was `auto` found; a place that was is not moved.
/// Nothing is tried where conflicts stand at two ends or at none: no single
/// change of one end would be enough. Where a conflict holds in no part, only its own
/// values are tried.
pub(crate) fn try_changes(
    loaded: &Loaded,
    found: &Case,
    conflicts: &mut [Conflict],
    tries: u16,
    progress: &Progress,
) {
    let Some(end) = only_end(conflicts) else { return };
    let mut trial = Trial { loaded, found, end: &end, left: tries, progress };
    let mut failed: Vec<Wanted> = Vec::new();
    for conflict in conflicts.iter_mut() {
        let mut kept = Vec::new();
        for wanted in std::mem::take(&mut conflict.would_hold) {
            match trial.value(&wanted) {
                Some(wanted) => kept.push(wanted),
                None => failed.push(wanted),
            }
        }
        conflict.would_hold = kept;
    }
    let Some(first) = conflicts.first_mut() else { return };
    if !first.certain
        && let Some(wanted) = trial.other_shape()
    {
        first.would_hold.push(wanted);
    }
    if conflicts.iter().all(|c| c.would_hold.is_empty())
        && let Some(first) = conflicts.first_mut()
    {
        // Nothing better is known, and what is said of these is true as it stands.
        first.would_hold.extend(failed);
    }
}

/// What came of a try.
enum Tried {
    /// No more tries, or stopped.
    Not,
    Held,
    /// Broken, with the proof; without where no part closes.
    Broken(Option<Proof>),
}

/// Changed cases of one end, made and judged one after the other.
struct Trial<'a> {
    loaded: &'a Loaded,
    found: &'a Case,
    end: &'a str,
    left: u16,
    progress: &'a Progress,
}

impl Trial<'_> {
    fn tried(&mut self, changed: &Case) -> Tried {
        if self.left == 0 || self.progress.cancelled() {
            return Tried::Not;
        }
        self.left -= 1;
        self.progress.step("try", Some(self.end));
        match judged(changed, &self.loaded.scans, self.progress) {
            Ok(Some(proof)) if proof.verdict == Verdict::Held => Tried::Held,
            Ok(proof) => Tried::Broken(proof),
            Err(_) => Tried::Broken(None),
        }
    }

    fn holds(&mut self, changed: &Case) -> bool {
        matches!(self.tried(changed), Tried::Held)
    }

    /// A value that the proof found, or the one near it that holds in a part made anew;
    /// as it is where it cannot be tried, none where it was and nothing held.
    fn value(&mut self, wanted: &Wanted) -> Option<Wanted> {
        let mut next = wanted.clone();
        for _ in 0..=AGAIN {
            let Some(changed) = with_value(self.found, self.end, &next) else {
                return Some(wanted.clone());
            };
            match self.tried(&changed) {
                Tried::Not => return Some(wanted.clone()),
                Tried::Held => return Some(Wanted { known_by: KnownBy::MadeAgain, ..next }),
                Tried::Broken(proof) => {
                    let offered = proof.into_iter().flat_map(|p| p.conflicts);
                    let mut offered = offered.flat_map(|c| c.would_hold);
                    next = offered.find(|w| w.key == wanted.key)?;
                }
            }
        }
        None
    }

    /// The first that holds of places further off, other edges and less reach.
    fn other_shape(&mut self) -> Option<Wanted> {
        let end = self.found.ends.iter().find(|e| e.name == self.end)?;
        let [close, off, far] = FURTHER;
        let [first, others @ ..] = EDGES;
        self.place(close, 0.0)
            .or_else(|| self.other_edge(end, first))
            .or_else(|| self.less_reach(end))
            .or_else(|| self.place(off, close))
            .or_else(|| self.place(far, off))
            .or_else(|| others.into_iter().find_map(|times| self.other_edge(end, times)))
    }

    /// The fitting so much further off, if that holds: then as near as the tries that are
    /// left tell, between there and what is too `short`.
    fn place(&mut self, enough: f64, short: f64) -> Option<Wanted> {
        let is_sought = |e: &End| e.name == self.end && e.place == Some(Place::Auto);
        if self.loaded.case.ends.iter().any(is_sought) {
            return None;
        }
        let mut try_at = |widths: f64| {
            let (changed, wanted) = further_off(self.found, self.end, widths)?;
            self.holds(&changed).then_some(wanted)
        };
        let mut wanted = try_at(enough)?;
        let (mut short, mut enough) = (short, enough);
        while enough - short > NEAR_ENOUGH {
            let middle = 0.5 * (short + enough);
            match try_at(middle) {
                Some(nearer) => (enough, wanted) = (middle, nearer),
                None => short = middle,
            }
        }
        Some(wanted)
    }

    /// The joint's edges that many times their usual length, if that holds.
    fn other_edge(&mut self, end: &End, times: f64) -> Option<Wanted> {
        let round =
            std::f64::consts::PI * end.fitting?.near_outside(self.found.unit)? / USUAL_EDGES;
        let usual = self.found.edge.unwrap_or(round);
        let edge = tidy(usual * times, 1000.0);
        let changed = Case { edge: Some(edge), ..self.found.clone() };
        (edge > 0.0 && self.holds(&changed)).then(|| made_again("joint.edge", edge))
    }

    /// A shorter reach, if that holds and the case gives one.
    fn less_reach(&mut self, end: &End) -> Option<Wanted> {
        let is_given = |e: &End| e.name == end.name && e.reach.is_some();
        if !self.loaded.case.ends.iter().any(is_given) {
            return None;
        }
        let reach = tidy(LESS_REACH * end.reach?, 1000.0);
        let mut changed = self.found.clone();
        changed.ends.iter_mut().find(|e| e.name == end.name)?.reach = Some(reach);
        self.holds(&changed).then(|| made_again("end.reach", reach))
    }
}

fn made_again(key: &str, value: f64) -> Wanted {
    let value = WantedValue::Number(value);
    Wanted { key: key.to_owned(), value, known_by: KnownBy::MadeAgain }
}

/// A value as an engineer would write it: so many parts of a unit.
fn tidy(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}

/// The one end that all conflicts are at.
fn only_end(conflicts: &[Conflict]) -> Option<String> {
    let first = conflicts.first()?.end.clone()?;
    conflicts.iter().all(|c| c.end.as_ref() == Some(&first)).then_some(first)
}

/// The case with a value of one key, its own or of this end, as a conflict wants it.
fn with_value(case: &Case, end: &str, wanted: &Wanted) -> Option<Case> {
    let WantedValue::Number(value) = wanted.value else { return None };
    let mut changed = case.clone();
    if let ("clear.ball.radius", [Clear::Ball(ball)]) =
        (wanted.key.as_str(), &mut changed.clears[..])
    {
        ball.radius = value;
        return Some(changed);
    }
    if let Some(name) = wanted.key.strip_prefix("limits.") {
        return changed.limits.set(name, value).then_some(changed);
    }
    let end = changed.ends.iter_mut().find(|e| e.name == end)?;
    match (wanted.key.strip_prefix("end.")?, &mut end.fitting) {
        ("fitting.bore", Some(Fitting::Tube { bore, .. })) => *bore = value,
        ("fitting.outside", Some(Fitting::Tube { outside, .. })) => *outside = value,
        // The side that no standard fixes: a cone's bore, a socket's outside.
        ("fitting.bore" | "fitting.outside", Some(Fitting::Cone(cone))) => cone.other = value,
        (key, _) if !end.limits.set(key.strip_prefix("limits.")?, value) => return None,
        _ => {}
    }
    Some(changed)
}

/// The case with this end's fitting further off by so many of its outside's widths, and
/// what that is in the case.
fn further_off(case: &Case, name: &str, widths: f64) -> Option<(Case, Wanted)> {
    let mut changed = case.clone();
    let end = changed.ends.iter_mut().find(|e| e.name == name)?;
    let by = widths * end.fitting?.near_outside(case.unit)?;
    let (place, key, value) = match end.place? {
        Place::Onward(onward) => {
            let gap = tidy(onward.gap + by, 100.0);
            (Place::Onward(Onward { gap, ..onward }), "end.place.gap", WantedValue::Number(gap))
        }
        // Its place is the file's, or was sought further off already.
        Place::AsModelled | Place::Auto => return None,
        Place::At { at, along } => {
            let axis = DVec3::from(along).normalize_or_zero();
            let at = (DVec3::from(at) + axis * by).to_array().map(|x| tidy(x, 100.0));
            (Place::At { at, along }, "end.place.at", WantedValue::Point(at))
        }
    };
    end.place = Some(place);
    Some((changed, Wanted { key: key.to_owned(), value, known_by: KnownBy::MadeAgain }))
}
