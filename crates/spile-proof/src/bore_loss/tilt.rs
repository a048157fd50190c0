//! The least section over tilts: a search, and called so.

use crate::flow_section::{BoreSurface, Frame, Walker};
use spile_mesh::DVec3;

/// Tilts up to this count.
pub const TILT_MOST_DEG: f64 = 20.0;
/// A least found at [`TILT_MOST_DEG`] is searched again up to this.
pub const TILT_AGAIN_DEG: f64 = 40.0;

/// Directions of the first ring of trial tilts.
const RING: usize = 8;
/// The search ends when its step is under this angle: the area of a tube is
/// flat to one part in 10^5 over it.
const STEP_LEAST_DEG: f64 = 0.25;
/// A finer search about a plane found between stations starts with this step,
const FINE_STEP_DEG: f64 = 1.0;
/// and ends under this one: a thin pinch is seen whole only in its own plane.
const FINE_LEAST_DEG: f64 = 0.05;
/// A tilt this near the bound counts as at it.
const AT_BOUND_DEG: f64 = 0.3;

/// The least section found over tilts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeastTilt {
    /// Tilt in radians toward the frame's two directions.
    pub tilt: [f64; 2],
    /// Open area there.
    pub area: f64,
    /// Whether the least lay at the first bound and was searched beyond it.
    pub is_searched_again: bool,
}

/// The least of `area` over tilts up to 20 degrees, from the untilted plane,
/// from `start` and from a ring of tilts; continued to 40 degrees when found at
/// the bound. `area` gives `None` where no section closes. None: no trial closed.
///
/// A descent by halving steps. Accuracy: that of a search; the area found is a
/// true section's, so the least is never below it by construction only.
pub fn least_tilt(
    start: [f64; 2],
    mut area: impl FnMut([f64; 2]) -> Option<f64>,
) -> Option<LeastTilt> {
    let most = TILT_MOST_DEG.to_radians();
    let mut best = least_within(start, most, &mut area)?;
    let bound = most - AT_BOUND_DEG.to_radians();
    let is_searched_again = best.0[0].hypot(best.0[1]) >= bound;
    if is_searched_again {
        let mut attempt = attempting(&mut area);
        let again = TILT_AGAIN_DEG.to_radians();
        descend(&mut best, again, [again / 8.0, STEP_LEAST_DEG.to_radians()], &mut attempt);
    }
    Some(LeastTilt { tilt: best.0, area: best.1, is_searched_again })
}

/// The least of `area` over tilts up to `most` radians: the tilt and the area.
pub fn least_within(
    start: [f64; 2],
    most: f64,
    mut area: impl FnMut([f64; 2]) -> Option<f64>,
) -> Option<([f64; 2], f64)> {
    let mut best = ([0.0, 0.0], f64::INFINITY);
    let mut attempt = attempting(&mut area);
    attempt([0.0, 0.0], &mut best);
    attempt(clamp(start, most), &mut best);
    for k in 0..RING {
        let angle = std::f64::consts::TAU * k as f64 / RING as f64;
        attempt([0.6 * most * angle.cos(), 0.6 * most * angle.sin()], &mut best);
    }
    descend(&mut best, most, [most / 4.0, STEP_LEAST_DEG.to_radians()], &mut attempt);
    best.1.is_finite().then_some(best)
}

/// A trial of one tilt that keeps the lesser.
fn attempting(
    area: &mut impl FnMut([f64; 2]) -> Option<f64>,
) -> impl FnMut([f64; 2], &mut ([f64; 2], f64)) {
    move |tilt, best| {
        if let Some(a) = area(tilt)
            && a < best.1
        {
            *best = (tilt, a);
        }
    }
}

/// The least of `area` near the tilt `from`, within `most` radians of none.
pub fn least_near(
    from: [f64; 2],
    most: f64,
    mut area: impl FnMut([f64; 2]) -> Option<f64>,
) -> Option<([f64; 2], f64)> {
    let mut best = (from, f64::INFINITY);
    let mut attempt = attempting(&mut area);
    attempt(clamp(from, most), &mut best);
    let steps = [FINE_STEP_DEG, FINE_LEAST_DEG].map(f64::to_radians);
    descend(&mut best, most, steps, &mut attempt);
    best.1.is_finite().then_some(best)
}

/// Compass descent within `most` radians: six directions, steps halved.
fn descend(
    best: &mut ([f64; 2], f64),
    most: f64,
    [mut step, last]: [f64; 2],
    attempt: &mut impl FnMut([f64; 2], &mut ([f64; 2], f64)),
) {
    while step > last {
        let (from, before) = *best;
        for k in 0..6 {
            let angle = std::f64::consts::TAU * k as f64 / 6.0;
            let tilt = [from[0] + step * angle.cos(), from[1] + step * angle.sin()];
            attempt(clamp(tilt, most), best);
        }
        if best.1 >= before {
            step *= 0.5;
        }
    }
}

fn clamp(tilt: [f64; 2], most: f64) -> [f64; 2] {
    let angle = tilt[0].hypot(tilt[1]);
    if angle <= most { tilt } else { tilt.map(|x| x * most / angle) }
}

/// The open area of `bore` in the plane of `frame` turned by `tilt`, round the
/// frame's origin.
pub fn tilted_area(
    bore: &BoreSurface,
    frame: &Frame,
    tilt: [f64; 2],
    among: &[u32],
    walker: &mut Walker,
) -> Option<f64> {
    let turned = frame.tilted(tilt);
    bore.section(&turned, 0.0, frame.origin, among, walker).map(|section| section.area)
}

/// The triangles to look among while tilts are searched: the few beside the axis
/// where they find the untilted section whole, else all of `among`.
///
/// An island that only a tilted plane cuts is overlooked by the few, so the area
/// of the tilt that is found is to be taken among all.
pub fn search_among(
    bore: &BoreSurface,
    frame: &Frame,
    among: &[u32],
    walker: &mut Walker,
) -> Vec<u32> {
    let few = bore.beside(frame, among);
    let mut untilted = |list: &[u32]| tilted_area(bore, frame, [0.0, 0.0], list, walker);
    let is_whole = match (untilted(&few), untilted(among)) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-12 * b,
        _ => false,
    };
    if is_whole { few } else { among.to_vec() }
}

/// How far from `station` a plane's loop round it reaches, untilted; the
/// triangles that touch a ball of a little more hold a part of every loop round
/// the station in every tilt.
pub fn loop_radius(
    bore: &BoreSurface,
    frame: &Frame,
    station: DVec3,
    among: &[u32],
    walker: &mut Walker,
) -> Option<f64> {
    let section = bore.section(frame, 0.0, station, among, walker)?;
    let points = bore.outline_points(&section.outer, frame, 0.0);
    Some(points.iter().map(|p| p.distance(station)).fold(0.0, f64::max))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_least_of_a_bowl_and_says_when_it_lies_at_the_bound() {
        // Closed form: a round bowl about a known tilt.
        let bowl = |cx: f64, cy: f64| {
            move |[x, y]: [f64; 2]| Some(100.0 + (x - cx).powi(2) + (y - cy).powi(2))
        };
        let inside = least_tilt([0.0, 0.0], bowl(0.1, -0.2)).unwrap();
        assert!((inside.tilt[0] - 0.1).hypot(inside.tilt[1] + 0.2) < 0.5_f64.to_radians());
        assert!(!inside.is_searched_again);
        let beyond = least_tilt([0.0, 0.0], bowl(0.5, 0.0)).unwrap();
        assert!(beyond.is_searched_again);
        assert!((beyond.tilt[0] - 0.5).abs() < 0.5_f64.to_radians());
    }

    #[test]
    fn no_section_is_no_least() {
        assert_eq!(least_tilt([0.0, 0.0], |_| None), None);
    }
}
