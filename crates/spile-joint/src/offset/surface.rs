//! A closed surface whose triangles are evened out in place: edges split,
//! collapsed and flipped so that it stays a closed manifold throughout.

use spile_mesh::{DVec3, Mesh, MeshError};

/// A triangle that is gone.
const GONE: [u32; 3] = [u32::MAX; 3];

/// A change may turn a triangle by no more than this (cosine of 45 degrees).
const TURN_COSINE: f64 = 0.7;

/// Only pairs of triangles flatter than this are flipped (cosine of 25 degrees).
const FLIP_COSINE: f64 = 0.9;

/// No collapse may give a vertex more neighbours than this.
const MOST_NEIGHBOURS: usize = 10;

/// Lengths that edges are brought to.
#[derive(Clone, Copy)]
pub(super) struct EdgeLengths {
    /// Edges longer than this are split.
    pub longest: f64,
    /// Edges shorter than this are collapsed.
    pub shortest: f64,
}

impl EdgeLengths {
    /// The range about an aim that splitting and collapsing cannot chase each
    /// other in.
    ///
    /// # Source
    /// Botsch, Kobbelt 2004, A remeshing approach to multiresolution modeling, section 4.
    pub fn about(aim: f64) -> Self {
        Self { longest: aim * 4.0 / 3.0, shortest: aim * 0.8 }
    }
}

/// A closed manifold under change.
///
/// Invariants:
/// 1. every edge of a live triangle is shared by exactly one other, the other way round;
/// 2. `around[v]` holds exactly the live triangles at `v`.
pub(super) struct Surface {
    pub points: Vec<DVec3>,
    pub triangles: Vec<[u32; 3]>,
    pub around: Vec<Vec<u32>>,
}

impl Surface {
    /// `mesh` must be a closed manifold.
    pub fn of(mesh: Mesh) -> Self {
        let (points, triangles) = mesh.into_parts();
        let mut around = vec![Vec::with_capacity(8); points.len()];
        for (t, corners) in triangles.iter().enumerate() {
            for &v in corners {
                around[v as usize].push(t as u32);
            }
        }
        Self { points, triangles, around }
    }

    /// The surface as it is; it must have nothing that is gone.
    pub fn mesh(&self) -> Result<Mesh, MeshError> {
        Mesh::new(self.points.clone(), self.triangles.clone())
    }

    /// The surface without what is gone, points in their order.
    pub fn into_mesh(self) -> Result<Mesh, MeshError> {
        let mut number = vec![u32::MAX; self.points.len()];
        let mut points = Vec::new();
        for (v, around) in self.around.iter().enumerate() {
            if !around.is_empty() {
                number[v] = points.len() as u32;
                points.push(self.points[v]);
            }
        }
        let triangles = self.triangles.iter().filter(|t| **t != GONE);
        let triangles = triangles.map(|t| t.map(|v| number[v as usize])).collect();
        Mesh::new(points, triangles)
    }

    pub fn corners(&self, t: u32) -> [DVec3; 3] {
        self.triangles[t as usize].map(|v| self.points[v as usize])
    }

    /// The points that share an edge with `v`, each once.
    pub fn neighbours(&self, v: u32) -> Vec<u32> {
        // Each neighbour follows v in exactly one of its triangles.
        self.around[v as usize].iter().map(|&t| after(self.triangles[t as usize], v)).collect()
    }

    /// Sum of the area normals of the triangles at `v`.
    pub fn normal(&self, v: u32) -> DVec3 {
        self.around[v as usize].iter().map(|&t| area_normal(self.corners(t))).sum()
    }

    /// Splits at the middle every edge that is too long, longest first.
    pub fn split_long(&mut self, lengths: EdgeLengths) {
        let mut edges = self.edges(|length| length > lengths.longest);
        edges.reverse();
        for (_, [a, b]) in edges {
            if let Some([t, u]) = self.sides(a, b) {
                self.split(a, b, t, u);
            }
        }
    }

    /// Collapses every edge that is too short, shortest first, where the
    /// surface stays a manifold and no triangle turns or becomes a sliver.
    pub fn collapse_short(&mut self, lengths: EdgeLengths) {
        for (_, [a, b]) in self.edges(|length| length < lengths.shortest) {
            let Some([t, u]) = self.sides(a, b) else { continue };
            let length = self.points[a as usize].distance(self.points[b as usize]);
            if length < lengths.shortest {
                self.collapse(a, b, [t, u], lengths);
            }
        }
    }

    /// Flips edges between nearly flat pairs of triangles where that makes the
    /// smaller of the angles greater, until nothing changes or `rounds` is over.
    pub fn flip(&mut self, rounds: usize) {
        for _ in 0..rounds {
            let mut changed = false;
            for t in 0..self.triangles.len() as u32 {
                for k in 0..3 {
                    let (a, b) =
                        (self.triangles[t as usize][k], self.triangles[t as usize][(k + 1) % 3]);
                    if a < b
                        && let Some([_, u]) = self.sides(a, b)
                    {
                        changed |= self.flip_edge(a, b, t, u);
                    }
                }
            }
            if !changed {
                break;
            }
        }
    }

    /// The edges whose length `is_meant`, shortest first.
    fn edges(&self, is_meant: impl Fn(f64) -> bool) -> Vec<(f64, [u32; 2])> {
        let mut edges = Vec::new();
        for t in self.triangles.iter().filter(|t| **t != GONE) {
            for k in 0..3 {
                let (a, b) = (t[k], t[(k + 1) % 3]);
                if a < b {
                    let length = self.points[a as usize].distance(self.points[b as usize]);
                    if is_meant(length) {
                        edges.push((length, [a, b]));
                    }
                }
            }
        }
        edges.sort_unstable_by(|p, q| p.0.total_cmp(&q.0).then(p.1.cmp(&q.1)));
        edges
    }

    /// The triangle that runs from `a` to `b` and the one that runs from `b`
    /// to `a`; `None` if there is no such edge any more.
    fn sides(&self, a: u32, b: u32) -> Option<[u32; 2]> {
        let find = |from: u32, to: u32| {
            let mut at_from = self.around[from as usize].iter().copied();
            at_from.find(|&t| after(self.triangles[t as usize], from) == to)
        };
        Some([find(a, b)?, find(b, a)?])
    }

    fn split(&mut self, a: u32, b: u32, t: u32, u: u32) {
        let middle = self.points.len() as u32;
        self.points.push(0.5 * (self.points[a as usize] + self.points[b as usize]));
        self.around.push(Vec::with_capacity(8));
        for (triangle, from, to) in [(t, a, b), (u, b, a)] {
            let apex = after(self.triangles[triangle as usize], to);
            // The old triangle keeps `from`; the new one takes `to`.
            self.triangles[triangle as usize] = [from, middle, apex];
            let new = self.triangles.len() as u32;
            self.triangles.push([middle, to, apex]);
            self.around[to as usize].retain(|&x| x != triangle);
            self.around[to as usize].push(new);
            self.around[apex as usize].push(new);
            self.around[middle as usize].extend([triangle, new]);
        }
    }

    fn collapse(&mut self, a: u32, b: u32, sides: [u32; 2], lengths: EdgeLengths) -> bool {
        let apexes = [
            after(self.triangles[sides[0] as usize], b),
            after(self.triangles[sides[1] as usize], a),
        ];
        let (near_a, near_b) = (self.neighbours(a), self.neighbours(b));
        // The link condition: the ends have no common neighbour but the two apexes.
        let common = near_a.iter().filter(|v| near_b.contains(v)).count();
        let is_thin = apexes.iter().any(|&v| self.around[v as usize].len() <= 3);
        if common != 2 || is_thin || near_a.len() + near_b.len() - 4 > MOST_NEIGHBOURS {
            return false;
        }
        let place = 0.5 * (self.points[a as usize] + self.points[b as usize]);
        let is_far = |v: &u32| self.points[*v as usize].distance(place) > lengths.longest;
        if near_a.iter().chain(&near_b).any(is_far) || !self.may_move(a, b, sides, place) {
            return false;
        }
        for t in sides {
            for v in self.triangles[t as usize] {
                self.around[v as usize].retain(|&x| x != t);
            }
            self.triangles[t as usize] = GONE;
        }
        for t in std::mem::take(&mut self.around[b as usize]) {
            let corners = &mut self.triangles[t as usize];
            *corners = corners.map(|v| if v == b { a } else { v });
            self.around[a as usize].push(t);
        }
        self.points[a as usize] = place;
        true
    }

    /// Whether the triangles at `a` and `b`, but for `sides`, keep their
    /// direction and get no worse than poor when both points move to `place`.
    fn may_move(&self, a: u32, b: u32, sides: [u32; 2], place: DVec3) -> bool {
        let at_either = self.around[a as usize].iter().chain(&self.around[b as usize]);
        at_either.filter(|t| !sides.contains(t)).all(|&t| {
            let before = self.corners(t);
            let corners = self.triangles[t as usize];
            let moved: [DVec3; 3] = std::array::from_fn(|k| {
                if corners[k] == a || corners[k] == b { place } else { before[k] }
            });
            is_turned_little(before, moved) && height_share(moved) > height_share(before).min(0.3)
        })
    }

    fn flip_edge(&mut self, a: u32, b: u32, t: u32, u: u32) -> bool {
        let c = after(self.triangles[t as usize], b);
        let d = after(self.triangles[u as usize], a);
        let (before_t, before_u) = (self.corners(t), self.corners(u));
        if cosine(area_normal(before_t), area_normal(before_u)) < FLIP_COSINE {
            return false;
        }
        let place = |v: u32| self.points[v as usize];
        let new_t = [place(c), place(a), place(d)];
        let new_u = [place(d), place(b), place(c)];
        let before = least_angle_cosine(before_t).max(least_angle_cosine(before_u));
        let now = least_angle_cosine(new_t).max(least_angle_cosine(new_u));
        let thin = self.around[a as usize].len() <= 4 || self.around[b as usize].len() <= 4;
        // A hair, so that equal diagonals do not flip to and fro.
        if now > before - 1e-9 || thin {
            return false;
        }
        let whole = area_normal(before_t) + area_normal(before_u);
        let is_kept = |n: DVec3| cosine(n, whole) > FLIP_COSINE;
        if !is_kept(area_normal(new_t))
            || !is_kept(area_normal(new_u))
            || self.sides(c, d).is_some()
        {
            return false;
        }
        self.triangles[t as usize] = [c, a, d];
        self.triangles[u as usize] = [d, b, c];
        self.around[a as usize].retain(|&x| x != u);
        self.around[b as usize].retain(|&x| x != t);
        self.around[c as usize].push(u);
        self.around[d as usize].push(t);
        true
    }
}

/// The corner after `v` in the triangle's direction.
fn after(corners: [u32; 3], v: u32) -> u32 {
    if corners[0] == v {
        corners[1]
    } else if corners[1] == v {
        corners[2]
    } else {
        corners[0]
    }
}

pub(super) fn area_normal([a, b, c]: [DVec3; 3]) -> DVec3 {
    (b - a).cross(c - a)
}

/// Cosine of the angle between two directions; -1 if one has none.
pub(super) fn cosine(a: DVec3, b: DVec3) -> f64 {
    let lengths = (a.length_squared() * b.length_squared()).sqrt();
    if lengths > 0.0 { a.dot(b) / lengths } else { -1.0 }
}

fn is_turned_little(before: [DVec3; 3], now: [DVec3; 3]) -> bool {
    cosine(area_normal(before), area_normal(now)) > TURN_COSINE
}

/// Height over longest edge: 0.87 for equal sides, 0 for a sliver.
pub(super) fn height_share(corners: [DVec3; 3]) -> f64 {
    let [a, b, c] = corners;
    let longest_sq = a.distance_squared(b).max(b.distance_squared(c)).max(c.distance_squared(a));
    if longest_sq > 0.0 { area_normal(corners).length() / longest_sq } else { 0.0 }
}

/// Cosine of the smallest angle, the greatest of the three cosines.
fn least_angle_cosine([a, b, c]: [DVec3; 3]) -> f64 {
    cosine(b - a, c - a).max(cosine(c - b, a - b)).max(cosine(a - c, b - c))
}

#[cfg(test)]
mod tests {
    use super::*;
    use spile_mesh::Topology;

    /// A closed torus of n by m quads, each cut in two.
    fn torus(n: u32, m: u32) -> Mesh {
        let angle = |k: u32, of: u32| std::f64::consts::TAU * f64::from(k) / f64::from(of);
        let points = (0..n * m).map(|k| {
            let (u, v) = (angle(k / m, n), angle(k % m, m));
            let ring = 8.0 + 3.0 * v.cos();
            DVec3::new(ring * u.cos(), ring * u.sin(), 3.0 * v.sin())
        });
        let at = |i: u32, j: u32| (i % n) * m + j % m;
        let triangles = (0..n * m).flat_map(|k| {
            let (i, j) = (k / m, k % m);
            [[at(i, j), at(i + 1, j), at(i + 1, j + 1)], [at(i, j), at(i + 1, j + 1), at(i, j + 1)]]
        });
        Mesh::new(points.collect(), triangles.collect()).unwrap()
    }

    fn check(surface: &Surface) {
        for (v, around) in surface.around.iter().enumerate() {
            let mut truth: Vec<u32> = (0..surface.triangles.len() as u32)
                .filter(|&t| surface.triangles[t as usize].contains(&(v as u32)))
                .collect();
            let mut kept = around.clone();
            kept.sort_unstable();
            truth.sort_unstable();
            assert_eq!(kept, truth, "triangles round {v}");
        }
    }

    #[test]
    fn even_triangles_on_a_closed_manifold_come_out() {
        for (n, m) in [(9, 40), (120, 8), (60, 60)] {
            let mut surface = Surface::of(torus(n, m));
            let lengths = EdgeLengths::about(0.9);
            for _ in 0..4 {
                surface.split_long(lengths);
                surface.collapse_short(lengths);
                surface.flip(4);
            }
            check(&surface);
            let mesh = surface.into_mesh().unwrap();
            let topology = Topology::of(&mesh);
            assert!(topology.is_closed(), "{n} x {m}");
            // Euler's formula: a torus has V - E + F = 0.
            assert_eq!(mesh.points().len() * 2, mesh.triangles().len());
            let lengths: Vec<f64> = (0..mesh.triangles().len())
                .flat_map(|t| {
                    let [a, b, c] = mesh.corners(t);
                    [a.distance(b), b.distance(c), c.distance(a)]
                })
                .collect();
            let longest = lengths.iter().copied().fold(0.0, f64::max);
            assert!(longest < 0.9 * 1.7, "{longest}");
        }
    }

    #[test]
    fn a_tetrahedron_cannot_be_collapsed() {
        let points = vec![DVec3::ZERO, DVec3::X, DVec3::Y, DVec3::Z];
        let mesh = Mesh::new(points, vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).unwrap();
        let mut surface = Surface::of(mesh.clone());
        surface.collapse_short(EdgeLengths::about(100.0));
        surface.flip(3);
        assert_eq!(surface.into_mesh().unwrap(), mesh);
    }
}
