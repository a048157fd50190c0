//! Internal walls that hang on the wall by edges of more than two triangles.
//!
//! Such edges part a piece into patches, and the patches part space into cells.
//! Which sides of patches see one another is told by the turn round each edge,
//! so nothing is asked of the patches' orientation. A patch is the wall that
//! matters where it parts material from what is not; one with material on both
//! sides lies inside it, and one with none divides the cavity.

use spile_mesh::{DVec3, Mesh, NONE, Topology, topology, vertex_triangles};

use super::winding::{Capped, Piece};
use super::{Sets, area_of, parts};
use crate::mend::second_copies;

/// Triangles of a patch that are asked where they lie.
const SAMPLES: usize = 9;
/// So many of them may say otherwise.
const STRAYS: usize = 1;
/// Looks from outside that vote on which cell is the outer one.
const LOOKS: usize = 5;

/// The patches that are internal walls.
///
/// Of triangles on the same three points the first alone counts: the others are
/// told as duplicates, and which way round the edge they follow is open.
/// Cost: O(n) for pieces without such edges, O(n log n) in the others.
pub(super) fn walls(mesh: &Mesh, connectivity: &Topology, capped: &Capped) -> Vec<Vec<u32>> {
    if connectivity.nonmanifold_edges().is_empty() {
        return Vec::new();
    }
    let mut is_shared = vec![false; capped.pieces.len()];
    for edge in connectivity.nonmanifold_edges() {
        is_shared[capped.label[edge.half_edges[0] as usize / 3] as usize] = true;
    }
    let mut is_copy = vec![false; mesh.triangles().len()];
    for t in second_copies(mesh, &vertex_triangles(mesh)) {
        is_copy[t as usize] = true;
    }
    let wanted = |t: u32| !is_copy[t as usize] && is_shared[capped.label[t as usize] as usize];
    let patches = Patches::of(mesh, connectivity, capped, wanted);
    patches.internal(mesh, capped, &is_shared)
}

/// Patches and the cells that they look into.
struct Patches {
    /// Triangles of each patch, rising.
    all: Vec<Vec<u32>>,
    /// Of triangles in patches.
    patch_of: Vec<u32>,
    area: Vec<f64>,
    /// Whether the rest of the surface closes without it, as far as its edges
    /// tell: no edge is open but for caps, and two others meet at each shared one.
    is_spare: Vec<bool>,
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
        // Where copies are taken away, two can be left that go on in each other.
        let goes_on = |half_edges: &[u32]| {
            let mut left = half_edges.iter().copied().filter(|&h| wanted(h / 3));
            let (g, h) = (left.next()?, left.next()?);
            let is_pair =
                left.next().is_none() && topology::ends(mesh, g)[0] != topology::ends(mesh, h)[0];
            is_pair.then_some((g / 3, h / 3))
        };
        let shared = connectivity.nonmanifold_edges().iter();
        let links: Vec<_> = shared.filter_map(|edge| goes_on(&edge.half_edges)).collect();
        let all = parts(mesh.triangles().len(), &wanted, connectivity, &links);
        let mut patch_of = vec![u32::MAX; mesh.triangles().len()];
        for (p, patch) in all.iter().enumerate() {
            patch.iter().for_each(|&t| patch_of[t as usize] = p as u32);
        }
        let mut sides = Sets::of(2 * all.len());
        let mut is_spare = vec![true; all.len()];
        let patch = |h: u32| patch_of[h as usize / 3];
        let is_in = |h: &u32| patch(*h) != u32::MAX;
        let shared = connectivity.nonmanifold_edges().iter().map(|edge| &edge.half_edges[..]);
        let turned = connectivity.misoriented_edges().iter().map(|pair| &pair[..]);
        let mut loose: Vec<u32> = Vec::new();
        for half_edges in shared.chain(turned) {
            let half_edges: Vec<u32> = half_edges.iter().copied().filter(is_in).collect();
            match half_edges[..] {
                [] => {}
                [h] => loose.push(h),
                _ => {
                    unite_round(mesh, &half_edges, patch, &mut sides);
                    for &h in &half_edges {
                        let others = half_edges.iter().filter(|&&g| patch(g) != patch(h)).count();
                        is_spare[patch(h) as usize] &= others != 1;
                    }
                }
            }
        }
        let open = connectivity.boundary().iter().copied();
        loose.extend(open.filter(|&h| capped.is_loose(connectivity, h)).filter(is_in));
        let twin = |h: u32| connectivity.twin(h);
        let left_over = |h: &u32| is_in(h) && twin(*h) != NONE && !is_in(&twin(*h));
        loose.extend((0..3 * mesh.triangles().len() as u32).filter(left_over));
        for h in loose {
            is_spare[patch(h) as usize] = false;
            sides.unite(2 * patch(h), 2 * patch(h) + 1);
        }
        let area = all.iter().map(|patch| area_of(mesh, patch)).collect();
        let cell = (0..2 * all.len() as u32).map(|side| sides.root(side)).collect();
        Patches { all, patch_of, area, is_spare, cell }
    }

    /// The internal walls among the patches; `is_shared` says of which pieces.
    fn internal(&self, mesh: &Mesh, capped: &Capped, is_shared: &[bool]) -> Vec<Vec<u32>> {
        let outer: Vec<Option<u32>> = (0..is_shared.len())
            .map(|piece| is_shared[piece].then(|| self.outer_cell(mesh, capped, piece)).flatten())
            .collect();
        let piece = |p: usize| capped.label[self.all[p][0] as usize] as usize;
        let is_material = self.material(&outer, piece);
        let is_internal = |p: &usize| {
            let (front, back) = self.cells(*p);
            match [is_material[front as usize], is_material[back as usize]] {
                _ if outer[piece(*p)].is_none() => false,
                [true, true] => !self.is_seen(capped, *p, piece(*p)),
                [false, false] => self.is_spare[*p] && self.is_in_void(mesh, capped, *p, piece(*p)),
                _ => false,
            }
        };
        (0..self.all.len()).filter(is_internal).map(|p| self.all[p].clone()).collect()
    }

    /// Whether the patch is seen from outside, which no wall inside the material
    /// is: where triangles lie on each other, their turn round an edge is open,
    /// and cells can run together that are apart.
    fn is_seen(&self, capped: &Capped, p: usize, piece: usize) -> bool {
        samples(&self.all[p]).any(|t| capped.sees_outside(piece, t))
    }

    /// Whether there is no material on either side by the count along rays too.
    fn is_in_void(&self, mesh: &Mesh, capped: &Capped, p: usize, piece: usize) -> bool {
        let own = |t: u32| self.all[p].binary_search(&t).is_ok();
        let middle = |t: u32| mesh.corners(t as usize).iter().sum::<DVec3>() / 3.0;
        let strays = samples(&self.all[p]).filter(|&t| !capped.is_void(piece, middle(t), own));
        strays.count() <= STRAYS
    }

    fn cells(&self, p: usize) -> (u32, u32) {
        (self.cell[2 * p], self.cell[2 * p + 1])
    }

    /// Which cells hold material: those right behind a wall to the outside, and
    /// of the others those that more area has at its back than at its front.
    fn material(&self, outer: &[Option<u32>], piece: impl Fn(usize) -> usize) -> Vec<bool> {
        let mut behind = vec![0.0; self.cell.len()];
        let mut is_next = vec![false; self.cell.len()];
        let mut outward = vec![0.0; outer.len()];
        for p in 0..self.all.len() {
            let (front, back) = self.cells(p);
            let Some(outer) = outer[piece(p)].filter(|_| front != back) else { continue };
            behind[back as usize] += self.area[p];
            behind[front as usize] -= self.area[p];
            if front == outer {
                outward[piece(p)] += self.area[p];
                is_next[back as usize] = true;
            } else if back == outer {
                outward[piece(p)] -= self.area[p];
                is_next[front as usize] = true;
            }
        }
        let mut is_material = vec![false; self.cell.len()];
        for side in 0..self.cell.len() {
            let cell = self.cell[side];
            // A piece that faces in as a whole is read the other way round.
            let sense = if outward[piece(side / 2)] >= 0.0 { 1.0 } else { -1.0 };
            is_material[cell as usize] = outer[piece(side / 2)] != Some(cell)
                && (is_next[cell as usize] || sense * behind[cell as usize] >= 0.0);
        }
        is_material
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
                // A second copy of a triangle is in no patch.
                let patch = self.patch_of[met as usize] as usize;
                seen.extend(self.cell.get(2 * patch + usize::from(!is_front)));
            }
        }
        seen.sort_unstable();
        let most = seen.chunk_by(|a, b| a == b).max_by_key(|same| same.len())?;
        most.first().copied()
    }
}

/// Triangles spread over a patch.
fn samples(patch: &[u32]) -> impl Iterator<Item = u32> + '_ {
    let count = patch.len().min(SAMPLES);
    (0..count).map(move |k| patch[(2 * k + 1) * patch.len() / (2 * count)])
}

/// Makes one cell of the sides that see each other between neighbours round an
/// edge.
fn unite_round(mesh: &Mesh, half_edges: &[u32], patch: impl Fn(u32) -> u32, sides: &mut Sets) {
    let round = in_turn(mesh, half_edges);
    for (k, &(_, h, is_along)) in round.iter().enumerate() {
        let (_, next, next_is_along) = round[(k + 1) % round.len()];
        // The front faces on round the edge where the half-edge runs along it,
        // back round it where it runs against it.
        let on = 2 * patch(h) + u32::from(!is_along);
        let back = 2 * patch(next) + u32::from(next_is_along);
        sides.unite(on, back);
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
