//! Loose crumbs: open pieces smaller than the holes that are mended.

use spile_case::MendKind;
use spile_mesh::{Bounds3, shells};

use super::work::{Changes, Work};

/// A crumb has less than this share of the whole area, so that a scan that is
/// all crumbs is left for its owner to judge.
pub(crate) const CRUMB_AREA_SHARE: f64 = 1e-3;

/// Takes out open pieces whose box is smaller across than `hole_max`.
pub(super) fn remove_crumbs(work: &mut Work) {
    let topology = work.topology();
    if topology.boundary().is_empty() {
        return;
    }
    let pieces = shells(&work.mesh, &topology);
    if pieces.count < 2 {
        return;
    }
    let mut boxes = vec![Bounds3::EMPTY; pieces.count];
    let mut areas = vec![0.0; pieces.count];
    for (t, &piece) in pieces.label.iter().enumerate() {
        let own = Bounds3::of(work.mesh.corners(t));
        boxes[piece as usize] = boxes[piece as usize].union(own);
        areas[piece as usize] += 0.5 * work.mesh.area_normal(t).length();
    }
    let mut open = vec![false; pieces.count];
    for &h in topology.boundary() {
        open[pieces.label[h as usize / 3] as usize] = true;
    }
    let whole: f64 = areas.iter().sum();
    let is_crumb = |piece: usize| {
        open[piece]
            && boxes[piece].diagonal() < work.hole_max
            && areas[piece] < CRUMB_AREA_SHARE * whole
    };
    let crumbs: Vec<bool> = (0..pieces.count).map(is_crumb).collect();
    if !crumbs.contains(&true) {
        return;
    }
    let mut changes = Changes::default();
    for (piece, triangles) in pieces.triangles().into_iter().enumerate() {
        if crumbs[piece] {
            work.note(MendKind::LoosePiece, &triangles, &[]);
            changes.removed.extend(triangles);
        }
    }
    work.apply(changes);
}
