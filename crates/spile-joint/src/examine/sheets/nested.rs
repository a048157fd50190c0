//! Pieces that lie inside others where no cavity is.

use spile_mesh::{Bvh, DVec3, Mesh};

use super::winding::{Capped, Piece, Rim};

/// Triangles of a piece that are asked where they lie.
const SAMPLES: usize = 9;
/// So many of them may say otherwise: at a cap, or where walls touch.
const STRAYS: usize = 1;
/// Fewer triangles than this enclose nothing.
const FEWEST: usize = 3;

/// The pieces that are internal walls: closed ones that face the way in which
/// the piece round them does, and open ones of which no rim lies by a rim of
/// the piece round them (the bore of an open part has such a rim).
///
/// `crossed` are pairs of pieces that pass through each other, sorted; only
/// pieces are looked at whose triangles `is_asked` lets pass.
pub(super) fn walls(
    mesh: &Mesh,
    capped: &Capped,
    crossed: &[(u32, u32)],
    is_asked: impl Fn(&[u32]) -> bool,
) -> Vec<Vec<u32>> {
    let pieces = &capped.pieces;
    if pieces.len() < 2 {
        return Vec::new();
    }
    let boxes = tree_of_boxes(pieces);
    let mut found = Vec::new();
    let asked = pieces.iter().enumerate().filter(|(_, piece)| is_asked(&piece.triangles));
    for (k, piece) in asked {
        let mut round = Vec::new();
        boxes.for_each_touching(piece.bounds, &mut |j| {
            let pair = (j.min(k as u32), j.max(k as u32));
            let holds = pieces[j as usize].bounds.union(piece.bounds) == pieces[j as usize].bounds;
            let is_other = j != k as u32 && pieces[j as usize].triangles.len() >= FEWEST;
            if is_other && holds && crossed.binary_search(&pair).is_err() {
                round.push(j as usize);
            }
        });
        round.sort_unstable();
        let samples = samples(mesh, piece);
        let mut turns = 0;
        round.retain(|&j| {
            let inside = samples.iter().filter(|&&p| capped.is_well_inside(j, p)).count();
            let is_inside = inside + STRAYS.min(samples.len() / 2) >= samples.len() && inside > 0;
            turns += if is_inside { capped.volume(j).signum() as i32 } else { 0 };
            is_inside
        });
        if round.is_empty() {
            continue;
        }
        let is_internal = if piece.is_open {
            !round.iter().any(|&j| have_rims_together(piece, &pieces[j]))
        } else {
            turns != 0 && capped.volume(k).signum() == f64::from(turns.signum())
        };
        if is_internal {
            found.push(piece.triangles.clone());
        }
    }
    found
}

/// Whether the two have rims that lie in each other's place: the two edges of
/// one wall.
fn have_rims_together(a: &Piece, b: &Piece) -> bool {
    a.rims.iter().any(|rim| {
        let near = |other: &Rim| rim.centre.distance(other.centre) < rim.radius.max(other.radius);
        b.rims.iter().any(near)
    })
}

/// Middles of triangles spread over the piece.
fn samples(mesh: &Mesh, piece: &Piece) -> Vec<DVec3> {
    let count = piece.triangles.len().min(SAMPLES);
    (0..count)
        .map(|k| {
            let t = piece.triangles[(2 * k + 1) * piece.triangles.len() / (2 * count)];
            let [a, b, c] = mesh.corners(t as usize);
            (a + b + c) / 3.0
        })
        .collect()
}

/// A tree in which number `k` is the box of piece `k`.
fn tree_of_boxes(pieces: &[Piece]) -> Bvh {
    let points = pieces.iter().flat_map(|piece| [piece.bounds.min, piece.bounds.max]).collect();
    let diagonals = (0..pieces.len() as u32).map(|k| [2 * k, 2 * k + 1, 2 * k + 1]).collect();
    Bvh::build(&Mesh::new(points, diagonals).unwrap_or_default())
}
