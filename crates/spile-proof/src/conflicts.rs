//! Limits that do not hold together, and values that would.
//!
//! Here are those that no part can hold, seen from the fitting alone; those
//! that this part does not hold are in [`broken`].

mod broken;
mod rounded;

use spile_case::{Fitting, Gender};
use spile_mesh::{Bvh, DVec3, nearest};

use crate::fitting::bore_in_circle;
use crate::fitting_find::Face;
use crate::labels::{FittingFrame, Labelled, LabelledEnd};
use crate::proof::{Conflict, KnownBy, Wanted, WantedValue};

pub(crate) use broken::add_broken_limits;
use rounded::{down, up};

/// The fitting's own wall as it is meshed: certified bounds and a place.
pub(crate) fn meshed_wall(l: &Labelled, end: &LabelledEnd) -> Option<([f64; 2], DVec3)> {
    let frame = end.fitting?;
    let of = |face: Face| -> Vec<u32> {
        let all = &l.fittings[end.index].triangles;
        all.iter().filter(|(_, f)| *f == face).map(|&(t, _)| t).collect()
    };
    let (bore, outside) = (of(Face::Bore), of(Face::Outside));
    if bore.is_empty() || outside.is_empty() {
        return None;
    }
    let gap = 1e-3 * frame.thinnest().abs();
    let wall = nearest(l.part, Some(&bore), &Bvh::build_of(l.part, &outside), gap)?;
    Some(([wall.lo, wall.hi], wall.at))
}

/// Conflicts between one end's fitting and the limits.
pub(crate) fn conflicts_at(l: &Labelled, end: &LabelledEnd) -> Vec<Conflict> {
    let Some(frame) = end.fitting else { return Vec::new() };
    let mut found = Vec::new();
    found.extend(wall_conflict(l, end, &frame));
    found.extend(ball_conflict(l, end, &frame));
    found
}

/// The key of the case that holds a limit of this end: its own, or the case's.
fn limit_key(l: &Labelled, end: &LabelledEnd, name: &str) -> String {
    let own = &l.case.ends[end.index].limits;
    let is_own = own.by_name(name).is_some();
    if is_own { format!("end.limits.{name}") } else { format!("limits.{name}") }
}

/// A value that follows from the fitting and the limits named alone.
fn computed(key: impl Into<String>, value: f64) -> Wanted {
    Wanted { key: key.into(), value: WantedValue::Number(value), known_by: KnownBy::Computed }
}

/// `wall_min` above the fitting's own meshed wall.
///
/// A fitting within `chord` of the exact tube has its bore no further out than
/// radius plus chord and its outside no further in than radius less chord, so
/// an outside diameter of bore + 2 (wall_min + 2 chord) is enough.
fn wall_conflict(l: &Labelled, end: &LabelledEnd, frame: &FittingFrame) -> Option<Conflict> {
    let asked = l.limits(end).wall_min?;
    let ([lo, hi], at) = meshed_wall(l, end)?;
    if hi >= asked {
        return None;
    }
    let chord = l.limits(end).chord;
    Some(Conflict {
        limits: vec!["wall_min".to_owned(), "fitting".to_owned()],
        end: Some(end.name.clone()),
        where_: Some(at.to_array()),
        would_hold: std::iter::once(computed(limit_key(l, end, "wall_min"), down(lo)))
            .chain(thicker(l, end, frame, 2.0 * (asked + 2.0 * chord)))
            .collect(),
        certain: true,
    })
}

/// The diameter that gives the fitting's wall `more` than its thinnest on the
/// diameter: the outside's, or where a standard fixes that, the bore's. None
/// where a file gives it.
fn thicker(l: &Labelled, end: &LabelledEnd, frame: &FittingFrame, more: f64) -> Option<Wanted> {
    let fitting = l.case.ends[end.index].fitting?;
    if matches!(fitting, Fitting::Mesh(_)) {
        return None;
    }
    let is_outside_fixed = matches!(fitting, Fitting::Cone(cone) if cone.gender == Gender::Male);
    Some(if is_outside_fixed {
        let least = 2.0 * frame.outside.near.min(frame.outside.far);
        computed("end.fitting.bore", down(least - more))
    } else {
        computed("end.fitting.outside", up(2.0 * frame.bore.near.max(frame.bore.far) + more))
    })
}

/// `ball_min` above the circle inside the bore's polygon.
///
/// No circle inside a convex polygon has a radius above 2 A / P, which is what
/// is compared, so that a conflict is only named when there is no way out. A
/// fitting within `chord` has its bore no further in than radius less chord.
fn ball_conflict(l: &Labelled, end: &LabelledEnd, frame: &FittingFrame) -> Option<Conflict> {
    let asked = l.limits(end).ball_min?;
    if matches!(l.case.ends[end.index].fitting, Some(Fitting::Mesh(_))) {
        // What its bore is beyond the rim is the file's affair: the row tells.
        return None;
    }
    let circle = bore_in_circle(l.part, frame, &l.fittings[end.index])?;
    if asked <= 2.0 * circle.greatest {
        return None;
    }
    let mut would_hold =
        vec![computed(limit_key(l, end, "ball_min"), down(2.0 * circle.round_axis))];
    // A socket's bore is not the engineer's to widen.
    if frame.bore.near == frame.bore.far {
        would_hold.push(computed("end.fitting.bore", up(asked + 2.0 * l.limits(end).chord)));
    }
    Some(Conflict {
        limits: vec!["ball_min".to_owned(), "fitting".to_owned()],
        end: Some(end.name.clone()),
        where_: Some(circle.at.to_array()),
        would_hold,
        certain: true,
    })
}
