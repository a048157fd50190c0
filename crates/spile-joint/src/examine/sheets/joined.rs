//! Internal walls that hang on the wall by edges of more than two triangles.
//!
//! Such edges part a piece into patches, and the patches part space into cells.
//! Which sides of patches see one another is told by the turn round each edge,
//! so nothing is asked of the patches' orientation. A patch is the wall that
//! matters where it parts material from what is not; one with material on both
//! sides lies inside it, and one with none divides the cavity.

use spile_mesh::{DVec3, Mesh, Topology, topology};

use super::winding::{Capped, Piece};
use super::{Sets, area_of, parts};

/// Looks from outside that vote on which cell is the outer one.
const LOOKS: usize = 5;

/// The patches that are internal walls.
///
/// Cost: O(n) for pieces without such edges, O(n log n) in the others.
pub(super) fn walls(mesh: &Mesh, connectivity: &Topology, capped: &Capped) -> Vec<Vec<u32>> {
    if connectivity.nonmanifold_edges().is_empty() {
        return Vec::new();
    }
    let mut is_shared = vec![false; capped.pieces.len()];
    for edge in connectivity.nonmanifold_edges() {
        is_shared[capped.label[edge.half_edges[0] as usize / 3] as usize] = true;
    }
    let wanted = |t: u32| is_shared[capped.label[t as usize] as usize];
    let patches = Patches::of(mesh, connectivity, capped, wanted);
    let mut found = Vec::new();
    for piece in (0..is_shared.len()).filter(|&piece| is_shared[piece]) {
        found.extend(patches.internal(mesh, capped, piece));
    }
    found
}

/// Patches and the cells that they look into.
struct Patches {
    /// Triangles of each patch, rising.
    all: Vec<Vec<u32>>,
    /// Of triangles in patches.
    patch_of: Vec<u32>,
    area: Vec<f64>,
    /// Whether it has an open edge that no cap closes.
    is_loose: Vec<bool>,
    /// The cell that side `2 p` (front) or `2 p + 1` (back) of patch `p` sees.
    cell: Vec<u32>,
}

impl Patches {
    fn of(
        mesh: &Mesh,
        connectivity: &Topology,
        capped: &Capped,
        wanted: impl Fn(u32) -> bool,
    ) -> Patches {
        let all = parts(mesh.triangles().len(), wanted, connectivity, &[]);
        let mut patch_of = vec![u32::MAX; mesh.triangles().len()];
        for (p, patch) in all.iter().enumerate() {
            patch.iter().for_each(|&t| patch_of[t as usize] = p as u32);
        }
        let mut sides = Sets::of(2 * all.len());
        let shared = connectivity.nonmanifold_edges().iter().map(|edge| &edge.half_edges[..]);
        let turned = connectivity.misoriented_edges().iter().map(|pair| &pair[..]);
        for half_edges in shared.chain(turned) {
            if patch_of[half_edges[0] as usize / 3] == u32::MAX {
                continue;
            }
            let round = in_turn(mesh, half_edges);
            for (k, &(_, h, is_along)) in round.iter().enumerate() {
                let (_, next, next_is_along) = round[(k + 1) % round.len()];
                // The front faces on round the edge where the half-edge runs
                // along it, back round it where it runs against it.
                let on = 2 * patch_of[h as usize / 3] + u32::from(!is_along);
                let back = 2 * patch_of[next as usize / 3] + u32::from(next_is_along);
                sides.unite(on, back);
            }
        }
        let mut is_loose = vec![false; all.len()];
        for &h in connectivity.boundary() {
            let patch = patch_of[h as usize / 3];
            if patch != u32::MAX && capped.is_loose(connectivity, h) {
                is_loose[patch as usize] = true;
                sides.unite(2 * patch, 2 * patch + 1);
            }
        }
        let area = all.iter().map(|patch| area_of(mesh, patch)).collect();
        let cell = (0..2 * all.len() as u32).map(|side| sides.root(side)).collect();
        Patches { all, patch_of, area, is_loose, cell }
    }

    /// The internal walls among the patches of one piece.
    fn internal(&self, mesh: &Mesh, capped: &Capped, piece: usize) -> Vec<Vec<u32>> {
        let mut own: Vec<u32> =
            capped.pieces[piece].triangles.iter().map(|&t| self.patch_of[t as usize]).collect();
        own.sort_unstable();
        own.dedup();
        let Some(outer) = self.outer_cell(mesh, capped, piece) else { return Vec::new() };
        let is_material = self.material(&own, outer);
        let mut found = Vec::new();
        for &p in &own {
            let (front, back) = self.cells(p);
            let within = is_material[front as usize] && is_material[back as usize];
            let across = !is_material[front as usize] && !is_material[back as usize];
            if within || (across && !self.is_loose[p as usize]) {
                found.push(self.all[p as usize].clone());
            }
        }
        found
    }

    fn cells(&self, p: u32) -> (u32, u32) {
        (self.cell[2 * p as usize], self.cell[2 * p as usize + 1])
    }

    /// Which cells hold material: those right behind a wall to the outside, and
    /// of the others those that more area has at its back than at its front.
    fn material(&self, own: &[u32], outer: u32) -> Vec<bool> {
        let mut behind = vec![0.0; self.cell.len()];
        let mut is_next = vec![false; self.cell.len()];
        let mut outward = 0.0;
        for &p in own {
            let (front, back) = self.cells(p);
            let area = self.area[p as usize];
            if front == back {
                continue;
            }
            behind[back as usize] += area;
            behind[front as usize] -= area;
            if front == outer || back == outer {
                outward += if front == outer { area } else { -area };
                is_next[(if front == outer { back } else { front }) as usize] = true;
            }
        }
        // A piece that faces in as a whole is read the other way round.
        let sense = if outward >= 0.0 { 1.0 } else { -1.0 };
        (0..self.cell.len())
            .map(|c| c as u32 != outer && (is_next[c] || sense * behind[c] >= 0.0))
            .collect()
    }

    /// The cell that is seen from outside, at most of a few looks.
    fn outer_cell(&self, mesh: &Mesh, capped: &Capped, piece: usize) -> Option<u32> {
        let Piece { triangles, bounds, .. } = &capped.pieces[piece];
        let far = 2.0 * bounds.diagonal();
        let mut seen: Vec<u32> = Vec::new();
        for k in 0..LOOKS {
            let t = triangles[(2 * k + 1) * triangles.len() / (2 * LOOKS)];
            let [a, b, c] = mesh.corners(t as usize);
            let normal = mesh.area_normal(t as usize).normalize_or_zero();
            let along = if normal == DVec3::ZERO { DVec3::X } else { normal };
            let origin = (a + b + c) / 3.0 + along * far;
            if let Some((met, is_front)) = capped.first_met(piece, origin, -along) {
                let side = 2 * self.patch_of[met as usize] + u32::from(!is_front);
                seen.push(self.cell[side as usize]);
            }
        }
        seen.sort_unstable();
        let most = seen.chunk_by(|a, b| a == b).max_by_key(|same| same.len())?;
        most.first().copied()
    }
}

/// The half-edges of one edge as they follow round it: the angle, the half-edge,
/// and whether it runs along the edge as the first does.
fn in_turn(mesh: &Mesh, half_edges: &[u32]) -> Vec<(f64, u32, bool)> {
    let point = |v: u32| mesh.points()[v as usize];
    let first = topology::ends(mesh, half_edges[0]);
    let [from, to] = first.map(point);
    let axis = (to - from).normalize_or_zero();
    let mut zero = DVec3::ZERO;
    let mut round: Vec<(f64, u32, bool)> = Vec::with_capacity(half_edges.len());
    for &h in half_edges {
        let opposite = point(topology::ends(mesh, topology::next(h))[1]) - from;
        let out = (opposite - axis * opposite.dot(axis)).normalize_or_zero();
        if zero == DVec3::ZERO {
            zero = out;
        }
        let angle = axis.cross(zero).dot(out).atan2(zero.dot(out));
        let angle = if angle < 0.0 { angle + std::f64::consts::TAU } else { angle };
        round.push((angle, h, topology::ends(mesh, h) == first));
    }
    round.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    round
}
