//! The last few badly shaped triangles, which the even treatment leaves.

use glam::DVec3;

use super::guard::Guard;
use super::operations::{collapse, flip};
use super::quality::{least_sine, normal};
use super::relax::{move_point, place};
use super::working::{Kind, Working};

/// Triangles whose least angle is under 30 degrees are worked on.
const BAD_SINE: f64 = 0.5;

/// Steps that are tried when a point looks for a better place, as shares of
/// the wanted edge length.
const SEARCH_STEPS: [f64; 3] = [0.25, 0.1, 0.04];

/// Works on the worst triangles, the worst first; says how many were changed.
pub(super) fn polish(w: &mut Working, guard: &Guard, size: &dyn Fn(DVec3) -> f64) -> usize {
    let mut bad: Vec<(f64, u32)> = (0..w.triangles.len() as u32)
        .filter(|&t| w.alive[t as usize])
        .map(|t| (least_sine(w.corners(t)), t))
        .filter(|&(sine, _)| sine < BAD_SINE)
        .collect();
    bad.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut changed = 0;
    for (_, t) in bad {
        if w.alive[t as usize] && least_sine(w.corners(t)) < BAD_SINE {
            changed += usize::from(mend(w, guard, size, t));
        }
    }
    changed
}

/// Tries, in this order, to flip an edge of `t`, to collapse its shortest, and
/// to find better places for its corners.
fn mend(w: &mut Working, guard: &Guard, size: &dyn Fn(DVec3) -> f64, t: u32) -> bool {
    let [a, b, c] = w.triangles[t as usize];
    let mut edges = [[a, b], [b, c], [c, a]];
    edges.sort_by(|p, q| w.length(p[0], p[1]).total_cmp(&w.length(q[0], q[1])));
    if edges.iter().rev().any(|&[p, q]| flip(w, guard, p, q)) {
        return true;
    }
    let [p, q] = edges[0];
    if collapse(w, guard, p, q, 1.0) || collapse(w, guard, q, p, 1.0) {
        return true;
    }
    let mut moved = false;
    for v in [a, b, c] {
        moved |= search(w, guard, size, v);
    }
    moved
}

/// Moves `v` to where the least angle round it is larger, if such a place is
/// near.
fn search(w: &mut Working, guard: &Guard, size: &dyn Fn(DVec3) -> f64, v: u32) -> bool {
    if matches!(w.kinds[v as usize], Kind::Locked | Kind::Corner) {
        return false;
    }
    let up = w.around[v as usize]
        .iter()
        .fold(DVec3::ZERO, |sum, &t| sum + normal(w.corners(t)))
        .normalize_or_zero();
    if up == DVec3::ZERO {
        return false;
    }
    let (x, y) = up.any_orthonormal_pair();
    let mut moved = false;
    for step in SEARCH_STEPS.map(|share| share * w.sizes[v as usize]) {
        let mut best: Option<(f64, DVec3, u32)> = None;
        for (s, c) in (0..8).map(|i| (f64::from(i) * std::f64::consts::FRAC_PI_4).sin_cos()) {
            let toward = w.points[v as usize] + (x * c + y * s) * step;
            let Some((at, home)) = place(w, guard, v, toward) else { continue };
            let sine = least_round(w, v, at);
            if best.is_none_or(|b| sine > b.0) {
                best = Some((sine, at, home));
            }
        }
        let now = least_round(w, v, w.points[v as usize]);
        if let Some((sine, at, home)) = best
            && sine > now
            && move_point(w, guard, v, at, home, 1.0)
        {
            w.sizes[v as usize] = size(at);
            moved = true;
        }
    }
    moved
}

/// The least sine of the triangles at `v` if it were at `at`.
fn least_round(w: &Working, v: u32, at: DVec3) -> f64 {
    w.around[v as usize].iter().fold(f64::INFINITY, |least, &t| {
        let corners = w.triangles[t as usize];
        least.min(least_sine(corners.map(|c| if c == v { at } else { w.points[c as usize] })))
    })
}
