//! Which triangles meet at which edges and vertices.
//!
//! Half-edge `h = 3 * t + k` runs from corner `k` to corner `(k + 1) % 3` of
//! triangle `t`, so connectivity is one flat array of partners, found by
//! sorting edge keys. Meeting is by point index alone: points that merely have
//! equal coordinates do not meet.

use crate::Mesh;

/// No half-edge: what [`Topology::twin`] gives where an edge has no one partner.
pub const NONE: u32 = u32::MAX;

/// The half-edge after `h` in the same triangle.
pub fn next(h: u32) -> u32 {
    if h % 3 == 2 { h - 2 } else { h + 1 }
}

/// The half-edge before `h` in the same triangle.
pub fn previous(h: u32) -> u32 {
    if h.is_multiple_of(3) { h + 2 } else { h - 1 }
}

/// The points that half-edge `h` runs from and to.
pub fn ends(mesh: &Mesh, h: u32) -> [u32; 2] {
    let corners = mesh.triangles()[(h / 3) as usize];
    let k = (h % 3) as usize;
    [corners[k], corners[(k + 1) % 3]]
}

/// An edge that more than two triangles share.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SharedEdge {
    /// Its end points, the smaller index first.
    pub points: [u32; 2],
    /// Its half-edges, rising; three or more.
    pub half_edges: Vec<u32>,
}

/// The partners of all half-edges of one mesh.
///
/// Invariants:
/// 1. `twin(twin(h)) == h` where there is a twin, and twins run opposite ways
///    between the same two points;
/// 2. each half-edge is exactly one of: twinned, boundary, on an edge of more
///    than two triangles, on an edge whose two triangles disagree in
///    orientation, or collapsed (both ends the same point);
/// 3. all lists rise by half-edge index.
#[derive(Debug, Clone, Default)]
pub struct Topology {
    twins: Vec<u32>,
    boundary: Vec<u32>,
    nonmanifold: Vec<SharedEdge>,
    misoriented: Vec<[u32; 2]>,
    collapsed: Vec<u32>,
}

impl Topology {
    /// The connectivity of `mesh`, whatever the mesh is like.
    ///
    /// Cost: O(n) in points and triangles where no point has very many
    /// triangles, O(n log n) else; 8 bytes a half-edge while it runs, 4 after.
    pub fn of(mesh: &Mesh) -> Self {
        let half_edges = 3 * mesh.triangles().len() as u32;
        // Half-edges by the smaller of their points: those of one edge then
        // stand in one short row.
        let by_point = Rows::of(
            mesh.points().len(),
            (0..half_edges).map(|h| {
                let [a, b] = ends(mesh, h);
                (a.min(b), h)
            }),
        );
        let mut topology = Self { twins: vec![NONE; half_edges as usize], ..Self::default() };
        let mut row: Vec<(u32, u32)> = Vec::new();
        for point in 0..mesh.points().len() as u32 {
            row.clear();
            row.extend(by_point.of_row(point).iter().map(|&h| {
                let [a, b] = ends(mesh, h);
                (a.max(b), h)
            }));
            // The half-edge is part of the key, so the order is total.
            row.sort_unstable();
            for group in row.chunk_by(|a, b| a.0 == b.0) {
                topology.enter(mesh, group);
            }
        }
        topology.boundary.sort_unstable();
        topology.collapsed.sort_unstable();
        topology.misoriented.sort_unstable();
        topology.nonmanifold.sort_unstable_by_key(|edge| edge.half_edges[0]);
        topology
    }

    /// Files one edge's half-edges under what they are.
    fn enter(&mut self, mesh: &Mesh, group: &[(u32, u32)]) {
        let [from, to] = ends(mesh, group[0].1);
        if from == to {
            self.collapsed.extend(group.iter().map(|&(_, h)| h));
            return;
        }
        match *group {
            [(_, h)] => self.boundary.push(h),
            [(_, g), (_, h)] if ends(mesh, h)[0] != from => {
                self.twins[g as usize] = h;
                self.twins[h as usize] = g;
            }
            [(_, g), (_, h)] => self.misoriented.push([g, h]),
            _ => self.nonmanifold.push(SharedEdge {
                points: [from.min(to), from.max(to)],
                half_edges: group.iter().map(|&(_, h)| h).collect(),
            }),
        }
    }

    /// The half-edge on the other side of the edge; [`NONE`] where there is no
    /// one partner that runs the other way.
    pub fn twin(&self, h: u32) -> u32 {
        self.twins[h as usize]
    }

    /// The triangle on the other side of half-edge `h`, if there is exactly one.
    pub fn across(&self, h: u32) -> Option<u32> {
        let twin = self.twin(h);
        (twin != NONE).then_some(twin / 3)
    }

    /// Half-edges whose edge belongs to one triangle alone, rising.
    pub fn boundary(&self) -> &[u32] {
        &self.boundary
    }

    /// Whether half-edge `h` lies on the boundary.
    pub fn is_boundary(&self, h: u32) -> bool {
        self.boundary.binary_search(&h).is_ok()
    }

    /// Edges that more than two triangles share, by their first half-edge.
    pub fn nonmanifold_edges(&self) -> &[SharedEdge] {
        &self.nonmanifold
    }

    /// Pairs of half-edges that share an edge and run the same way along it:
    /// one of their triangles is inside out.
    pub fn misoriented_edges(&self) -> &[[u32; 2]] {
        &self.misoriented
    }

    /// Half-edges from a point to itself: their triangles name a point twice.
    pub fn collapsed(&self) -> &[u32] {
        &self.collapsed
    }

    /// Whether every edge belongs to exactly two triangles that agree in
    /// orientation. Says nothing of vertices or of self-intersection.
    pub fn is_closed(&self) -> bool {
        self.twins.iter().all(|&twin| twin != NONE)
    }

    /// Tests the invariants in their order; for tests and debugging.
    ///
    /// # Errors
    /// The number of the first broken one, and where.
    pub fn check(&self, mesh: &Mesh) -> Result<(), String> {
        let mut filed = vec![0u8; self.twins.len()];
        for (h, &twin) in self.twins.iter().enumerate().filter(|&(_, &twin)| twin != NONE) {
            let [a, b] = ends(mesh, h as u32);
            if self.twins[twin as usize] != h as u32 || ends(mesh, twin) != [b, a] {
                return Err(format!("invariant 1 at half-edge {h}"));
            }
            filed[h] += 1;
        }
        let shared = self.nonmanifold.iter().flat_map(|edge| &edge.half_edges);
        let others = self.boundary.iter().chain(&self.collapsed).chain(shared);
        for &h in others.chain(self.misoriented.iter().flatten()) {
            match filed.get_mut(h as usize) {
                Some(times) => *times += 1,
                None => return Err(format!("invariant 2: there is no half-edge {h}")),
            }
        }
        if let Some(h) = filed.iter().position(|&times| times != 1) {
            return Err(format!("invariant 2 at half-edge {h}"));
        }
        let of_shared = self.nonmanifold.iter().map(|edge| &edge.half_edges);
        let rising = self.boundary.is_sorted()
            && self.collapsed.is_sorted()
            && self.misoriented.is_sorted()
            && of_shared.clone().all(|row| row.is_sorted())
            && of_shared.map(|row| row[0]).is_sorted();
        if rising { Ok(()) } else { Err("invariant 3".into()) }
    }
}

/// Pieces of a mesh that hang together by edges.
///
/// Invariants:
/// 1. each triangle has a label below `count`, and a piece's first triangle
///    comes after the first of the piece before it;
/// 2. triangles that share an edge have the same label.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Shells {
    /// The piece of each triangle; pieces are numbered by their first triangle.
    pub label: Vec<u32>,
    /// How many pieces there are.
    pub count: usize,
}

impl Shells {
    /// The triangles of each piece, rising.
    pub fn triangles(&self) -> Vec<Vec<u32>> {
        let mut pieces = vec![Vec::new(); self.count];
        for (t, &label) in self.label.iter().enumerate() {
            pieces[label as usize].push(t as u32);
        }
        pieces
    }

    /// Tests the invariants in their order; for tests and debugging.
    ///
    /// # Errors
    /// The number of the first broken one, and where.
    pub fn check(&self, mesh: &Mesh) -> Result<(), String> {
        if self.label.len() != mesh.triangles().len() {
            return Err(format!("invariant 1: {} labels", self.label.len()));
        }
        let mut next = 0;
        for (t, &label) in self.label.iter().enumerate() {
            if label > next {
                return Err(format!("invariant 1 at triangle {t}"));
            }
            next = next.max(label + 1);
        }
        if next as usize != self.count {
            return Err(format!("invariant 1: {next} pieces, not {}", self.count));
        }
        let edge = |h: u32| {
            let [a, b] = ends(mesh, h);
            ([a.min(b), a.max(b)], h)
        };
        let mut edges: Vec<_> = (0..3 * mesh.triangles().len() as u32).map(edge).collect();
        edges.retain(|(ends, _)| ends[0] != ends[1]);
        edges.sort_unstable();
        let parted = |pair: &&[([u32; 2], u32)]| {
            let label = |h: u32| self.label[h as usize / 3];
            pair[0].0 == pair[1].0 && label(pair[0].1) != label(pair[1].1)
        };
        match edges.windows(2).find(parted) {
            Some(pair) => Err(format!("invariant 2 at half-edge {}", pair[1].1)),
            None => Ok(()),
        }
    }
}

/// The pieces of `mesh` connected through edges of any kind, also those with
/// more than two triangles or a turn in orientation; touching at a point alone
/// does not connect.
pub fn shells(mesh: &Mesh, topology: &Topology) -> Shells {
    let count = mesh.triangles().len();
    let mut links: Vec<[u32; 2]> =
        topology.misoriented_edges().iter().map(|pair| pair.map(|h| h / 3)).collect();
    for edge in topology.nonmanifold_edges() {
        links.extend(edge.half_edges.windows(2).map(|pair| [pair[0] / 3, pair[1] / 3]));
    }
    let extra = Rows::of(count, links.iter().flat_map(|&[a, b]| [(a, b), (b, a)]));
    let mut label = vec![NONE; count];
    let mut shell = 0;
    let mut waiting = Vec::new();
    for seed in 0..count as u32 {
        if label[seed as usize] != NONE {
            continue;
        }
        label[seed as usize] = shell;
        waiting.push(seed);
        while let Some(t) = waiting.pop() {
            let beside = (0..3).filter_map(|k| topology.across(3 * t + k));
            for n in beside.chain(extra.of_row(t).iter().copied()) {
                if label[n as usize] == NONE {
                    label[n as usize] = shell;
                    waiting.push(n);
                }
            }
        }
        shell += 1;
    }
    Shells { label, count: shell as usize }
}

/// The triangles at each vertex, in one flat list.
///
/// Invariants:
/// 1. triangle `t` is in the row of point `v` exactly if `v` is a corner of `t`;
/// 2. each row rises, so that none comes twice.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct VertexTriangles(Rows);

impl VertexTriangles {
    /// The triangles that have point `v` as a corner, rising, each once.
    pub fn of(&self, v: u32) -> &[u32] {
        self.0.of_row(v)
    }

    /// Tests the invariants in their order; for tests and debugging.
    ///
    /// # Errors
    /// The number of the first broken one, and where.
    pub fn check(&self, mesh: &Mesh) -> Result<(), String> {
        if self.0.starts.len() != mesh.points().len() + 1 {
            return Err(format!("invariant 1: rows for {} points", self.0.starts.len()));
        }
        let mut rows = 0;
        for (t, corners) in mesh.triangles().iter().enumerate() {
            let [a, b, c] = *corners;
            rows += 1 + usize::from(b != a) + usize::from(c != a && c != b);
            if let Some(v) = corners.iter().find(|&&v| !self.of(v).contains(&(t as u32))) {
                return Err(format!("invariant 1: triangle {t} at point {v}"));
            }
        }
        // All that must be there is: more entries than that are wrong ones.
        if rows != self.0.entries.len() {
            return Err(format!("invariant 1: {} entries for {rows}", self.0.entries.len()));
        }
        let rises = |v: &u32| self.of(*v).is_sorted_by(|a, b| a < b);
        match (0..mesh.points().len() as u32).find(|v| !rises(v)) {
            Some(v) => Err(format!("invariant 2 at point {v}")),
            None => Ok(()),
        }
    }
}

/// The triangles at each vertex of `mesh`. Cost: O(points + triangles).
pub fn vertex_triangles(mesh: &Mesh) -> VertexTriangles {
    let corners = mesh.triangles();
    let mut rows = Rows { starts: vec![0; mesh.points().len() + 1], entries: Vec::new() };
    // Each point of a triangle once, also where it is named twice.
    let own = |[a, b, c]: [u32; 3]| [true, b != a, c != a && c != b];
    for &t in corners {
        for (v, is_own) in t.into_iter().zip(own(t)) {
            rows.starts[v as usize + 1] += u32::from(is_own);
        }
    }
    let mut sum = 0;
    for start in &mut rows.starts {
        sum += *start;
        *start = sum;
    }
    rows.entries = vec![0; sum as usize];
    let mut fill = rows.starts.clone();
    for (k, &t) in corners.iter().enumerate() {
        for (v, is_own) in t.into_iter().zip(own(t)) {
            if is_own {
                let slot = &mut fill[v as usize];
                rows.entries[*slot as usize] = k as u32;
                *slot += 1;
            }
        }
    }
    VertexTriangles(rows)
}

/// Rows of different length in one flat list.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Rows {
    starts: Vec<u32>,
    entries: Vec<u32>,
}

impl Rows {
    /// Rows 0 to `count` from (row, entry) pairs; entries keep their order.
    fn of(count: usize, pairs: impl Iterator<Item = (u32, u32)> + Clone) -> Self {
        let mut starts = vec![0u32; count + 1];
        for (row, _) in pairs.clone() {
            starts[row as usize + 1] += 1;
        }
        for row in 0..count {
            starts[row + 1] += starts[row];
        }
        let mut fill = starts.clone();
        let mut entries = vec![0; starts[count] as usize];
        for (row, entry) in pairs {
            let slot = &mut fill[row as usize];
            entries[*slot as usize] = entry;
            *slot += 1;
        }
        Self { starts, entries }
    }

    fn of_row(&self, row: u32) -> &[u32] {
        let row = row as usize;
        &self.entries[self.starts[row] as usize..self.starts[row + 1] as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use glam::DVec3;

    /// Points that only matter by index.
    fn mesh(points: usize, triangles: &[[u32; 3]]) -> Mesh {
        let points = (0..points).map(|i| DVec3::new(i as f64, (i * i) as f64, 1.0)).collect();
        Mesh::new(points, triangles.to_vec()).unwrap()
    }

    fn check(points: usize, triangles: &[[u32; 3]]) -> (Mesh, Topology) {
        let mesh = mesh(points, triangles);
        let topology = Topology::of(&mesh);
        topology.check(&mesh).unwrap();
        vertex_triangles(&mesh).check(&mesh).unwrap();
        shells(&mesh, &topology).check(&mesh).unwrap();
        (mesh, topology)
    }

    #[test]
    fn each_broken_invariant_is_told_by_its_number() {
        let (mesh, sound) = check(7, &[[0, 1, 2], [0, 2, 3], [4, 5, 6], [0, 0, 1]]);
        let broken = |change: &dyn Fn(&mut Topology)| {
            let mut topology = sound.clone();
            change(&mut topology);
            topology.check(&mesh).unwrap_err()
        };
        assert_eq!(broken(&|t| t.twins[2] = 4), "invariant 1 at half-edge 2");
        assert_eq!(broken(&|t| t.boundary.clear()), "invariant 2 at half-edge 1");
        assert_eq!(broken(&|t| t.boundary.push(99)), "invariant 2: there is no half-edge 99");
        assert_eq!(broken(&|t| t.boundary.reverse()), "invariant 3");
        assert_eq!(broken(&|t| t.collapsed.push(0)), "invariant 2 at half-edge 0");

        let around = vertex_triangles(&mesh);
        let broken = |change: &dyn Fn(&mut Rows)| {
            let mut rows = around.clone();
            change(&mut rows.0);
            rows.check(&mesh).unwrap_err()
        };
        assert_eq!(broken(&|r| r.entries[0] = 2), "invariant 1: triangle 0 at point 0");
        assert_eq!(broken(&|r| r.entries.swap(0, 1)), "invariant 2 at point 0");
        assert_eq!(broken(&|r| r.starts.truncate(3)), "invariant 1: rows for 3 points");

        let pieces = shells(&mesh, &sound);
        let broken = |change: &dyn Fn(&mut Shells)| {
            let mut other = pieces.clone();
            change(&mut other);
            other.check(&mesh).unwrap_err()
        };
        assert_eq!(broken(&|p| p.label[0] = 1), "invariant 1 at triangle 0");
        assert_eq!(broken(&|p| p.count = 9), "invariant 1: 2 pieces, not 9");
        assert_eq!(broken(&|p| p.label[1] = 1), "invariant 2 at half-edge 3");
    }

    #[test]
    fn a_tetrahedron_is_closed_and_one_shell() {
        let (mesh, topology) = check(4, &[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]);
        assert!(topology.is_closed());
        assert_eq!(shells(&mesh, &topology).count, 1);
        assert_eq!(vertex_triangles(&mesh).of(0), &[0, 1, 2]);
    }

    #[test]
    fn three_triangles_at_an_edge_are_named_and_still_one_shell() {
        let (mesh, topology) = check(5, &[[0, 1, 2], [1, 0, 3], [0, 1, 4]]);
        let edge = SharedEdge { points: [0, 1], half_edges: vec![0, 3, 6] };
        assert_eq!(topology.nonmanifold_edges(), &[edge]);
        assert_eq!(shells(&mesh, &topology).count, 1);
        assert_eq!(topology.boundary().len(), 6);
    }

    #[test]
    fn a_triangle_inside_out_is_named() {
        let (mesh, topology) = check(4, &[[0, 1, 2], [0, 1, 3]]);
        assert_eq!(topology.misoriented_edges(), &[[0, 3]]);
        assert_eq!(shells(&mesh, &topology).count, 1);
    }

    #[test]
    fn a_corner_named_twice_is_collapsed_and_listed_once() {
        let (mesh, topology) = check(3, &[[0, 0, 1], [0, 1, 2]]);
        assert_eq!(topology.collapsed(), &[0]);
        assert_eq!(vertex_triangles(&mesh).of(0), &[0, 1]);
    }

    #[test]
    fn an_empty_mesh_has_nothing() {
        let (mesh, topology) = check(0, &[]);
        assert_eq!(shells(&mesh, &topology), Shells::default());
    }

    #[test]
    fn touching_at_a_point_does_not_connect() {
        let (mesh, topology) = check(5, &[[0, 1, 2], [0, 3, 4]]);
        assert_eq!(shells(&mesh, &topology).label, vec![0, 1]);
    }
}
