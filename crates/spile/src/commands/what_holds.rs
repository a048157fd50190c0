//! What would have to give: after a run that ends broken, changed cases are
//! made and judged, and the nearest that holds is told.
//!
//! First the one value at which the same part would hold, if the proof found
//! one: a part made with it may come out otherwise, so it is made and judged
//! too. Then the fitting moved far off along its own axis, and if that holds, halfway
//! back again and again; and if it does not, edges of another length, which is where a
//! shape fails on its triangles alone.

use spile_case::{Case, Clear, Onward, Place};
use spile_joint::Watch as _;
use spile_mesh::{DVec3, Mesh};
use spile_proof::{Conflict, KnownBy, Verdict, Wanted, WantedValue};

use crate::commands::tried::judged;
use crate::inputs::Loaded;
use crate::progress::Progress;

/// How much further the fitting stands off in the first try, in its outside's widths:
/// with so much room a joint turns aside and over without folding.
const FAR: f64 = 3.0;

/// Times that the way back is halved at most.
const HALVINGS: usize = 5;

/// Lengths of the joint's edges that are tried, as multiples of the usual one.
const EDGES: [f64; 3] = [0.75, 1.25, 0.55];

/// Edges round a fitting's outside where the case does not give their length; what the
/// joint takes is near it.
const USUAL_EDGES: f64 = 110.0;

/// Makes and judges up to `tries` changed cases, and writes what held into the
/// conflicts.
///
/// `found` is the case with all that was `auto` found; a place that was is not moved.
/// Nothing is tried where conflicts stand at two ends or at none: no single
/// change of one end would be enough.
pub(crate) fn try_changes(
    loaded: &Loaded,
    found: &Case,
    conflicts: &mut [Conflict],
    tries: u16,
    progress: &Progress,
) {
    let Some(end) = only_end(conflicts) else { return };
    let mut left = tries;
    let mut holds = |changed: &Case| {
        left > 0 && !progress.cancelled() && {
            left -= 1;
            progress.step("try", Some(&end));
            is_held(changed, &loaded.scans, progress)
        }
    };
    for wanted in conflicts.iter_mut().flat_map(|c| &mut c.would_hold) {
        let changed = with_limit(found, &end, wanted);
        if wanted.known_by == KnownBy::JudgedAgain && changed.is_some_and(|c| holds(&c)) {
            wanted.known_by = KnownBy::MadeAgain;
        }
    }
    if loaded.case.ends.iter().any(|e| e.name == end && e.place == Some(Place::Auto)) {
        return;
    }
    let nearest =
        nearest_place(found, &end, &mut holds).or_else(|| other_edge(found, &end, &mut holds));
    if let (Some(wanted), Some(first)) = (nearest, conflicts.first_mut()) {
        first.would_hold.push(wanted);
    }
}

/// The nearest place further off that holds, among those that may be tried.
fn nearest_place(case: &Case, end: &str, holds: &mut dyn FnMut(&Case) -> bool) -> Option<Wanted> {
    let mut try_at = |share: f64| {
        let (changed, wanted) = further_off(case, end, share * FAR)?;
        holds(&changed).then_some(wanted)
    };
    let mut wanted = try_at(1.0)?;
    let (mut short, mut enough) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (short + enough);
        match try_at(middle) {
            Some(nearer) => (enough, wanted) = (middle, nearer),
            None => short = middle,
        }
    }
    Some(wanted)
}

/// Another length of the joint's edges that holds, among those that may be tried.
fn other_edge(case: &Case, end: &str, holds: &mut dyn FnMut(&Case) -> bool) -> Option<Wanted> {
    let fitting = case.ends.iter().find(|e| e.name == end)?.fitting?;
    let round = std::f64::consts::PI * fitting.near_outside(case.unit)? / USUAL_EDGES;
    let usual = case.edge.unwrap_or(round);
    EDGES.into_iter().find_map(|times| {
        let edge = (usual * times * 1000.0).round() / 1000.0;
        let changed = Case { edge: Some(edge), ..case.clone() };
        let value = WantedValue::Number(edge);
        let wanted = Wanted { key: "joint.edge".to_owned(), value, known_by: KnownBy::MadeAgain };
        (edge > 0.0 && holds(&changed)).then_some(wanted)
    })
}

/// The one end that all conflicts are at.
fn only_end(conflicts: &[Conflict]) -> Option<String> {
    let first = conflicts.first()?.end.clone()?;
    conflicts.iter().all(|c| c.end.as_ref() == Some(&first)).then_some(first)
}

/// Whether a part can be made of the case that holds all limits.
fn is_held(case: &Case, scans: &[Mesh], progress: &Progress) -> bool {
    judged(case, scans, progress)
        .is_ok_and(|proof| proof.is_some_and(|p| p.verdict == Verdict::Held))
}

/// The case with a limit, of its own or of this end, as a conflict wants it.
fn with_limit(case: &Case, end: &str, wanted: &Wanted) -> Option<Case> {
    let WantedValue::Number(value) = wanted.value else { return None };
    let mut changed = case.clone();
    if let ("clear.ball.radius", [Clear::Ball(ball)]) =
        (wanted.key.as_str(), &mut changed.clears[..])
    {
        ball.radius = value;
        return Some(changed);
    }
    let is_set = match wanted.key.strip_prefix("end.limits.") {
        Some(name) => changed.ends.iter_mut().find(|e| e.name == end)?.limits.set(name, value),
        None => changed.limits.set(wanted.key.strip_prefix("limits.")?, value),
    };
    is_set.then_some(changed)
}

/// The case with this end's fitting further off by so many of its outside's widths, and
/// what that is in the case.
fn further_off(case: &Case, name: &str, widths: f64) -> Option<(Case, Wanted)> {
    let mut changed = case.clone();
    let end = changed.ends.iter_mut().find(|e| e.name == name)?;
    let by = widths * end.fitting?.near_outside(case.unit)?;
    let tidy = |x: f64| (x * 100.0).round() / 100.0;
    let (place, key, value) = match end.place? {
        Place::Onward(onward) => {
            let gap = tidy(onward.gap + by);
            (Place::Onward(Onward { gap, ..onward }), "end.place.gap", WantedValue::Number(gap))
        }
        // Its place is the file's, or was sought further off already.
        Place::AsModelled | Place::Auto => return None,
        Place::At { at, along } => {
            let axis = DVec3::from(along).normalize_or_zero();
            let at = (DVec3::from(at) + axis * by).to_array().map(tidy);
            (Place::At { at, along }, "end.place.at", WantedValue::Point(at))
        }
    };
    end.place = Some(place);
    Some((changed, Wanted { key: key.to_owned(), value, known_by: KnownBy::MadeAgain }))
}
