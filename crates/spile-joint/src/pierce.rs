//! A fitting whose wall runs through scan that stays: no part can hold that,
//! and it is found before anything is solved.
//!
//! What stays is in the part bit for bit. Where a piece of it lies inside the
//! fitting's wall, further than `chord` from the wall's surface, every fitting
//! that is allowed has solid there, so the part would intersect itself. The
//! test clips each triangle to the wall's length; over the convex piece that is
//! left, the distance from the axis takes every value between its least and its
//! greatest, so the piece meets the wall exactly if that range does.

use spile_case::Case;
use spile_mesh::{Bounds3, DVec3};

use crate::fitting::Placed;
use crate::make::Conflict;
use crate::surface::Scan;
use crate::walls::WallSide;
use crate::work::{Work, dropped};

/// The inside of a fitting's wall: a ring about the axis.
#[derive(Debug, Clone, Copy)]
struct Ring {
    at: DVec3,
    along: DVec3,
    u: DVec3,
    v: DVec3,
    radii: [f64; 2],
    heights: [f64; 2],
}

impl Ring {
    /// Rings that lie in the wall, further than `chord` from its surface: round
    /// its length as far as it is solid at every height, and in the flange.
    fn inside(placed: &Placed, chord: f64) -> Vec<Ring> {
        let far = |side| placed.radius_at(side, placed.length);
        let bore = placed.bore.max(far(WallSide::Bore));
        let outside = placed.outside.min(far(WallSide::Outside));
        let flange =
            placed.shape.flange.map(|f| (bore, f.outside / 2.0, [f.at, f.at + f.thickness]));
        std::iter::once((bore, outside, [0.0, placed.length]))
            .chain(flange)
            .filter_map(|(inner, outer, [from, to])| {
                Self::of(placed, [inner + chord, outer - chord], [from + chord, to - chord])
            })
            .collect()
    }

    /// The ring of these radii and heights about the fitting's axis; none if
    /// there is nothing of it.
    fn of(placed: &Placed, radii: [f64; 2], heights: [f64; 2]) -> Option<Ring> {
        let (along, u) = (placed.along, placed.along.any_orthonormal_vector());
        let ring = Ring { at: placed.at, along, u, v: along.cross(u), radii, heights };
        let is_thick = ring.radii[0] < ring.radii[1] && ring.heights[0] < ring.heights[1];
        (is_thick && along.is_finite() && along != DVec3::ZERO).then_some(ring)
    }

    fn moved(self, by: f64) -> Ring {
        Ring { at: self.at + self.along * by, ..self }
    }

    fn bounds(&self) -> Bounds3 {
        let ends = self.heights.map(|h| self.at + self.along * h);
        let room = DVec3::splat(self.radii[1]);
        Bounds3::of(ends.into_iter().flat_map(|p| [p - room, p + room]))
    }

    /// A place of the triangle inside the ring.
    fn meets(&self, corners: [DVec3; 3]) -> Option<DVec3> {
        let local = corners.map(|p| {
            let d = p - self.at;
            DVec3::new(d.dot(self.u), d.dot(self.v), d.dot(self.along))
        });
        let piece = between(&local, self.heights);
        let nearest = nearest_to_axis(&piece)?;
        let farthest = piece.iter().copied().max_by(|a, b| off(*a).total_cmp(&off(*b)))?;
        if off(nearest) >= self.radii[1] || off(farthest) <= self.radii[0] {
            return None;
        }
        // From the nearest place on the distance only grows along the line.
        let middle = 0.5 * (self.radii[0] + self.radii[1]);
        let wanted = middle.clamp(off(nearest), off(farthest));
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..f64::MANTISSA_DIGITS {
            let half = 0.5 * (low + high);
            if off(nearest.lerp(farthest, half)) < wanted { low = half } else { high = half }
        }
        let p = nearest.lerp(farthest, high);
        Some(self.at + self.u * p.x + self.v * p.y + self.along * p.z)
    }
}

/// Distance from the axis, in the ring's own frame.
fn off(p: DVec3) -> f64 {
    p.x.hypot(p.y)
}

/// The part of a convex outline whose third coordinate lies between two values.
fn between(outline: &[DVec3], [low, high]: [f64; 2]) -> Vec<DVec3> {
    let above = clipped(outline, |p| p.z - low);
    clipped(&above, |p| high - p.z)
}

fn clipped(outline: &[DVec3], height: impl Fn(DVec3) -> f64) -> Vec<DVec3> {
    let mut kept = Vec::with_capacity(outline.len() + 1);
    for (i, &a) in outline.iter().enumerate() {
        let b = outline[(i + 1) % outline.len()];
        let (ha, hb) = (height(a), height(b));
        if ha >= 0.0 {
            kept.push(a);
        }
        if (ha >= 0.0) != (hb >= 0.0) {
            kept.push(a.lerp(b, ha / (ha - hb)));
        }
    }
    kept
}

/// The place of a flat convex outline that is nearest the third axis.
fn nearest_to_axis(outline: &[DVec3]) -> Option<DVec3> {
    let pairs = || (0..outline.len()).map(|i| (outline[i], outline[(i + 1) % outline.len()]));
    let turn = |(a, b): (DVec3, DVec3)| a.x * b.y - a.y * b.x;
    if outline.len() > 2 && (pairs().all(|p| turn(p) > 0.0) || pairs().all(|p| turn(p) < 0.0)) {
        // The axis runs through it, where its plane has the axis' height.
        let a = outline[0];
        let n: DVec3 = outline.windows(2).map(|p| (p[0] - a).cross(p[1] - a)).sum();
        return Some(DVec3::new(0.0, 0.0, a.z + (n.x * a.x + n.y * a.y) / n.z));
    }
    pairs()
        .map(|(a, b)| {
            let (dx, dy) = (b.x - a.x, b.y - a.y);
            let long = dx * dx + dy * dy;
            let s = if long > 0.0 { -(a.x * dx + a.y * dy) / long } else { 0.0 };
            a.lerp(b, s.clamp(0.0, 1.0))
        })
        .min_by(|a, b| off(*a).total_cmp(&off(*b)))
}

/// Steps along the axis at which the fitting is tried, as a share of its outer
/// radius, and their number.
const STEP: f64 = 0.25;
const STEPS: u32 = 40;

/// The fittings that run through scan that stays, as conflicts.
pub(crate) fn pierced(case: &Case, scan: &Scan, works: &[Work<'_>]) -> Vec<Conflict> {
    let gone = dropped(works.iter().flat_map(Work::both));
    let first_met = |ring: Ring| {
        let mut near = Vec::new();
        scan.bvh.for_each_touching(ring.bounds(), &mut |t| near.push(t));
        near.sort_unstable();
        near.into_iter()
            .filter(|&t| !gone.contains(t))
            .find_map(|t| ring.meets(scan.mesh.corners(t as usize)))
    };
    let mut found = Vec::new();
    for work in works {
        // Of a solid from a file no ring is known to be full.
        let drawn = work.placed.as_ref().filter(|p| p.foreign.is_none());
        let Some(placed) = drawn else { continue };
        let rings = Ring::inside(placed, case.limits_at(work.end).chord);
        let Some(at) = rings.iter().find_map(|&ring| first_met(ring)) else { continue };
        let clear = (1..=STEPS)
            .map(|k| f64::from(k) * STEP * placed.outside)
            .find(|&by| rings.iter().all(|ring| first_met(ring.moved(by)).is_none()));
        let name = &work.end.name;
        let place = format!("({:.2}, {:.2}, {:.2})", at.x, at.y, at.z);
        let remedy = match clear {
            _ if placed.along.dot(work.located.facing) <= 0.0 => {
                "its axis points into the scan: `along` has to point off it".to_owned()
            }
            Some(by) => format!("moved on by {by:.2} along its own axis it is clear of it"),
            None => "turn it, or choose another place for it".to_owned(),
        };
        found.push(Conflict {
            limits: vec!["fitting".to_owned(), "untouched".to_owned(), "closed".to_owned()],
            end: Some(name.clone()),
            at: Some(at),
            would_hold: Vec::new(),
            certain: true,
            sentence: format!(
                "end `{name}`: the fitting pierces the scan: its wall runs through surface that \
                 stays as it is, near {place}; {remedy}"
            ),
        });
    }
    found
}

#[cfg(test)]
mod tests {
    use spile_case::{Fitting, Unit};

    use super::*;

    fn ring() -> Ring {
        let tube = Fitting::Tube { bore: 16.0, outside: 20.0, length: 20.0, flange: None };
        let placed = Placed::new(tube, Unit::Millimetre, DVec3::ZERO, DVec3::Z).unwrap();
        Ring::inside(&placed, 0.01)[0]
    }

    fn meets(corners: [[f64; 3]; 3]) -> bool {
        let found = ring().meets(corners.map(DVec3::from_array));
        if let Some(p) = found {
            let r = p.x.hypot(p.y);
            assert!((8.0..10.0).contains(&r) && (0.0..20.0).contains(&p.z), "{p}");
        }
        found.is_some()
    }

    #[test]
    fn a_triangle_meets_the_wall_where_it_has_a_place_in_it() {
        // A small one in the wall, in the bore, outside, before the near face, past the far one.
        let small = |x: f64, z: f64| [[x, 0.0, z], [x + 0.1, 0.0, z], [x, 0.1, z + 0.1]];
        assert!(meets(small(9.0, 10.0)));
        for (x, z) in [(3.0, 10.0), (12.0, 10.0), (9.0, -5.0), (9.0, 25.0)] {
            assert!(!meets(small(x, z)), "{x} {z}");
        }
        // One with no corner in the wall: across it, round the whole tube, along it.
        assert!(meets([[0.0, 0.0, 10.0], [30.0, 1.0, 10.0], [30.0, -1.0, 10.0]]));
        assert!(meets([[-90.0, -90.0, 5.0], [90.0, -90.0, 5.0], [0.0, 90.0, 5.0]]));
        assert!(meets([[9.0, 0.0, -50.0], [9.0, 0.5, -50.0], [9.0, 0.0, 50.0]]));
        // A large one beside it, and one in the plane of the axis that stops in the bore.
        assert!(!meets([[11.0, -50.0, 0.0], [11.0, 50.0, 0.0], [11.0, 0.0, 90.0]]));
        assert!(!meets([[-7.0, 0.0, 1.0], [7.0, 0.0, 1.0], [0.0, 0.0, 90.0]]));
    }

    #[test]
    fn the_surface_itself_is_not_met() {
        // On the bore's own cylinder, and no more than `chord` inside the wall.
        assert!(!meets([[8.0, 0.0, 5.0], [8.005, 0.0, 5.0], [8.0, 0.01, 6.0]]));
    }
}
