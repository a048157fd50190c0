//! Limits that no part can hold together, seen from the fitting alone, with
//! values that would.

use spile_mesh::DVec3;
use spile_mesh::{Bvh, nearest};

use crate::fitting::bore_in_circle;
use crate::fitting_find::Face;
use crate::labels::{FittingFrame, Labelled, LabelledEnd};
use crate::proof::{Conflict, Wanted};

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
    let gap = 1e-3 * (frame.outside_radius - frame.bore_radius).abs();
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

/// `wall_min` above the fitting's own meshed wall.
///
/// A fitting within `chord` of the exact tube has its bore no further out than
/// radius plus chord and its outside no further in than radius less chord, so
/// an outside diameter of bore + 2 (wall_min + 2 chord) is enough.
fn wall_conflict(l: &Labelled, end: &LabelledEnd, frame: &FittingFrame) -> Option<Conflict> {
    let asked = l.case.limits.wall_min?;
    let ([lo, hi], at) = meshed_wall(l, end)?;
    if hi >= asked {
        return None;
    }
    let chord = l.case.limits.chord;
    Some(Conflict {
        limits: vec!["wall_min".to_owned(), "fitting".to_owned()],
        end: Some(end.name.clone()),
        where_: Some(at.to_array()),
        would_hold: vec![
            Wanted { key: "limits.wall_min".to_owned(), value: lo },
            Wanted {
                key: "end.fitting.outside".to_owned(),
                value: 2.0 * frame.bore_radius + 2.0 * (asked + 2.0 * chord),
            },
        ],
    })
}

/// `ball_min` above the circle inside the bore's polygon.
///
/// No circle inside a convex polygon has a radius above 2 A / P, which is what
/// is compared, so that a conflict is only named when there is no way out. A
/// fitting within `chord` has its bore no further in than radius less chord.
fn ball_conflict(l: &Labelled, end: &LabelledEnd, frame: &FittingFrame) -> Option<Conflict> {
    let asked = l.case.limits.ball_min?;
    let circle = bore_in_circle(l.part, frame, &l.fittings[end.index])?;
    if asked <= 2.0 * circle.greatest {
        return None;
    }
    Some(Conflict {
        limits: vec!["ball_min".to_owned(), "fitting".to_owned()],
        end: Some(end.name.clone()),
        where_: Some(circle.at.to_array()),
        would_hold: vec![
            Wanted { key: "limits.ball_min".to_owned(), value: 2.0 * circle.round_axis },
            Wanted { key: "end.fitting.bore".to_owned(), value: asked + 2.0 * l.case.limits.chord },
        ],
    })
}
