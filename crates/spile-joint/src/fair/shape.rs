//! What of a surface is shape: the paraboloid that fits the surroundings of each
//! point.
//!
//! A moving least-squares fit over one wave to each side: what is longer than
//! that stays as it is, and with it the curvature of a tube, at the rim too,
//! where the surroundings are on one side only.

use rayon::prelude::*;
use spile_mesh::{DVec3, Mesh, VertexTriangles, vertex_triangles};

use super::{Hinge, point_areas, point_normals};
use crate::least_squares::solve_dense;

/// The shape of a surface near each of its points.
pub struct Shape(Vec<Option<Paraboloid>>);

impl Shape {
    /// Of `mesh`: for each point the paraboloid that fits the points nearer than
    /// its length of `waves`, weighted by the area each stands for and fading out
    /// with distance. A point with too few points round it has none.
    pub fn of(mesh: &Mesh, normals: &[DVec3], areas: &[f64], waves: &[f64]) -> Self {
        let fans = vertex_triangles(mesh);
        let fit =
            |v: usize| Paraboloid::over(mesh, (&fans, areas), (v as u32, normals[v]), waves[v]);
        Self((0..mesh.points().len()).into_par_iter().map(fit).collect())
    }

    /// The bend over an edge that is shape: that of its corners put onto one
    /// paraboloid, the mean of those at the edge's ends. Each corner on its own
    /// paraboloid would let needles bend as they like.
    pub fn bend(&self, hinge: &Hinge, points: &[DVec3]) -> DVec3 {
        let on_one = |v: u32| match &self.0[v as usize] {
            Some(fit) => hinge.bend_of(hinge.corners.map(|c| fit.onto(points[c as usize]))),
            None => hinge.bend(points),
        };
        0.5 * (on_one(hinge.corners[0]) + on_one(hinge.corners[1]))
    }
}

/// The unit normal of `mesh` at each of `points`, of the paraboloid that fits the
/// points nearer than `wave`: the slope of the shape, not of single triangles.
/// Where there is none, the mean of the triangles round the point.
pub fn normals_at(mesh: &Mesh, points: &[u32], wave: f64) -> Vec<DVec3> {
    let fans = vertex_triangles(mesh);
    let (normals, areas) = (point_normals(mesh), point_areas(mesh));
    points
        .par_iter()
        .map(|&v| {
            let normal = normals[v as usize];
            let fit = Paraboloid::over(mesh, (&fans, &areas), (v, normal), wave);
            fit.map_or(normal, |fit| fit.normal())
        })
        .collect()
}

/// The points nearer than `far` to point `v` that hang together with it over
/// triangles all of whose corners are.
fn nearer_than(mesh: &Mesh, fans: &VertexTriangles, v: u32, far: f64) -> Vec<u32> {
    let is_near = |w: u32| mesh.points()[w as usize].distance(mesh.points()[v as usize]) < far;
    let mut found = std::collections::BTreeSet::from([v]);
    let mut queue = vec![v];
    while let Some(at) = queue.pop() {
        for w in fans.of(at).iter().flat_map(|&t| mesh.triangles()[t as usize]) {
            if is_near(w) && found.insert(w) {
                queue.push(w);
            }
        }
    }
    found.into_iter().collect()
}

/// Terms of a paraboloid over a plane.
const TERMS: usize = 6;

/// A paraboloid near one point.
struct Paraboloid {
    /// The point, and the directions that its plane and its heights run along.
    origin: DVec3,
    axes: [DVec3; 3],
    /// Unit of the terms' lengths.
    far: f64,
    /// Factors of 1, s, t, s^2, s t, t^2.
    terms: [f64; TERMS],
}

impl Paraboloid {
    /// The one that fits the points of `mesh` nearer to point `v` than `far`,
    /// seen along `normal`; none where they are too few to tell.
    fn over(
        mesh: &Mesh,
        (fans, areas): (&VertexTriangles, &[f64]),
        (v, normal): (u32, DVec3),
        far: f64,
    ) -> Option<Self> {
        let near = nearer_than(mesh, fans, v, far);
        if near.len() < 2 * TERMS || normal == DVec3::ZERO {
            return None;
        }
        let p = mesh.points()[v as usize];
        let (x, y) = normal.any_orthonormal_pair();
        let mut matrix = vec![vec![0.0; TERMS]; TERMS];
        let mut right = vec![0.0; TERMS];
        for &w in &near {
            let q = (mesh.points()[w as usize] - p) / far;
            let (s, t) = (q.dot(x), q.dot(y));
            let row = [1.0, s, t, s * s, s * t, t * t];
            let weight = areas[w as usize] * (1.0 - q.length_squared()).powi(2);
            for i in 0..TERMS {
                right[i] += weight * row[i] * q.dot(normal);
                for j in 0..TERMS {
                    matrix[i][j] += weight * row[i] * row[j];
                }
            }
        }
        let terms = solve_dense(&matrix, &right).ok()?.try_into().ok()?;
        Some(Self { origin: p, axes: [x, y, normal], far, terms })
    }

    /// A point moved along the heights onto the paraboloid.
    fn onto(&self, p: DVec3) -> DVec3 {
        let [x, y, normal] = self.axes;
        let q = (p - self.origin) / self.far;
        let (s, t) = (q.dot(x), q.dot(y));
        let row = [1.0, s, t, s * s, s * t, t * t];
        let height: f64 = row.iter().zip(self.terms).map(|(r, k)| r * k).sum();
        p + normal * ((height - q.dot(normal)) * self.far)
    }

    /// Its own unit normal over the point.
    fn normal(&self) -> DVec3 {
        let [x, y, normal] = self.axes;
        (normal - x * self.terms[1] - y * self.terms[2]).normalize_or_zero()
    }
}
