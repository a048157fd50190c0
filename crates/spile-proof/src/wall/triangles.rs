//! One side of a wall, and pieces of triangles measured to it.

use spile_mesh::{Bounds, Bvh, DVec3, Mesh, nearest, nearest_each};

/// One side of a wall, to be measured to.
pub struct OtherSide {
    bvh: Bvh,
}

impl OtherSide {
    /// The side made of these triangles.
    pub fn new(mesh: &Mesh, triangles: &[u32]) -> Self {
        Self { bvh: Bvh::build_of(mesh, triangles) }
    }

    /// Whether there is nothing to measure to.
    pub fn is_empty(&self) -> bool {
        self.bvh.is_empty()
    }

    /// Distance from a point; infinite from an empty side.
    pub fn distance(&self, p: DVec3) -> f64 {
        self.bvh.closest(p).map_or(f64::INFINITY, |closest| closest.distance)
    }

    /// The side's point nearest `p`.
    pub fn nearest(&self, p: DVec3) -> Option<DVec3> {
        self.bvh.closest(p).map(|closest| closest.point)
    }

    /// Certified least distance from some triangles of `mesh`.
    pub fn least(&self, mesh: &Mesh, some: &[u32]) -> Option<Bounds> {
        nearest(mesh, Some(some), &self.bvh, 0.0)
    }

    /// The same for each triangle, looked for only nearer than `limit`.
    pub fn each(&self, mesh: &Mesh, some: &[u32], limit: f64) -> Vec<Bounds> {
        nearest_each(mesh, some, &self.bvh, &|_| limit)
    }

    /// The same for a loose triangle, looked for only nearer than `limit`.
    pub fn wall(&self, triangle: [DVec3; 3], limit: f64) -> Bounds {
        let none = Bounds { lo: 0.0, hi: f64::INFINITY, at: triangle[0] };
        let Ok(piece) = Mesh::new(triangle.to_vec(), vec![[0, 1, 2]]) else { return none };
        self.each(&piece, &[0], limit).first().copied().unwrap_or(none)
    }
}

/// The middle of a triangle.
pub fn middle([a, b, c]: [DVec3; 3]) -> DVec3 {
    (a + b + c) / 3.0
}

/// Greatest distance of a corner from `middle`.
pub fn radius(triangle: [DVec3; 3], middle: DVec3) -> f64 {
    triangle.iter().map(|p| p.distance(middle)).fold(0.0, f64::max)
}

/// Four triangles over the middles of the edges.
pub fn quarters([a, b, c]: [DVec3; 3]) -> [[DVec3; 3]; 4] {
    let (ab, bc, ca) = (0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a));
    [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]
}
