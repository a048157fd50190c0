//! The limit `untouched`: every scan triangle beyond reach or touching a keep
//! is in the part, bit for bit; and the mends, which are the only exceptions.

use spile_case::{Case, Keep};
use spile_mesh::{DVec3, Mesh, closest_on_segment};

use crate::labels::{Fate, Labelled, Region};
use crate::mends::kind_name;
use crate::proof::{LimitResult, Verdict};

/// Judges `untouched`. A part triangle answers for one scan triangle only.
pub(crate) fn judge_untouched(l: &Labelled) -> LimitResult {
    let kept = touches_keep(&l.scan, l.case);
    let mut lost = 0;
    let mut spoilt_keep = 0;
    let mut first = None;
    for (t, fate) in l.fate.iter().enumerate() {
        let is_lost = *fate == Fate::Lost;
        let is_spoilt = kept[t] && *fate != Fate::Kept;
        lost += usize::from(is_lost);
        spoilt_keep += usize::from(is_spoilt && !is_lost);
        if is_lost || is_spoilt {
            first.get_or_insert_with(|| middle_of(&l.scan, t));
        }
    }
    let strays = strays(l);
    if let Some(&t) = strays.first() {
        first.get_or_insert_with(|| middle_of(l.part, t as usize));
    }
    let unknown = unknown_keeps(l);
    let bad = lost + spoilt_keep + strays.len() + unknown;
    let held = l.fate.iter().filter(|f| **f == Fate::Kept).count();
    let how = if bad == 0 {
        format!(
            "{held} scan triangles found again in the part by their corners' bits; every one \
             beyond reach or touching a keep is among them"
        )
    } else {
        format!(
            "{lost} scan triangles beyond reach are not in the part, {spoilt_keep} that touch a \
             keep were changed, {} new triangles lie beyond reach{}",
            strays.len(),
            if unknown > 0 { "; a keep names triangles that the scan has not" } else { "" }
        )
    };
    let verdict = if bad == 0 { Verdict::Held } else { Verdict::Broken };
    LimitResult {
        measured: Some(bad as f64),
        asked: Some(0.0),
        where_: first.map(|p| p.to_array()),
        ..LimitResult::plain("untouched", None, verdict, how)
    }
}

/// How many triangles keeps name that the scan has not: they belong to another.
fn unknown_keeps(l: &Labelled) -> usize {
    let count = l.scan.triangles().len();
    let of = |keep: &Keep| match keep {
        Keep::Triangles { triangles, .. } => {
            triangles.iter().filter(|&&t| t as usize >= count).count()
        }
        Keep::Ball(_) | Keep::Box { .. } => 0,
    };
    l.case.keeps.iter().map(of).sum()
}

/// New triangles beyond reach that no mend explains.
fn strays(l: &Labelled) -> Vec<u32> {
    l.part_where(|t| {
        l.region[t] == Region::Replaced
            && l.end[t].is_none()
            && !l.licences.may_come(l.part.corners(t))
    })
}

/// Judges the listed mends: each had its defect. None listed: no line.
pub(crate) fn judge_mends(l: &Labelled) -> Option<LimitResult> {
    if l.case.mends.is_empty() {
        return None;
    }
    let unfounded = &l.licences.unfounded;
    let (verdict, how) = match unfounded.first() {
        None => (
            Verdict::Held,
            format!("each of the {} listed mends had its defect in the scan", l.case.mends.len()),
        ),
        Some(first) => (
            Verdict::Broken,
            format!(
                "{} listed mends had no such defect in their ball, the first of them mend {}: {}",
                unfounded.len(),
                first.index + 1,
                kind_name(l.case.mends[first.index].kind)
            ),
        ),
    };
    Some(LimitResult {
        measured: Some(unfounded.len() as f64),
        asked: Some(0.0),
        where_: unfounded.first().map(|u| u.at.to_array()),
        ..LimitResult::plain("mends", None, verdict, how)
    })
}

fn middle_of(mesh: &Mesh, t: usize) -> DVec3 {
    mesh.corners(t).iter().sum::<DVec3>() / 3.0
}

/// Which scan triangles touch a keep; touching counts.
pub(crate) fn touches_keep(scan: &Mesh, case: &Case) -> Vec<bool> {
    let mut touched = vec![false; scan.triangles().len()];
    for keep in &case.keeps {
        match keep {
            Keep::Ball(ball) => {
                let at = DVec3::from_array(ball.at);
                for (t, touched) in touched.iter_mut().enumerate() {
                    *touched |= triangle_distance(scan.corners(t), at) <= ball.radius;
                }
            }
            Keep::Box { min, max } => {
                let (min, max) = (DVec3::from_array(*min), DVec3::from_array(*max));
                for (t, touched) in touched.iter_mut().enumerate() {
                    *touched |= touches_box(scan.corners(t), min, max);
                }
            }
            Keep::Triangles { triangles, .. } => {
                for &t in triangles {
                    if let Some(touched) = touched.get_mut(t as usize) {
                        *touched = true;
                    }
                }
            }
        }
    }
    touched
}

/// Distance from `p` to the triangle.
fn triangle_distance(c: [DVec3; 3], p: DVec3) -> f64 {
    let n = (c[1] - c[0]).cross(c[2] - c[0]);
    let inside = (0..3).all(|k| (c[(k + 1) % 3] - c[k]).cross(p - c[k]).dot(n) >= 0.0);
    if inside && n.length_squared() > 0.0 {
        return ((p - c[0]).dot(n) / n.length()).abs();
    }
    (0..3)
        .map(|k| (p - closest_on_segment(p, c[k], c[(k + 1) % 3])).length())
        .fold(f64::INFINITY, f64::min)
}

/// Whether the triangle shares a point with the closed box: no axis parts them,
/// of the box's three, the triangle's normal and the nine cross products.
fn touches_box(c: [DVec3; 3], min: DVec3, max: DVec3) -> bool {
    let (middle, half) = (0.5 * (min + max), 0.5 * (max - min));
    let c = c.map(|p| p - middle);
    let edges = [c[1] - c[0], c[2] - c[1], c[0] - c[2]];
    let mut axes = vec![DVec3::X, DVec3::Y, DVec3::Z, edges[0].cross(edges[1])];
    for axis in [DVec3::X, DVec3::Y, DVec3::Z] {
        axes.extend(edges.iter().map(|&e| axis.cross(e)));
    }
    axes.into_iter().all(|axis| {
        let on = c.map(|p| p.dot(axis));
        let radius = half.dot(axis.abs());
        let (lo, hi) = (on[0].min(on[1]).min(on[2]), on[0].max(on[1]).max(on[2]));
        lo <= radius && -radius <= hi
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_box_touches_what_reaches_into_it() {
        let (min, max) = (DVec3::ZERO, DVec3::ONE);
        let flat =
            |z: f64| [DVec3::new(-9.0, -9.0, z), DVec3::new(9.0, -9.0, z), DVec3::new(0.0, 9.0, z)];
        assert!(touches_box(flat(0.5), min, max));
        assert!(touches_box(flat(1.0), min, max), "touching counts");
        assert!(!touches_box(flat(1.0 + 1e-9), min, max));
        // Near the corner but past it: only a cross product parts them.
        let past =
            [DVec3::new(1.6, 0.5, 0.5), DVec3::new(0.5, 1.6, 0.5), DVec3::new(1.6, 1.6, 0.5)];
        assert!(!touches_box(past, min, max));
    }

    #[test]
    fn distance_to_a_triangle_inside_edge_and_corner() {
        let c = [DVec3::ZERO, DVec3::X, DVec3::Y];
        assert!((triangle_distance(c, DVec3::new(0.2, 0.2, 3.0)) - 3.0).abs() < 1e-15);
        assert!((triangle_distance(c, DVec3::new(0.5, -4.0, 3.0)) - 5.0).abs() < 1e-15);
        assert!((triangle_distance(c, DVec3::new(-3.0, -4.0, 0.0)) - 5.0).abs() < 1e-15);
    }
}
