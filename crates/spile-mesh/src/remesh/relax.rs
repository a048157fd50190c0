//! Moving points over the surface and along lines so that triangles become
//! even.

use glam::DVec3;

use super::guard::{Candidate, Guard, edges_at};
use super::quality::{least_sine, normal};
use super::working::{Kind, Working};

/// Shares of the way to the middle that are tried, the longest first. Beyond the middle
/// since the neighbours follow: fewer cycles then make triangles as even.
const STEPS: [f64; 3] = [1.3, 0.65, 0.325];

/// A point nearer to its middle than this share of the wanted edge length stays: an angle
/// changes by three degrees at most over it, and most points are asked no more after
/// the first cycles.
const IDLE: f64 = 0.05;

/// A step may leave the least sine round a point no smaller than this, unless
/// it was smaller and does not fall (20 degrees).
const GOOD_SINE: f64 = 0.342;

/// Moves every movable point once toward the middle of its surroundings.
///
/// `idle` has for each point when it was last found not to move: it is not asked
/// again until something round it changes.
pub(super) fn relax(
    w: &mut Working,
    guard: &Guard,
    size: &dyn Fn(DVec3) -> f64,
    idle: &mut Vec<Option<u32>>,
) {
    idle.resize(w.points.len(), None);
    for v in 0..w.points.len() as u32 {
        let is_idle = idle[v as usize].is_some_and(|since| w.changed[v as usize] <= since);
        if is_idle || w.around[v as usize].is_empty() {
            continue;
        }
        idle[v as usize] = Some(w.clock);
        let wanted = match w.kinds[v as usize] {
            Kind::Locked | Kind::Corner => continue,
            Kind::OnLine => line_target(w, v),
            Kind::Free => surface_target(w, v),
        };
        let Some(target) = wanted else { continue };
        let from = w.points[v as usize];
        if from.distance(target) < IDLE * w.sizes[v as usize] {
            continue;
        }
        for share in STEPS {
            let toward = from.lerp(target, share);
            let Some((at, home)) = place(w, guard, v, toward) else { continue };
            if move_point(w, guard, v, at, home, GOOD_SINE) {
                w.sizes[v as usize] = size(at);
                break;
            }
        }
    }
}

/// Where point `v` would come to lie if drawn to `toward`.
pub(super) fn place(w: &Working, guard: &Guard, v: u32, toward: DVec3) -> Option<(DVec3, u32)> {
    let home = [w.homes[v as usize]];
    if w.kinds[v as usize] == Kind::OnLine {
        let on_line = guard.project_to_line(toward)?;
        return guard.project(on_line, &home).map(|(_, home)| (on_line, home));
    }
    guard.project(toward, &home)
}

/// The middle between the two neighbours along the line.
fn line_target(w: &Working, v: u32) -> Option<DVec3> {
    let [a, b] = w.along_line(v)[..] else { return None };
    Some(w.points[a as usize].midpoint(w.points[b as usize]))
}

/// The mean of the triangles' middles, each by its area for its wanted size,
/// kept in the tangent plane.
fn surface_target(w: &Working, v: u32) -> Option<DVec3> {
    let from = w.points[v as usize];
    let (mut sum, mut weight, mut up) = (DVec3::ZERO, 0.0, DVec3::ZERO);
    for &t in &w.around[v as usize] {
        let at = w.corners(t);
        let area_normal = (at[1] - at[0]).cross(at[2] - at[0]);
        let size: f64 = w.triangles[t as usize].iter().map(|&v| w.sizes[v as usize]).sum();
        let share = area_normal.length() / (size * size);
        sum += ((at[0] - from) + (at[1] - from) + (at[2] - from)) * (share / 3.0);
        weight += share;
        up += area_normal;
    }
    let n = up.normalize_or_zero();
    if weight <= 0.0 || !weight.is_finite() {
        return None;
    }
    let step = sum / weight;
    Some(from + step - n * step.dot(n))
}

/// Moves `v` to `at` if all its triangles may follow; `good` is the least sine
/// that is not asked to stay as large as it was.
pub(super) fn move_point(
    w: &mut Working,
    guard: &Guard,
    v: u32,
    at: DVec3,
    home: u32,
    good: f64,
) -> bool {
    let ring = w.around[v as usize].clone();
    let (mut before, mut after) = (f64::INFINITY, f64::INFINITY);
    let mut became = Vec::with_capacity(ring.len());
    for &t in &ring {
        let was = w.corners(t);
        let corners = w.triangles[t as usize];
        let now = Candidate {
            at: corners.map(|c| if c == v { at } else { w.points[c as usize] }),
            homes: corners.map(|c| if c == v { home } else { w.homes[c as usize] }),
            asked: edges_at(corners, v, w.kinds[v as usize] == Kind::Free),
        };
        before = before.min(least_sine(was));
        after = after.min(least_sine(now.at));
        if normal(was).dot(normal(now.at)) < 0.0 {
            return false;
        }
        became.push(now);
    }
    if after < good.min(before) || !became.iter().all(|triangle| guard.allows(triangle)) {
        return false;
    }
    let witnesses: Vec<u32> =
        ring.iter().flat_map(|&t| w.witnesses[t as usize].iter().copied()).collect();
    let shapes: Vec<[DVec3; 3]> = became.iter().map(|c| c.at).collect();
    let Some(places) = guard.assign(&witnesses, &shapes) else { return false };
    w.points[v as usize] = at;
    w.homes[v as usize] = home;
    for &t in &ring {
        w.touch(t);
        w.witnesses[t as usize].clear();
    }
    for (&witness, place) in witnesses.iter().zip(places) {
        w.witnesses[ring[place] as usize].push(witness);
    }
    true
}
