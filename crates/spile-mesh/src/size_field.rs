//! How long edges can be on a surface, from the surface itself.
//!
//! No longer than its own edges nearby, no longer than lets a chord follow its
//! curvature, and nowhere growing faster than asked. A remesher follows it, so
//! that triangles get smaller where the surface bends and end up like the
//! surface's own where they meet those.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use glam::DVec3;
use rayon::prelude::*;

use crate::{Bvh, Mesh, VertexTriangles, vertex_triangles};

/// Edge lengths for the places of a surface.
///
/// Invariants:
/// 1. `lengths` has one positive length a point of the surface;
/// 2. over an edge between two points it changes by no more than the growth
///    times the edge's length.
pub struct SizeField {
    surface: Mesh,
    bvh: Bvh,
    lengths: Vec<f64>,
    growth: f64,
}

impl SizeField {
    /// The field of `surface`.
    ///
    /// `chord` is the most that the middle of an edge may lie off the surface,
    /// in the surface's unit; `growth` the most that the length may change a
    /// length of way.
    ///
    /// # Source
    /// Sagitta of a circle: an edge of length `L` over curvature `k` lies off by
    /// `L^2 k / 8`.
    pub fn of(surface: &Mesh, chord: f64, growth: f64) -> Self {
        let fans = vertex_triangles(surface);
        let mut lengths: Vec<f64> = (0..surface.points().len() as u32)
            .into_par_iter()
            .map_init(Rings::default, |rings, v| {
                rings.walk(surface, &fans, v);
                let own = own_length(surface, &rings.triangles);
                own.min((8.0 * chord / curvature(surface, rings, v)).sqrt())
            })
            .collect();
        graded(surface, &fans, growth, &mut lengths);
        Self { bvh: Bvh::build(surface), surface: surface.clone(), lengths, growth }
    }

    /// The edge length at the place of the surface that is nearest to `p`;
    /// infinite where the surface has no triangle.
    pub fn at(&self, p: DVec3) -> f64 {
        let Some(nearest) = self.bvh.closest(p) else { return f64::INFINITY };
        let t = nearest.triangle as usize;
        let [a, b, c] = self.surface.corners(t);
        let whole = (b - a).cross(c - a);
        let square = whole.length_squared();
        let [u, v, w] = self.surface.triangles()[t].map(|v| self.lengths[v as usize]);
        if square == 0.0 {
            return u.min(v).min(w);
        }
        let share = |from: DVec3, to: DVec3| {
            ((from - nearest.point).cross(to - nearest.point).dot(whole) / square).clamp(0.0, 1.0)
        };
        let (of_a, of_b) = (share(b, c), share(c, a));
        u * of_a + v * of_b + w * (1.0 - of_a - of_b).max(0.0)
    }

    /// Tests the invariants; for tests.
    ///
    /// # Errors
    /// The number of the invariant that does not hold, and where.
    pub fn check(&self) -> Result<(), String> {
        let points = self.surface.points();
        if self.lengths.len() != points.len() || self.lengths.iter().any(|&length| length <= 0.0) {
            return Err("invariant 1: not one positive length a point".into());
        }
        for corners in self.surface.triangles() {
            for k in 0..3 {
                let [a, b] = [corners[k], corners[(k + 1) % 3]].map(|v| v as usize);
                let most = self.growth * points[a].distance(points[b]);
                if (self.lengths[a] - self.lengths[b]).abs() > most + 1e-12 * self.lengths[a] {
                    return Err(format!("invariant 2 from point {a} to {b}"));
                }
            }
        }
        Ok(())
    }
}

/// Rings of triangles round a point over which its own length and curvature
/// are taken.
const RINGS: usize = 2;

/// The triangles within some rings of a point, and their points, both rising; kept
/// from point to point.
#[derive(Default)]
struct Rings {
    triangles: Vec<u32>,
    points: Vec<u32>,
    /// The number of the last walk that came to each triangle and to each point.
    seen: [Vec<u32>; 2],
    walks: u32,
}

impl Rings {
    fn walk(&mut self, surface: &Mesh, fans: &VertexTriangles, v: u32) {
        let Self { triangles, points, seen: [seen_triangle, seen_point], walks } = self;
        seen_triangle.resize(surface.triangles().len(), 0);
        seen_point.resize(surface.points().len(), 0);
        *walks += 1;
        triangles.clear();
        points.clear();
        points.push(v);
        seen_point[v as usize] = *walks;
        let mut ring = 0;
        for _ in 0..RINGS {
            let last = points.len();
            for k in ring..last {
                for &t in fans.of(points[k]) {
                    if std::mem::replace(&mut seen_triangle[t as usize], *walks) == *walks {
                        continue;
                    }
                    triangles.push(t);
                    for w in surface.triangles()[t as usize] {
                        if std::mem::replace(&mut seen_point[w as usize], *walks) != *walks {
                            points.push(w);
                        }
                    }
                }
            }
            ring = last;
        }
        triangles.sort_unstable();
        points.sort_unstable();
    }
}

/// The median edge of these triangles.
fn own_length(surface: &Mesh, triangles: &[u32]) -> f64 {
    let edges = triangles.iter().flat_map(|&t| {
        let [a, b, c] = surface.corners(t as usize);
        [a.distance(b), b.distance(c), c.distance(a)]
    });
    let mut edges: Vec<f64> = edges.filter(|&length| length > 0.0).collect();
    let middle = edges.len() / 2;
    if edges.is_empty() {
        return f64::INFINITY;
    }
    *edges.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// The larger principal curvature at a point, by size, less twice its standard
/// error: what noise alone could make is no curvature. 0 where too few points
/// are near to tell.
///
/// A paraboloid is fitted to the points of the rings round it, by least squares
/// over the plane square to the mean normal there.
fn curvature(surface: &Mesh, Rings { triangles, points, .. }: &Rings, v: u32) -> f64 {
    let normal: DVec3 = triangles.iter().map(|&t| surface.area_normal(t as usize)).sum();
    let Some(normal) = normal.try_normalize() else { return 0.0 };
    let origin = surface.points()[v as usize];
    let places: Vec<DVec3> =
        points.iter().map(|&p| surface.points()[p as usize] - origin).collect();
    let scale = places.iter().map(|p| p.length()).fold(0.0, f64::max);
    if places.len() < TERMS + 3 || scale == 0.0 {
        return 0.0;
    }
    let (x, y) = normal.any_orthonormal_pair();
    let row = |p: &DVec3| {
        let (s, t) = (p.dot(x) / scale, p.dot(y) / scale);
        [s * s, s * t, t * t, s, t, 1.0]
    };
    let height = |p: &DVec3| p.dot(normal) / scale;
    let mut matrix = [[0.0; TERMS]; TERMS];
    let mut right = [0.0; TERMS];
    for p in &places {
        let r = row(p);
        for i in 0..TERMS {
            right[i] += r[i] * height(p);
            for j in 0..TERMS {
                matrix[i][j] += r[i] * r[j];
            }
        }
    }
    let Some(inverse) = crate::dense::inverse(&matrix, TERMS) else { return 0.0 };
    let fit: [f64; TERMS] =
        std::array::from_fn(|i| (0..TERMS).map(|j| inverse[i][j] * right[j]).sum());
    let off =
        |p: &DVec3| (height(p) - row(p).iter().zip(fit).map(|(r, f)| r * f).sum::<f64>()).powi(2);
    let variance = places.iter().map(off).sum::<f64>() / (places.len() - TERMS) as f64;
    let error = 2.0 * (variance * inverse[0][0].max(inverse[2][2])).sqrt();
    // The larger eigenvalue of [[2a, b], [b, 2c]], by size.
    let [a, b, c, ..] = fit;
    let largest = (a + c).abs() + (a - c).hypot(b);
    (largest - 2.0 * error).max(0.0) / scale
}

/// Terms of a paraboloid over a plane.
const TERMS: usize = 6;

/// Lowers lengths until none changes over an edge by more than `growth` times
/// the edge, shortest first.
fn graded(surface: &Mesh, fans: &VertexTriangles, growth: f64, lengths: &mut [f64]) {
    // Positive numbers keep their order as bits.
    let mut queue: BinaryHeap<Reverse<(u64, u32)>> =
        lengths.iter().enumerate().map(|(v, l)| Reverse((l.to_bits(), v as u32))).collect();
    while let Some(Reverse((bits, v))) = queue.pop() {
        let length = lengths[v as usize];
        if bits != length.to_bits() {
            continue;
        }
        for &t in fans.of(v) {
            for w in surface.triangles()[t as usize] {
                let way = surface.points()[v as usize].distance(surface.points()[w as usize]);
                let most = length + growth * way;
                if most < lengths[w as usize] {
                    lengths[w as usize] = most;
                    queue.push(Reverse((most.to_bits(), w)));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sheet over columns and rows at the given places.
    fn sheet(columns: &[f64], rows: &[f64], height: impl Fn(f64, f64, usize) -> f64) -> Mesh {
        let n = columns.len();
        let mut points = Vec::new();
        for &y in rows {
            for &x in columns {
                points.push(DVec3::new(x, y, height(x, y, points.len())));
            }
        }
        let cells = (0..rows.len() - 1).flat_map(|i| (0..n - 1).map(move |j| (i * n + j) as u32));
        let n = n as u32;
        let triangles = cells.flat_map(|a| [[a, a + 1, a + n + 1], [a, a + n + 1, a + n]]);
        Mesh::new(points, triangles.collect()).unwrap()
    }

    fn even(from: f64, to: f64, step: f64) -> Vec<f64> {
        (0..=((to - from) / step).round() as usize).map(|k| from + step * k as f64).collect()
    }

    /// A value between -1 and 1 that looks random.
    fn noise(k: usize) -> f64 {
        let x = (k as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let x = (x ^ (x >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        ((x >> 11) as f64 / (1u64 << 52) as f64) - 1.0
    }

    #[test]
    fn lengths_follow_the_surface_s_own_edges_nearby() {
        let mut columns = even(-10.0, 0.0, 1.0);
        columns.extend(even(0.25, 5.0, 0.25));
        let mesh = sheet(&columns, &even(-5.0, 5.0, 0.5), |_, _, _| 0.0);
        let field = SizeField::of(&mesh, 0.01, 0.2);
        // Half of a coarse cell has edges of 0.5, 1 and the diagonal; of a fine
        // one 0.25, 0.5 and the diagonal.
        assert!((field.at(DVec3::new(-8.0, 0.0, 0.0)) - 1.0).abs() < 1e-6);
        assert!((field.at(DVec3::new(4.0, 0.0, 0.0)) - 0.5).abs() < 1e-6);
        field.check().unwrap();
    }

    #[test]
    fn a_broken_invariant_is_told_by_its_number() {
        let mesh = sheet(&even(0.0, 4.0, 1.0), &even(0.0, 4.0, 1.0), |_, _, _| 0.0);
        let mut field = SizeField::of(&mesh, 0.01, 0.2);
        field.lengths[7] += 0.3;
        assert!(field.check().unwrap_err().starts_with("invariant 2"));
        field.lengths[7] = 0.0;
        assert!(field.check().unwrap_err().starts_with("invariant 1"));
    }

    #[test]
    fn lengths_follow_the_curvature_of_a_bump_and_not_noise() {
        // A cap of a sphere of 5, on edges of 0.7; a chord of 0.004.
        let radius = 5.0f64;
        let cap = |x: f64, y: f64| (radius * radius - x * x - y * y).sqrt();
        let grid = even(-2.8, 2.8, 0.7);
        let wanted = (8.0 * 0.004 * radius).sqrt();
        assert!(wanted < 0.6 * 0.7);
        for rough in [0.0, 0.003] {
            let mesh = sheet(&grid, &grid, |x, y, k| cap(x, y) + rough * noise(k));
            let at = SizeField::of(&mesh, 0.004, 0.2).at(DVec3::new(0.0, 0.0, radius));
            let most = if rough == 0.0 { 0.03 } else { 0.2 };
            assert!((at / wanted - 1.0).abs() < most, "{at} where {wanted} is right");
            // Without the bump, noise alone gives no curvature.
            let flat = sheet(&grid, &grid, |_, _, k| rough * noise(k));
            let at = SizeField::of(&flat, 0.004, 0.2).at(DVec3::ZERO);
            assert!(at > 0.9 * 0.7, "{at} on a plane");
        }
    }
}
