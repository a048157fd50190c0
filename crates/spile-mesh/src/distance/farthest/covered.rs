//! Several triangles of the other surface that cover a piece together.
//!
//! Where surfaces are meshed otherwise, most pieces reach over edges of the other
//! surface, and a bound by one triangle would have them cut along every such edge.
//! Here all that lies near the piece is drawn onto one plane, by what is computed:
//! three numbers a corner, of which two place it in the plane and the third is its
//! height, straight between. Each triangle's outline is a closed way; edges that
//! two of them run opposite ways cancel. Where no edge that is left meets the
//! drawn piece, all its places are gone round equally often; and where that is not
//! zero times none is left bare, for the outline of a triangle that does not hold a
//! place does not go round it. So over each place of the piece there is one of these
//! triangles, no farther than the greatest height of those that meet the piece. Edges and places are told apart by exact signs.
//!
//! # Source
//! Ours.

use std::cell::Cell;

use glam::{DVec2, DVec3};
use robust::{Coord, orient2d};

use crate::bvh::Bvh;
use crate::mesh::Bounds3;

/// No more triangles than this are looked at: a piece over more is cut first.
const MOST: usize = 64;

/// Where all in play is shorter than this, products leave the range of `f64`.
const SHORTEST: f64 = 1e-100;

/// A drawn triangle whose area is a smaller share of its square about itself and
/// the piece bounds no height beyond its corners.
const FLATTEST: f64 = 1e-6;

/// Steps of rounding on the way from coordinates to a place and height in the
/// plane and from there to a distance: a difference, a product of three terms
/// with a unit vector that is itself off by a few, twice; the rest is reserve.
const STEPS: f64 = 64.0;

/// A triangle as drawn, and its corners' heights over the plane.
struct Drawn {
    at: [DVec2; 3],
    height: [f64; 3],
}

/// An upper bound of the distance from the piece to the surface, if one not above
/// `enough` comes of the triangles near it together.
///
/// Accuracy: certified; what rounds on the way is in it.
pub(super) fn by_several(piece: [DVec3; 3], to: &Bvh, enough: f64) -> Option<f64> {
    let near = near(piece, to, enough)?;
    let origin = piece[0];
    let up = (piece[1] - origin).cross(piece[2] - origin).try_normalize()?;
    let (x, y) = up.any_orthonormal_pair();
    let mut longest_sq = 0.0_f64;
    let mut draw = |corners: [DVec3; 3]| {
        let away = corners.map(|p| p - origin);
        longest_sq = away.iter().map(|d| d.length_squared()).fold(longest_sq, f64::max);
        Drawn { at: away.map(|d| DVec2::new(d.dot(x), d.dot(y))), height: away.map(|d| d.dot(up)) }
    };
    let piece = draw(piece);
    let near: Vec<Drawn> = near.into_iter().map(|slot| draw(to.corners(slot))).collect();
    let longest = longest_sq.sqrt();
    if !(longest > SHORTEST && side(piece.at[0], piece.at[1], piece.at[2]) > 0.0) {
        return None;
    }
    let (mut crossing, mut round_all, mut highest) = (Vec::new(), 0, 0.0_f64);
    for triangle in &near {
        let edges = [0, 1, 2].map(|k| [triangle.at[k], triangle.at[(k + 1) % 3]]);
        let mut meets = false;
        let mut round = 0;
        for edge in edges {
            round += passed(edge, piece.at[0]);
            if may_meet(edge, piece.at) {
                crossing.push(edge);
                meets = true;
            }
        }
        round_all += round;
        if meets || round != 0 {
            highest = highest.max(most_height(triangle, piece.at));
        }
        if highest > enough {
            return None;
        }
    }
    let own = piece.height.iter().fold(0.0_f64, |most, h| most.max(h.abs()));
    let most = highest + own;
    let bound = most + STEPS * f64::EPSILON * (longest + most);
    (round_all != 0 && bound <= enough && all_cancel(crossing)).then_some(bound)
}

/// The slots of the triangles that come as near as `enough`, by their boxes.
fn near(piece: [DVec3; 3], to: &Bvh, enough: f64) -> Option<Vec<usize>> {
    let own = Bounds3::of(piece);
    let about = Bounds3 { min: own.min - enough, max: own.max + enough };
    let too_many = Cell::new(false);
    let mut near = Vec::new();
    to.walk(
        |bounds| !too_many.get() && bounds.touches(about),
        |slot| {
            if Bounds3::of(to.corners(slot)).touches(about) {
                near.push(slot);
                too_many.set(near.len() > MOST);
            }
        },
    );
    (!too_many.get() && !near.is_empty()).then_some(near)
}

/// On which side of the line from `a` to `b` a place lies: the sign is exact.
fn side(a: DVec2, b: DVec2, p: DVec2) -> f64 {
    let coord = |p: DVec2| Coord { x: p.x, y: p.y };
    orient2d(coord(a), coord(b), coord(p))
}

/// How often the ray from `p` along x is passed upward; the same edge the other
/// way gives the same number with the other sign.
fn passed([a, b]: [DVec2; 2], p: DVec2) -> i32 {
    if a.y <= p.y && p.y < b.y && side(a, b, p) > 0.0 {
        1
    } else if b.y <= p.y && p.y < a.y && side(a, b, p) < 0.0 {
        -1
    } else {
        0
    }
}

/// Whether an edge meets the drawn piece, touching included; false is certain.
/// The piece runs counterclockwise.
fn may_meet([a, b]: [DVec2; 2], piece: [DVec2; 3]) -> bool {
    let [p, q, r] = piece;
    let (low, high) = (p.min(q).min(r), p.max(q).max(r));
    if a.max(b).cmplt(low).any() || a.min(b).cmpgt(high).any() {
        return false;
    }
    let is_beyond = |k: usize| {
        let (from, to) = (piece[k], piece[(k + 1) % 3]);
        side(from, to, a) < 0.0 && side(from, to, b) < 0.0
    };
    if (0..3).any(is_beyond) {
        return false;
    }
    let sides = piece.map(|c| side(a, b, c));
    !(sides.iter().all(|&s| s > 0.0) || sides.iter().all(|&s| s < 0.0))
}

/// The greatest height of a triangle over the piece, from above: that of its
/// corners or, if less, of its plane over the piece's.
fn most_height(triangle: &Drawn, piece: [DVec2; 3]) -> f64 {
    let height = triangle.height;
    let of_corners = height.iter().fold(0.0_f64, |most, h| most.max(h.abs()));
    let [a, b, c] = triangle.at;
    let (u, v) = (b - a, c - a);
    let area = u.perp_dot(v);
    let ways = piece.map(|p| p - a);
    let reach = ways.iter().fold(u.abs().max(v.abs()), |most, w| most.max(w.abs())).max_element();
    let share = area.abs() / (reach * reach);
    if share.is_nan() || share <= FLATTEST {
        return of_corners;
    }
    let over = |w: DVec2| {
        let (of_b, of_c) = (w.perp_dot(v) / area, u.perp_dot(w) / area);
        let height = height[0] + of_b * (height[1] - height[0]) + of_c * (height[2] - height[0]);
        // Products of the reach, over the area, times the heights.
        let rounding = STEPS * f64::EPSILON / share * (1.0 + of_b.abs() + of_c.abs()) * of_corners;
        height.abs() + rounding
    };
    of_corners.min(ways.into_iter().map(over).fold(0.0, f64::max))
}

/// Whether each edge comes as often one way as the other.
fn all_cancel(mut edges: Vec<[DVec2; 2]>) -> bool {
    while let Some([a, b]) = edges.pop() {
        let Some(twin) = edges.iter().position(|&e| e == [b, a]) else { return false };
        edges.swap_remove(twin);
    }
    true
}

#[cfg(test)]
mod tests;
