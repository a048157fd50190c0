//! How often a capped piece winds round a point.

use std::sync::OnceLock;

use spile_mesh::{Bounds3, Bvh, DVec3, Mesh, Shells, Topology, boundary_loops, topology};

use super::super::rims::area_vector;
use super::box_of;

/// Rays that vote on a winding number. Skew, so that none lies in a plane of
/// axis-aligned faces; a ray through an edge counts it twice, and is outvoted.
const RAYS: [DVec3; 5] = [
    DVec3::new(0.531, 0.279, 0.8),
    DVec3::new(-0.377, 0.823, 0.425),
    DVec3::new(0.741, -0.613, 0.274),
    DVec3::new(-0.289, -0.468, -0.835),
    DVec3::new(-0.872, 0.207, -0.443),
];

/// A cap that fills this share of the view or more is an opening in which one
/// stands: in its plane it fills half, just below its edge a quarter.
const OPENING_VIEW: f64 = 0.2;

/// An open rim of a piece that is no hole.
pub(super) struct Rim {
    pub(super) centre: DVec3,
    /// Of the circle of the same area.
    pub(super) radius: f64,
    /// The triangles of its cap in the capped mesh.
    cap: std::ops::Range<usize>,
}

/// A piece of the mesh that hangs together by edges.
pub(super) struct Piece {
    pub(super) triangles: Vec<u32>,
    pub(super) bounds: Bounds3,
    pub(super) rims: Vec<Rim>,
    /// Whether an edge is open that is on no hole's loop.
    pub(super) is_open: bool,
    /// Its triangles and caps in the capped mesh; those left out are not there.
    counted: Vec<u32>,
    tree: OnceLock<Bvh>,
}

/// A mesh whose open loops are closed by caps, and its pieces.
pub(super) struct Capped {
    /// The mesh, then a fan of triangles for each closed boundary loop.
    mesh: Mesh,
    /// The triangle at each cap's outer edge.
    beside: Vec<u32>,
    /// Triangles that are no caps.
    count: usize,
    pub(super) pieces: Vec<Piece>,
    /// The piece of each triangle.
    pub(super) label: Vec<u32>,
    /// Half-edges that a cap closes.
    is_capped: Vec<bool>,
}

impl Capped {
    pub(super) fn of(
        mesh: &Mesh,
        connectivity: &Topology,
        shells: &Shells,
        hole_max: f64,
    ) -> Capped {
        let count = mesh.triangles().len();
        let piece = |triangles: Vec<u32>| Piece {
            bounds: box_of(mesh, &triangles),
            rims: Vec::new(),
            is_open: false,
            counted: triangles.clone(),
            triangles,
            tree: OnceLock::new(),
        };
        let mut pieces: Vec<Piece> = shells.triangles().into_iter().map(piece).collect();
        let mut is_capped = vec![false; 3 * count];
        let (mut points, mut triangles) = (mesh.points().to_vec(), mesh.triangles().to_vec());
        let mut beside = Vec::new();
        let edges = BoundaryEdges::of(mesh, connectivity);
        for ring in boundary_loops(mesh, connectivity) {
            let sides = ring.iter().zip(ring.iter().cycle().skip(1));
            let found: Option<Vec<u32>> = sides.map(|(&a, &b)| edges.half_edge(a, b)).collect();
            let Some(half_edges) = found else { continue };
            let Some(&first) = half_edges.first() else { continue };
            let owner = &mut pieces[shells.label[first as usize / 3] as usize];
            let at: Vec<DVec3> = ring.iter().map(|&v| mesh.points()[v as usize]).collect();
            let centre = at.iter().sum::<DVec3>() / at.len() as f64;
            let apex = points.len() as u32;
            points.push(centre);
            for (k, &h) in half_edges.iter().enumerate() {
                is_capped[h as usize] = true;
                owner.counted.push(triangles.len() as u32);
                beside.push(h / 3);
                triangles.push([ring[(k + 1) % ring.len()], ring[k], apex]);
            }
            if Bounds3::of(at.iter().copied()).diagonal() >= hole_max {
                let radius = (area_vector(&at, centre).length() / std::f64::consts::PI).sqrt();
                let cap = triangles.len() - ring.len()..triangles.len();
                owner.rims.push(Rim { centre, radius, cap });
                owner.is_open = true;
            }
        }
        for &h in connectivity.boundary().iter().filter(|&&h| !is_capped[h as usize]) {
            pieces[shells.label[h as usize / 3] as usize].is_open = true;
        }
        // The points are the mesh's and means of them, the indices name them.
        let capped = Mesh::new(points, triangles).unwrap_or_default();
        Capped { mesh: capped, beside, count, pieces, label: shells.label.clone(), is_capped }
    }

    /// Takes sheets out of the count. Called before anything is asked.
    pub(super) fn leave_out(&mut self, sheets: &[Vec<u32>]) {
        let mut is_out = vec![false; self.count];
        sheets.iter().flatten().for_each(|&t| is_out[t as usize] = true);
        let (beside, count) = (&self.beside, self.count);
        let real = |t: u32| if (t as usize) < count { t } else { beside[t as usize - count] };
        let mut touched: Vec<u32> =
            sheets.iter().flatten().map(|&t| self.label[t as usize]).collect();
        touched.sort_unstable();
        touched.dedup();
        for k in touched {
            let piece = &mut self.pieces[k as usize];
            piece.counted.retain(|&t| !is_out[real(t) as usize]);
            piece.tree = OnceLock::new();
        }
    }

    /// Whether half-edge `h` is open and no cap closes it.
    pub(super) fn is_loose(&self, connectivity: &Topology, h: u32) -> bool {
        !self.is_capped[h as usize] && connectivity.is_boundary(h)
    }

    fn tree(&self, piece: usize) -> &Bvh {
        let piece = &self.pieces[piece];
        piece.tree.get_or_init(|| Bvh::build_of(&self.mesh, &piece.counted))
    }

    /// How often `piece`, capped, winds round `p`: 1 inside a piece that faces
    /// out, -1 inside one that faces in, 0 outside.
    ///
    /// The middle one of the counts along five rays.
    pub(super) fn winding(&self, piece: usize, p: DVec3) -> i32 {
        if !self.pieces[piece].bounds.touches(Bounds3::of([p])) {
            return 0;
        }
        let mut votes = RAYS.map(|along| {
            let hits = self.tree(piece).ray(p, along);
            let sign = |t: u32| self.mesh.area_normal(t as usize).dot(along);
            hits.iter().map(|hit| if sign(hit.triangle) > 0.0 { 1 } else { -1 }).sum::<i32>()
        });
        votes.sort_unstable();
        votes[RAYS.len() / 2]
    }

    /// Whether `piece`, capped, winds round `p`, and `p` does not lie in an
    /// opening: where a cap fills much of the view, its form and not the scan's
    /// would decide what is inside.
    pub(super) fn is_well_inside(&self, piece: usize, p: DVec3) -> bool {
        let view = |rim: &Rim| -> f64 {
            rim.cap.clone().map(|t| solid_angle(self.mesh.corners(t).map(|c| c - p))).sum()
        };
        let most = OPENING_VIEW * 2.0 * std::f64::consts::TAU;
        self.winding(piece, p) != 0
            && self.pieces[piece].rims.iter().all(|rim| view(rim).abs() < most)
    }

    /// Whether all rays from `p` leave the capped piece as often as they enter
    /// it, triangles that `is_left_out` names not counted.
    pub(super) fn is_void(
        &self,
        piece: usize,
        p: DVec3,
        is_left_out: impl Fn(u32) -> bool,
    ) -> bool {
        RAYS.iter().all(|&along| {
            let hits = self.tree(piece).ray(p, along);
            let counted = hits.iter().map(|hit| hit.triangle).filter(|&t| !is_left_out(t));
            let sign = |t: u32| self.mesh.area_normal(t as usize).dot(along) > 0.0;
            counted.map(|t| if sign(t) { 1 } else { -1 }).sum::<i32>() == 0
        })
    }

    /// Whether a ray from the middle of triangle `t` leaves the capped piece
    /// without meeting it again, on either side.
    pub(super) fn sees_outside(&self, piece: usize, t: u32) -> bool {
        let middle = self.mesh.corners(t as usize).iter().sum::<DVec3>() / 3.0;
        RAYS.iter()
            .flat_map(|&along| [along, -along])
            .any(|along| self.tree(piece).ray(middle, along).iter().all(|hit| hit.triangle == t))
    }

    /// The first triangle that a ray meets, and whether it meets its front; for
    /// a cap the triangle beside it.
    pub(super) fn first_met(
        &self,
        piece: usize,
        origin: DVec3,
        along: DVec3,
    ) -> Option<(u32, bool)> {
        let hit = *self.tree(piece).ray(origin, along).first()?;
        let is_front = self.mesh.area_normal(hit.triangle as usize).dot(along) < 0.0;
        let cap = (hit.triangle as usize).checked_sub(self.count);
        Some((cap.map_or(hit.triangle, |cap| self.beside[cap]), is_front))
    }

    /// The volume that a capped piece encloses; negative if it faces in.
    pub(super) fn volume(&self, piece: usize) -> f64 {
        let from = self.pieces[piece].bounds.middle();
        let sixth = |&t: &u32| {
            let [a, b, c] = self.mesh.corners(t as usize).map(|p| p - from);
            a.dot(b.cross(c)) / 6.0
        };
        self.pieces[piece].counted.iter().map(sixth).sum()
    }
}

/// The solid angle of a triangle seen from the origin, signed by its side.
///
/// # Source
/// Van Oosterom and Strackee 1983, The solid angle of a plane triangle.
fn solid_angle([a, b, c]: [DVec3; 3]) -> f64 {
    let (x, y, z) = (a.length(), b.length(), c.length());
    let over = a.dot(b.cross(c));
    let under = x * y * z + a.dot(b) * z + b.dot(c) * x + c.dot(a) * y;
    if over == 0.0 { 0.0 } else { 2.0 * over.atan2(under) }
}

/// Open half-edges by where they begin and end.
struct BoundaryEdges(Vec<(u32, u32, u32)>);

impl BoundaryEdges {
    fn of(mesh: &Mesh, connectivity: &Topology) -> Self {
        let entry = |&h: &u32| {
            let [a, b] = topology::ends(mesh, h);
            (a, b, h)
        };
        let mut all: Vec<(u32, u32, u32)> = connectivity.boundary().iter().map(entry).collect();
        all.sort_unstable();
        Self(all)
    }

    fn half_edge(&self, a: u32, b: u32) -> Option<u32> {
        let k = self.0.partition_point(|&(from, to, _)| (from, to) < (a, b));
        self.0.get(k).filter(|&&(from, to, _)| (from, to) == (a, b)).map(|&(.., h)| h)
    }
}
