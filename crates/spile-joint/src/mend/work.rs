//! The mesh while it is mended.

use std::sync::Arc;

use spile_case::{Ball, Mend, MendKind};
use spile_mesh::{Bvh, DVec3, Mesh, Topology, VertexTriangles, farthest, vertex_triangles};

use super::{MendMade, Mended, Refusal, ball_round};
use crate::examine::FindingKind;

pub(super) struct Work {
    pub(super) mesh: Mesh,
    origin: Vec<Option<u32>>,
    pub(super) mends: Vec<MendMade>,
    /// What each mend took away and what it put in, corner by corner.
    pub(super) spots: Vec<Spot>,
    pub(super) refused: Vec<Refusal>,
    pub(super) hole_max: f64,
    /// Points that triangles of the input name.
    named: Vec<bool>,
    /// Of `mesh` as it is now, once somebody asked.
    topology: Option<Arc<Topology>>,
    around: Option<Arc<VertexTriangles>>,
}

/// Triangles before and after a mend.
#[derive(Default)]
pub(super) struct Spot {
    pub(super) before: Vec<[DVec3; 3]>,
    pub(super) after: Vec<[DVec3; 3]>,
}

/// Changes to one mesh, made together.
#[derive(Default)]
pub(super) struct Changes {
    /// Triangles to take away; may name one twice.
    pub(super) removed: Vec<u32>,
    /// Triangles to put in, at the end.
    pub(super) added: Vec<[u32; 3]>,
    /// Triangles to turn over.
    pub(super) turned: Vec<u32>,
    /// Corners to move to a new point of the same place: triangle, corner, and
    /// the new point's number.
    pub(super) moved: Vec<(u32, u8, u32)>,
    /// New points.
    pub(super) points: Vec<DVec3>,
}

impl Changes {
    fn are_none(&self) -> bool {
        self.removed.is_empty()
            && self.added.is_empty()
            && self.turned.is_empty()
            && self.moved.is_empty()
    }
}

impl Work {
    pub(super) fn of(mesh: &Mesh, hole_max: f64) -> Self {
        let mut named = vec![false; mesh.points().len()];
        for &point in mesh.triangles().iter().flatten() {
            named[point as usize] = true;
        }
        let origin = (0..mesh.triangles().len() as u32).map(Some).collect();
        let (mends, refused) = (Vec::new(), Vec::new());
        Self {
            mesh: mesh.clone(),
            origin,
            mends,
            spots: Vec::new(),
            refused,
            hole_max,
            named,
            topology: None,
            around: None,
        }
    }

    /// The connectivity of the mesh as it is now.
    pub(super) fn topology(&mut self) -> Arc<Topology> {
        let mesh = &self.mesh;
        self.topology.get_or_insert_with(|| Arc::new(Topology::of(mesh))).clone()
    }

    /// The triangles round each point of the mesh as it is now.
    pub(super) fn around(&mut self) -> Arc<VertexTriangles> {
        let mesh = &self.mesh;
        self.around.get_or_insert_with(|| Arc::new(vertex_triangles(mesh))).clone()
    }

    /// The three points of a triangle.
    pub(super) fn triangle(&self, t: u32) -> [u32; 3] {
        self.mesh.triangles()[t as usize]
    }

    pub(super) fn point(&self, v: u32) -> DVec3 {
        self.mesh.points()[v as usize]
    }

    /// A ball round these triangles of now and those to be put in.
    pub(super) fn ball(&self, triangles: &[u32], added: &[[u32; 3]]) -> Ball {
        let now = triangles.iter().flat_map(|&t| self.triangle(t));
        ball_round(now.chain(added.iter().flatten().copied()).map(|v| self.point(v)))
    }

    /// Notes a repair that takes away `removed` and puts in `added`.
    pub(super) fn note(&mut self, kind: MendKind, removed: &[u32], added: &[[u32; 3]]) {
        let before = removed.iter().map(|&t| self.mesh.corners(t as usize)).collect();
        let after = added.iter().map(|t| t.map(|v| self.point(v))).collect();
        let mend = Mend { kind, ball: self.ball(removed, added) };
        self.list(mend, 0, Spot { before, after });
    }

    /// Lists a repair; its size of change is measured at the end.
    pub(super) fn list(&mut self, mend: Mend, turned_triangles: usize, spot: Spot) {
        self.mends.push(MendMade {
            mend,
            removed_triangles: spot.before.len(),
            added_triangles: spot.after.len(),
            turned_triangles,
            change: 0.0,
        });
        self.spots.push(spot);
    }

    pub(super) fn refuse(&mut self, kind: FindingKind, ball: Ball, why: impl Into<String>) {
        self.refused.push(Refusal { kind, ball, why: why.into() });
    }

    /// Makes the changes; triangles that stay keep their order.
    pub(super) fn apply(&mut self, changes: Changes) {
        if changes.are_none() {
            return;
        }
        self.topology = None;
        self.around = None;
        let (mut points, mut triangles) = std::mem::take(&mut self.mesh).into_parts();
        points.extend(changes.points);
        for t in changes.turned {
            triangles[t as usize].swap(1, 2);
        }
        for (t, corner, point) in changes.moved {
            triangles[t as usize][usize::from(corner)] = point;
        }
        let mut gone = vec![false; triangles.len()];
        for t in changes.removed {
            gone[t as usize] = true;
        }
        let mut stays = gone.iter().map(|gone| !gone);
        triangles.retain(|_| stays.next().unwrap_or(true));
        let mut stays = gone.iter().map(|gone| !gone);
        self.origin.retain(|_| stays.next().unwrap_or(true));
        triangles.extend(&changes.added);
        self.origin.extend(changes.added.iter().map(|_| None));
        self.mesh = Mesh::new(points, triangles)
            .expect("mending names only points that are there and moves none");
    }

    pub(super) fn finish(mut self, scan: &Mesh) -> Mended {
        measure(&mut self.mends, &self.spots, scan, &self.mesh);
        if !self.mends.is_empty() {
            self.drop_orphans();
        }
        let Self { mesh, origin, mends, refused, hole_max, .. } = self;
        Mended { mesh, origin, mends, refused, hole_max }
    }

    /// Leaves out the points whose last triangle was taken away.
    fn drop_orphans(&mut self) {
        let (points, mut triangles) = std::mem::take(&mut self.mesh).into_parts();
        let mut kept = vec![false; points.len()];
        for &point in triangles.iter().flatten() {
            kept[point as usize] = true;
        }
        for (point, kept) in kept.iter_mut().enumerate() {
            *kept |= !self.named.get(point).copied().unwrap_or(true);
        }
        let mut renamed = vec![0; points.len()];
        let mut next = 0;
        for (point, &kept) in kept.iter().enumerate() {
            renamed[point] = next;
            next += u32::from(kept);
        }
        for point in triangles.iter_mut().flatten() {
            *point = renamed[*point as usize];
        }
        let mut stays = kept.iter().copied();
        let mut points = points;
        points.retain(|_| stays.next().unwrap_or(true));
        self.mesh = Mesh::new(points, triangles).expect("points that are named are kept");
    }
}

/// Gives each mend its certified size of change.
fn measure(mends: &mut [MendMade], spots: &[Spot], scan: &Mesh, mended: &Mesh) {
    if spots.iter().all(|spot| spot.before.is_empty() && spot.after.is_empty()) {
        return;
    }
    let (was, is) = (Bvh::build(scan), Bvh::build(mended));
    for (mend, spot) in mends.iter_mut().zip(spots) {
        let gap = 1e-3 * mend.mend.ball.radius;
        let off = |pieces: &[[DVec3; 3]], to: &Bvh| {
            let points = pieces.iter().flatten().copied().collect();
            let triangles = (0..pieces.len() as u32).map(|k| [3 * k, 3 * k + 1, 3 * k + 2]);
            let pieces = Mesh::new(points, triangles.collect()).unwrap_or_default();
            farthest(&pieces, None, to, gap, None).hi
        };
        mend.change = off(&spot.before, &is).max(off(&spot.after, &was));
    }
}
