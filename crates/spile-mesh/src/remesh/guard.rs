//! What keeps changed triangles near the original: the deviation envelope and
//! the turn of normals.
//!
//! New triangles are looked at in sample points; that steers, and proves
//! nothing. The certified bound at the end is in `certify`.

use glam::DVec3;

use super::RemeshOptions;
use super::quality::{least_height, normal};
use super::working::Working;
use crate::bvh::SLACK;
use crate::mesh::Bounds3;
use crate::topology::NONE;
use crate::triangle::offset_to_triangle;
use crate::{Bvh, Mesh};

/// The share of the allowed deviation that samples may reach: the surface
/// between samples can be further off.
const SAMPLED_SHARE: f64 = 0.7;

/// A changed triangle's normal may differ from that of the original below its
/// middle by an angle of this cosine (60 degrees).
const LEAST_AGREEMENT: f64 = 0.5;

/// Facets lower than this share of the deviation have no say on normals: noise
/// may turn them any way.
const TRUSTED_HEIGHT_SHARE: f64 = 0.5;

/// How far beyond a hinted facet a search goes, to be sure to find it again.
const HINT_SLACK: f64 = 1.0 + 1e-6;

/// The original surface and what may be done away from it.
pub(super) struct Guard<'a> {
    pub original: &'a Mesh,
    pub bvh: Bvh,
    /// Unit normals of the original; zero where a facet is too low to tell.
    normals: Vec<DVec3>,
    /// Original lines as triangles without area.
    pub lines: Bvh,
    envelope: f64,
    /// Cosine of the angle from which on a line has a corner.
    pub turn: f64,
    /// Places where earlier rounds left too much: (centre, radius, share).
    pub tight: &'a [Tight],
}

/// A place where size and envelope are taken smaller.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tight {
    pub at: DVec3,
    pub radius: f64,
    /// The wanted size there, and its share of what the caller wants.
    pub size: f64,
    pub size_share: f64,
    /// Factor on the envelope there.
    pub envelope_share: f64,
}

/// How fast sizes grow away from tight places, a length.
const TIGHT_GROWTH: f64 = 0.3;

/// The least factors on size and envelope that tight places ask for at `p`.
pub(super) fn shares(tight: &[Tight], p: DVec3) -> (f64, f64) {
    let near = tight.iter().filter(|t| t.at.distance_squared(p) <= t.radius * t.radius);
    near.fold((1.0, 1.0), |(size, envelope): (f64, f64), t| {
        (size.min(t.size_share), envelope.min(t.envelope_share))
    })
}

/// The wanted size at `p` with tight places heeded.
pub(super) fn tightened(tight: &[Tight], p: DVec3, size: f64) -> f64 {
    tight.iter().fold(size, |size, t| {
        size.min(t.size + TIGHT_GROWTH * (t.at.distance(p) - t.radius).max(0.0))
    })
}

/// A triangle as it would become.
#[derive(Debug, Clone, Copy)]
pub(super) struct Candidate {
    pub at: [DVec3; 3],
    pub homes: [u32; 3],
    /// Which edges, from corner `k` to the next, are to be looked at: not those
    /// that stay as they are, and those between two candidates once.
    pub asked: [bool; 3],
}

impl<'a> Guard<'a> {
    pub fn new(
        original: &'a Mesh,
        lines: Bvh,
        options: &RemeshOptions,
        tight: &'a [Tight],
    ) -> Self {
        let deviation = options.deviation;
        let turn = options.feature_deg.to_radians().cos();
        let trusted = TRUSTED_HEIGHT_SHARE * deviation;
        let normals = (0..original.triangles().len())
            .map(|t| {
                let at = original.corners(t);
                if least_height(at) >= trusted { normal(at) } else { DVec3::ZERO }
            })
            .collect();
        let envelope = SAMPLED_SHARE * deviation;
        Self { original, bvh: Bvh::build(original), normals, lines, envelope, turn, tight }
    }

    /// How far from the original samples near `p` may be.
    pub fn envelope(&self, p: DVec3) -> f64 {
        self.envelope * shares(self.tight, p).1
    }

    /// Whether this triangle may stand where those of `witnesses` are.
    pub fn allows(&self, triangle: &Candidate) -> bool {
        let n = normal(triangle.at);
        if n == DVec3::ZERO {
            return false;
        }
        let [a, b, c] = triangle.at;
        let middle = (a + b + c) / 3.0;
        let [home, h1, h2] = triangle.homes;
        if home == h1 && home == h2 && (home as usize) < self.normals.len() {
            // All corners on one facet: so is all between them.
            let facet = self.normals[home as usize];
            return facet == DVec3::ZERO || facet.dot(n) > 0.0;
        }
        let envelope = self.envelope(middle);
        let Some(below) = self.facet_within(middle, &triangle.homes, envelope) else {
            return false;
        };
        let facet = self.normals[below as usize];
        if facet != DVec3::ZERO && facet.dot(n) < LEAST_AGREEMENT {
            return false;
        }
        (0..3).filter(|&k| triangle.asked[k]).all(|k| {
            let next = (k + 1) % 3;
            let homes = [triangle.homes[k], triangle.homes[next]];
            // Both ends on one facet: so is the edge.
            (homes[0] == homes[1] && homes[0] != NONE)
                || [0.5, 0.25, 0.75].into_iter().all(|share| {
                    let p = triangle.at[k].lerp(triangle.at[next], share);
                    self.is_within(p, &homes, envelope)
                })
        })
    }

    /// A facet of the original within `limit` of `p`: the nearest of `hints` if
    /// that is near enough, which spares most searches of the tree.
    fn facet_within(&self, p: DVec3, hints: &[u32], limit: f64) -> Option<u32> {
        match self.nearest_of(p, hints, limit) {
            Some((facet, distance)) if distance < limit => Some(facet),
            _ => self.bvh.closest_within(p, limit).map(|c| c.triangle),
        }
    }

    /// Whether a facet of the original lies within `limit` of `p`.
    fn is_within(&self, p: DVec3, hints: &[u32], limit: f64) -> bool {
        self.nearest_of(p, hints, limit).is_some_and(|(_, distance)| distance < limit)
            || self.bvh.is_within(p, limit)
    }

    /// The nearest of these facets, and how far it is, if one may be nearer than
    /// `limit`.
    fn nearest_of(&self, p: DVec3, facets: &[u32], limit: f64) -> Option<(u32, f64)> {
        let limit_sq = limit * limit * SLACK;
        facets
            .iter()
            .filter(|&&facet| facet != NONE)
            .filter_map(|&facet| {
                let at = self.original.corners(facet as usize);
                // A box is much cheaper to ask than the triangle.
                let is_far = Bounds3::of(at).distance_sq(p) > limit_sq;
                (!is_far).then(|| (facet, offset_to_triangle(p, at).0.length()))
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// For each witness the nearest of `triangles`, or nothing if one of them
    /// has been left too far behind.
    pub fn assign(&self, witnesses: &[u32], triangles: &[[DVec3; 3]]) -> Option<Vec<usize>> {
        let boxes: Vec<Bounds3> = triangles.iter().map(|&at| Bounds3::of(at)).collect();
        // Witnesses come in the order of the triangles they were given to.
        let mut likely = 0;
        witnesses
            .iter()
            .map(|&w| {
                let p = self.original.points()[w as usize];
                let off_sq = |i: usize| offset_to_triangle(p, triangles[i]).0.length_squared();
                let mut nearest = (off_sq(likely), likely);
                for (i, its_box) in boxes.iter().enumerate().filter(|&(i, _)| i != likely) {
                    // A box is much cheaper to ask than the triangle.
                    if its_box.distance_sq(p) <= nearest.0 * SLACK {
                        let other = (off_sq(i), i);
                        nearest = if other < nearest { other } else { nearest };
                    }
                }
                let envelope = self.envelope(p);
                likely = nearest.1;
                (nearest.0 <= envelope * envelope).then_some(likely)
            })
            .collect()
    }

    /// The nearest place of the original, and the facet it lies on, given some
    /// facets that may be near.
    pub fn project(&self, p: DVec3, hints: &[u32]) -> Option<(DVec3, u32)> {
        let hint = self.nearest_of(p, hints, f64::INFINITY);
        // A little further than the hint, so that the hint itself is found.
        let limit = hint.map_or(f64::INFINITY, |(_, distance)| distance * HINT_SLACK);
        match (self.bvh.closest_within(p, limit), hint) {
            (Some(c), _) => Some((c.point, c.triangle)),
            // On the hinted facet, with nothing nearer than nothing.
            (None, Some((facet, _))) => Some((p, facet)),
            (None, None) => None,
        }
    }

    /// The nearest place of the original lines.
    pub fn project_to_line(&self, p: DVec3) -> Option<DVec3> {
        self.lines.closest(p).map(|c| c.point)
    }
}

/// The triangle over these points of `w`, with the edges that are to be looked at.
pub(super) fn candidate(w: &Working, corners: [u32; 3], asked: [bool; 3]) -> Candidate {
    Candidate {
        at: corners.map(|v| w.points[v as usize]),
        homes: corners.map(|v| w.homes[v as usize]),
        asked,
    }
}

/// The edges of a triangle with these corners that a change at its corner `v`
/// changes: the one that leaves it, and the one that arrives there unless the
/// next triangle round `v` has it as one that leaves, as `is_round` says.
pub(super) fn edges_at(corners: [u32; 3], v: u32, is_round: bool) -> [bool; 3] {
    [0, 1, 2].map(|k| corners[k] == v || (!is_round && corners[(k + 1) % 3] == v))
}
