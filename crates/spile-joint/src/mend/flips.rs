//! Patches turned inside out.

use spile_case::MendKind;
use spile_mesh::{Mesh, NONE, Topology};

use super::work::{Changes, Spot, Work};
use crate::examine::FindingKind;

/// For each half-edge the only other one on its edge, whichever way it runs.
pub(super) struct Partners(Vec<u32>);

impl Partners {
    pub(super) fn of(&self, h: u32) -> Option<u32> {
        Some(self.0[h as usize]).filter(|&partner| partner != NONE)
    }
}

pub(super) fn partners(mesh: &Mesh, topology: &Topology) -> Partners {
    let count = 3 * mesh.triangles().len() as u32;
    let mut partners: Vec<u32> = (0..count).map(|h| topology.twin(h)).collect();
    for &[g, h] in topology.misoriented_edges() {
        partners[g as usize] = h;
        partners[h as usize] = g;
    }
    Partners(partners)
}

/// In each piece of surface whose triangles disagree, turns the side with less
/// area over; on a tie the one that does not hold the first triangle.
pub(super) fn turn_flipped_patches(work: &mut Work) {
    let topology = work.topology();
    if topology.misoriented_edges().is_empty() {
        return;
    }
    let partners = partners(&work.mesh, &topology);
    let mut side: Vec<Option<bool>> = vec![None; work.mesh.triangles().len()];
    let mut turned = Vec::new();
    for &[start, _] in topology.misoriented_edges() {
        if side[start as usize / 3].is_some() {
            continue;
        }
        match two_sides(work, &topology, &partners, start / 3, &mut side) {
            Ok(less) => turned.extend(less),
            Err(piece) => {
                let ball = work.ball(&piece, &[]);
                work.refuse(
                    FindingKind::Flipped,
                    ball,
                    "the surface has one side only, as a twisted band",
                );
            }
        }
    }
    turned.sort_unstable();
    for patch in patches(&partners, &topology, &turned) {
        let ball = work.ball(&patch, &[]);
        let mend = spile_case::Mend { kind: MendKind::Flipped, ball };
        work.list(mend, patch.len(), Spot::default());
    }
    work.apply(Changes { turned, ..Changes::default() });
}

/// Sides of the piece that holds triangle `seed`; the triangles of the lesser
/// one, or the whole piece if it has no two sides.
fn two_sides(
    work: &Work,
    topology: &Topology,
    partners: &Partners,
    seed: u32,
    side: &mut [Option<bool>],
) -> Result<Vec<u32>, Vec<u32>> {
    let mut piece = vec![seed];
    side[seed as usize] = Some(false);
    let mut twisted = false;
    let mut next = 0;
    while next < piece.len() {
        let t = piece[next];
        next += 1;
        for h in 3 * t..3 * t + 3 {
            let Some(partner) = partners.of(h) else { continue };
            let agree = topology.twin(h) != NONE;
            // On the same side exactly if they agree.
            let wanted = side[t as usize].map(|own| own == agree);
            let other = &mut side[partner as usize / 3];
            match *other {
                None => {
                    *other = wanted;
                    piece.push(partner / 3);
                }
                Some(_) => twisted |= *other != wanted,
            }
        }
    }
    if twisted {
        return Err(piece);
    }
    piece.sort_unstable();
    let (second, first): (Vec<u32>, Vec<u32>) =
        piece.into_iter().partition(|&t| side[t as usize] == Some(true));
    let area = |part: &[u32]| -> f64 {
        part.iter().map(|&t| work.mesh.area_normal(t as usize).length()).sum()
    };
    let (of_first, of_second) = (area(&first), area(&second));
    let holds_first = first.first() < second.first();
    let turn_first = of_first < of_second || (of_first == of_second && !holds_first);
    Ok(if turn_first { first } else { second })
}

/// `triangles` (sorted) in patches that hang together by edges on which they agree.
fn patches(partners: &Partners, topology: &Topology, triangles: &[u32]) -> Vec<Vec<u32>> {
    let mut seen = vec![false; triangles.len()];
    let mut all = Vec::new();
    for start in 0..triangles.len() {
        if seen[start] {
            continue;
        }
        seen[start] = true;
        let mut patch = vec![triangles[start]];
        let mut next = 0;
        while next < patch.len() {
            let t = patch[next];
            next += 1;
            for h in 3 * t..3 * t + 3 {
                let Some(partner) = partners.of(h).filter(|_| topology.twin(h) != NONE) else {
                    continue;
                };
                if let Ok(place) = triangles.binary_search(&(partner / 3))
                    && !seen[place]
                {
                    seen[place] = true;
                    patch.push(partner / 3);
                }
            }
        }
        all.push(patch);
    }
    all
}
