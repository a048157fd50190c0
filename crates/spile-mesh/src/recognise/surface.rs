//! The mesh as recognising sees it: facets, who is beside whom, and which
//! triangles lie on a shape.

use glam::DVec3;
use rayon::prelude::*;

use super::fit::Sample;
use super::shape::Shape;
use super::start::Facet;
use crate::{Mesh, Topology};

/// A facet's chord stands off a round shape by no more than this share of its
/// radius: a circle of twelve sides is round, by 3.4 %; one of eleven is not.
const CHORD_SHARE: f64 = 0.036;
/// A facet turned further than this from its shape lies across it, noise or
/// not: the cosine of 60 degrees.
const ACROSS_COS: f64 = 0.5;
/// First patches do not cross edges sharper than a circle of twelve sides has:
/// the cosine of 31 degrees.
pub(super) const CREASE_COS: f64 = 0.857;

/// No shape has this triangle yet.
pub(super) const FREE: u32 = u32::MAX;

pub(super) struct Surface<'a> {
    pub(super) mesh: &'a Mesh,
    pub(super) topology: &'a Topology,
    pub(super) facets: Vec<Facet>,
    pub(super) area: f64,
    /// Triangles at each point; none can surround a point of a rim.
    around: Vec<u32>,
    /// The spacing of `f32` at the largest coordinate: what files can tell.
    pub(super) rounding: f64,
}

/// What of a mesh a search has seen; one for each that runs at a time.
pub(super) struct Marks {
    triangles: Vec<u32>,
    points: Vec<u32>,
    slots: Vec<u32>,
    turn: u32,
}

impl Marks {
    pub(super) fn of(mesh: &Mesh) -> Self {
        let points = mesh.points().len();
        let triangles = vec![0; mesh.triangles().len()];
        Self { triangles, points: vec![0; points], slots: vec![0; points], turn: 0 }
    }

    fn next_turn(&mut self) {
        if self.turn == u32::MAX {
            self.triangles.fill(0);
            self.points.fill(0);
            self.turn = 0;
        }
        self.turn += 1;
    }

    fn is_new(&mut self, t: u32) -> bool {
        std::mem::replace(&mut self.triangles[t as usize], self.turn) != self.turn
    }
}

/// Points of some triangles, with the triangles' corners as places among them.
pub(super) struct Cloud {
    pub(super) samples: Vec<Sample>,
    pub(super) corners: Vec<[u32; 3]>,
    /// Points that triangles of the cloud surround.
    pub(super) inner: usize,
    area: f64,
}

impl Cloud {
    pub(super) fn distances(&self, shape: &Shape) -> Vec<f64> {
        self.samples.iter().map(|s| shape.signed_distance(s.at)).collect()
    }

    /// Both ends of each side of each triangle.
    pub(super) fn edges(&self) -> impl Iterator<Item = [usize; 2]> + '_ {
        let sides = |[a, b, c]: [u32; 3]| [[a, b], [b, c], [c, a]];
        self.corners.iter().flat_map(move |&t| sides(t)).map(|side| side.map(|k| k as usize))
    }

    /// The points in cubes that hold about `most` of them.
    pub(super) fn blocks(&self, most: f64) -> Vec<Vec<u32>> {
        let side = (self.area * most / self.samples.len().max(1) as f64).sqrt();
        let Some(first) = self.samples.first().filter(|_| side > 0.0) else { return Vec::new() };
        let cube = |s: &Sample| ((s.at - first.at) / side).floor().as_i64vec3().to_array();
        let mut keyed: Vec<([i64; 3], u32)> =
            self.samples.iter().enumerate().map(|(k, s)| (cube(s), k as u32)).collect();
        keyed.sort_unstable();
        keyed.chunk_by(|a, b| a.0 == b.0).map(|c| c.iter().map(|&(_, k)| k).collect()).collect()
    }
}

impl<'a> Surface<'a> {
    pub(super) fn of(mesh: &'a Mesh, topology: &'a Topology) -> Self {
        let facets: Vec<Facet> = (0..mesh.triangles().len())
            .into_par_iter()
            .map(|t| {
                let [a, b, c] = mesh.corners(t);
                let cross = mesh.area_normal(t);
                let middle = (a + b + c) / 3.0;
                Facet { middle, normal: cross.normalize_or_zero(), area: 0.5 * cross.length() }
            })
            .collect();
        let area = facets.iter().map(|f| f.area).sum();
        let bounds = mesh.bounds();
        let largest = bounds.min.abs().max(bounds.max.abs()).max_element();
        let rounding = if largest.is_finite() { largest * f64::from(f32::EPSILON) } else { 0.0 };
        let mut around = vec![0; mesh.points().len()];
        for (t, corners) in mesh.triangles().iter().enumerate() {
            for k in 0..3 {
                let open = topology.across(3 * t as u32 + k as u32).is_none();
                for v in [corners[k], corners[(k + 1) % 3]] {
                    let count = &mut around[v as usize];
                    *count = if open { u32::MAX } else { u32::saturating_add(*count, 1) };
                }
            }
        }
        Self { mesh, topology, facets, area, around, rounding }
    }

    pub(super) fn beside(&self, t: u32) -> impl Iterator<Item = u32> + '_ {
        (0..3).filter_map(move |k| self.topology.across(3 * t + k))
    }

    /// Triangles round `seed` in rings, not over creases, at most `most`.
    pub(super) fn patch(
        &self,
        marks: &mut Marks,
        taken: &[u32],
        seed: u32,
        most: usize,
    ) -> Vec<u32> {
        marks.next_turn();
        marks.is_new(seed);
        let mut found = vec![seed];
        let mut next = 0;
        while next < found.len() && found.len() < most {
            let t = found[next];
            next += 1;
            for n in self.beside(t) {
                let turn = self.facets[t as usize].normal.dot(self.facets[n as usize].normal);
                if turn >= CREASE_COS && taken[n as usize] == FREE && marks.is_new(n) {
                    found.push(n);
                }
            }
        }
        found.truncate(most);
        found
    }

    /// Triangles that lie on `shape` and hang together with the first of
    /// `from` that does; at most `most` of them.
    pub(super) fn flood(
        &self,
        marks: &mut Marks,
        taken: &[u32],
        from: &[u32],
        test: &OnShape,
        most: usize,
    ) -> Vec<u32> {
        marks.next_turn();
        let Some(&seed) = from.iter().find(|&&t| self.lies_on(t, test)) else {
            return Vec::new();
        };
        marks.is_new(seed);
        let mut found = vec![seed];
        let mut next = 0;
        while next < found.len() && found.len() < most {
            let t = found[next];
            next += 1;
            for n in self.beside(t) {
                if taken[n as usize] == FREE && marks.is_new(n) && self.lies_on(n, test) {
                    found.push(n);
                }
            }
        }
        found.truncate(most);
        found
    }

    /// The piece of these triangles with the most area, of those that hang
    /// together.
    pub(super) fn largest_piece(&self, marks: &mut Marks, of: &[u32]) -> Vec<u32> {
        let mut inside: Vec<u32> = of.to_vec();
        inside.sort_unstable();
        marks.next_turn();
        let (mut best, mut most) = (Vec::new(), 0.0);
        for &seed in of {
            if !marks.is_new(seed) {
                continue;
            }
            let mut piece = vec![seed];
            let mut next = 0;
            while let Some(&t) = piece.get(next) {
                next += 1;
                for n in self.beside(t) {
                    if inside.binary_search(&n).is_ok() && marks.is_new(n) {
                        piece.push(n);
                    }
                }
            }
            let area = self.area_of(&piece);
            if area > most {
                (best, most) = (piece, area);
            }
        }
        best
    }

    /// Whether the triangle's corners are on the shape within the tolerance,
    /// its edges no further off than chords of a round thing are, and it faces
    /// as the shape does there.
    pub(super) fn lies_on(&self, t: u32, test: &OnShape) -> bool {
        let corners = self.mesh.corners(t as usize);
        let shape = &test.shape;
        if corners.iter().any(|&p| shape.signed_distance(p).abs() > test.within) {
            return false;
        }
        let facet = self.facets[t as usize];
        // A facet lower than rounding faces anywhere.
        let [a, b, c] = corners;
        let longest =
            a.distance_squared(b).max(b.distance_squared(c)).max(c.distance_squared(a)).sqrt();
        let facing = facet.normal.dot(shape.normal_at(facet.middle)) * test.facing;
        if facing < ACROSS_COS && facet.area > 2.0 * self.rounding * longest {
            return false;
        }
        if let Shape::Plane { .. } = shape {
            return true;
        }
        [a.midpoint(b), b.midpoint(c), c.midpoint(a)].iter().all(|&p| {
            let chord = CHORD_SHARE * shape.radius_at(p);
            shape.signed_distance(p).abs() <= test.within + chord
        })
    }

    /// The points of these triangles, each weighted by a third of their areas.
    pub(super) fn cloud(&self, marks: &mut Marks, triangles: &[u32]) -> Cloud {
        marks.next_turn();
        let mut cloud = Cloud {
            samples: Vec::new(),
            corners: Vec::with_capacity(triangles.len()),
            inner: 0,
            area: self.area_of(triangles),
        };
        // Each triangle counts twice at a corner, once for each side there.
        let mut seen: Vec<(u32, u32)> = Vec::new();
        for &t in triangles {
            let third = self.facets[t as usize].area / 3.0;
            let corners = self.mesh.triangles()[t as usize].map(|v| {
                let k = v as usize;
                if std::mem::replace(&mut marks.points[k], marks.turn) != marks.turn {
                    marks.slots[k] = cloud.samples.len() as u32;
                    cloud.samples.push(Sample { at: self.mesh.points()[k], weight: 0.0 });
                    seen.push((v, 0));
                }
                seen[marks.slots[k] as usize].1 += 2;
                marks.slots[k]
            });
            corners.iter().for_each(|&s| cloud.samples[s as usize].weight += third);
            cloud.corners.push(corners);
        }
        cloud.inner = seen.iter().filter(|&&(v, n)| self.around[v as usize] == n).count();
        // Points of triangles without area still are points.
        let least = 1e-9 * self.area / cloud.samples.len().max(1) as f64;
        cloud.samples.iter_mut().for_each(|s| s.weight = s.weight.max(least));
        cloud
    }

    pub(super) fn facets_of(&self, triangles: &[u32]) -> Vec<Facet> {
        triangles.iter().map(|&t| self.facets[t as usize]).collect()
    }

    pub(super) fn area_of(&self, triangles: &[u32]) -> f64 {
        triangles.iter().map(|&t| self.facets[t as usize].area).sum()
    }

    /// 1 where the facets face as `shape` does, -1 where they face its axis.
    pub(super) fn facing(&self, triangles: &[u32], shape: &Shape) -> f64 {
        let sum: f64 = triangles
            .iter()
            .map(|&t| self.facets[t as usize])
            .map(|f| f.area * f.normal.dot(shape.normal_at(f.middle)))
            .sum();
        if sum < 0.0 { -1.0 } else { 1.0 }
    }

    pub(super) fn corners(&self, t: u32) -> [DVec3; 3] {
        self.mesh.corners(t as usize)
    }
}

/// A shape with how near a point of it must be.
pub(super) struct OnShape {
    pub(super) shape: Shape,
    pub(super) within: f64,
    /// 1 or -1, as [`Surface::facing`].
    pub(super) facing: f64,
}
