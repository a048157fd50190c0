//! Where a piece is best cut: along the other surface's edges, and where two of
//! its faces are equally far.

use glam::DVec3;

use super::Piece;
use crate::bvh::Bvh;
use crate::triangle::{Feature, inward, offset_to_triangle};

/// Cuts along the other surface's edges in a row before an edge is halved all
/// the same, so that pieces are sure to become small.
const CUTS_BEFORE_HALVING: u16 = 6;

/// Steps in search of a place as far from one triangle as from another.
const STEPS_TO_ZERO: usize = 8;

impl Piece {
    /// Where an edge of this piece passes from places nearer to the triangle
    /// that covers it to places nearer to the one that is closest to its worst
    /// corner: the edge's number and the share of the way along it.
    ///
    /// Seen from within a concave edge of the other surface, the farthest places
    /// are those as far from one of its faces as from the other. Cut there, each
    /// part is covered by its own face; otherwise pieces as small as the gap are
    /// needed all along the edge.
    pub(super) fn bisected(&self, to: &Bvh) -> Option<(usize, f64)> {
        let off_sq = self.off_cover_sq;
        let worst = (0..3).max_by(|&i, &j| off_sq[i].total_cmp(&off_sq[j]))?;
        let rival = self.corners[worst].slot;
        if self.cuts >= CUTS_BEFORE_HALVING || rival == self.cover {
            return None;
        }
        let [cover, rival] = [self.cover, rival].map(|slot| to.corners(slot as usize));
        // How much nearer the rival is than the cover.
        let gain = |p: DVec3| {
            let [cover, rival] = [cover, rival].map(|t| offset_to_triangle(p, t).0.length());
            cover - rival
        };
        let from = self.corners[worst].at;
        for k in [(worst + 1) % 3, (worst + 2) % 3] {
            let to = self.corners[k].at;
            let share = crossing_of_zero(|share| gain(from + (to - from) * share));
            // Not so near a corner that nothing is gained, and over the inside of one
            // face at least: where surfaces lie in each other, triangles beside each
            // other are rivals at every edge.
            let is_over_one = |share: f64| {
                let p = from + (to - from) * share;
                [cover, rival].iter().any(|&t| offset_to_triangle(p, t).1 == Feature::Inside)
            };
            let is_useful = |s: &f64| *s > 1e-9 && *s < 1.0 - 1e-9 && is_over_one(*s);
            if let Some(share) = share.filter(is_useful) {
                return Some(if k == (worst + 1) % 3 { (worst, share) } else { (k, 1.0 - share) });
            }
        }
        None
    }

    /// Where an edge of this piece leaves the prism over the triangle that
    /// covers it: the edge's number and the share of the way along it.
    ///
    /// Cut there, the inner part is covered by that triangle as closely as can
    /// be, so that surfaces that lie in each other need no ever smaller pieces
    /// along their edges.
    pub(super) fn crossing(&self, to: &Bvh) -> Option<(usize, f64)> {
        let cover = to.corners(self.cover as usize);
        let cover_sq = (0..3).map(|k| cover[k].distance_squared(cover[(k + 1) % 3]));
        // A piece much larger than its cover is halved first.
        let is_larger = self.longest_edge().1 > 4.0 * cover_sq.fold(0.0, f64::max);
        if self.cuts >= CUTS_BEFORE_HALVING || is_larger {
            return None;
        }
        let off_sq = self.off_cover_sq;
        let worst = (0..3).max_by(|&i, &j| off_sq[i].total_cmp(&off_sq[j]))?;
        let mut deepest = 0.0;
        let mut found = None;
        for edge in 0..3 {
            let inward = inward(cover[edge], cover[(edge + 1) % 3], cover[(edge + 2) % 3]);
            let inside = |k: usize| inward.dot(self.corners[k].at - cover[edge]);
            let out = inside(worst);
            for k in [(worst + 1) % 3, (worst + 2) % 3] {
                let share = out / (out - inside(k));
                // Not so near a corner that nothing is gained.
                if out < deepest && share > 1e-9 && share < 1.0 - 1e-9 {
                    deepest = out;
                    found =
                        Some(if k == (worst + 1) % 3 { (worst, share) } else { (k, 1.0 - share) });
                }
            }
        }
        found
    }
}

/// Where on the way from 0 to 1 a function falls through zero; none if it does
/// not stand above zero at 0 and below at 1.
///
/// By false position: where both distances are to planes the first guess is exact.
fn crossing_of_zero(value: impl Fn(f64) -> f64) -> Option<f64> {
    let (mut low, mut high) = ((0.0, value(0.0)), (1.0, value(1.0)));
    if !(low.1 > 0.0 && high.1 < 0.0) {
        return None;
    }
    let scale = low.1.max(-high.1);
    for _ in 0..STEPS_TO_ZERO {
        let share = low.0 + (high.0 - low.0) * low.1 / (low.1 - high.1);
        let here = value(share);
        if here.abs() <= 1e-12 * scale {
            return Some(share);
        }
        if here > 0.0 { low = (share, here) } else { high = (share, here) }
    }
    Some(0.5 * (low.0 + high.0))
}
