//! The mesh while it is mended.

use std::sync::Arc;

use spile_case::{Ball, Mend, MendKind};
use spile_mesh::{DVec3, Mesh, Topology, VertexTriangles, vertex_triangles};

use super::{MendMade, Mended, Refusal, ball_round};

pub(super) struct Work {
    pub(super) mesh: Mesh,
    origin: Vec<Option<u32>>,
    pub(super) mends: Vec<MendMade>,
    pub(super) refused: Vec<Refusal>,
    pub(super) hole_max: f64,
    /// Points that triangles of the input name.
    named: Vec<bool>,
    /// Of `mesh` as it is now, once somebody asked.
    topology: Option<Arc<Topology>>,
    around: Option<Arc<VertexTriangles>>,
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
        self.mends.push(MendMade {
            mend: Mend { kind, ball: self.ball(removed, added) },
            removed_triangles: removed.len(),
            added_triangles: added.len(),
            turned_triangles: 0,
        });
    }

    pub(super) fn refuse(&mut self, kind: MendKind, ball: Ball, why: impl Into<String>) {
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

    pub(super) fn finish(mut self) -> Mended {
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
