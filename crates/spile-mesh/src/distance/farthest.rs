//! The largest distance from one surface to another, by branch and bound.

mod covered;
mod cut_places;

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use glam::DVec3;
use rayon::prelude::*;

use super::Bounds;
use crate::bvh::Bvh;
use crate::mesh::{Bounds3, Mesh};
use crate::rounding;
use crate::triangle::{distance_at_least, offset_to_triangle};

/// Pieces taken from the queue at a time. It is the same on any number of
/// threads, and so is the answer.
const ROUND: usize = 64;

/// Cuts made in one piece before what is left goes back to the queue.
const CUTS_A_TURN: usize = 32;

/// No piece is cut more often: halving an edge 200 times is far below what an
/// `f64` can tell apart.
const DEEPEST: u16 = 200;

/// After this many cuts and this many more a triangle, [`farthest`] gives the
/// bounds that it has. Reached only where `gap` is absurdly small beside the
/// triangles, and many of them meet near the farthest place.
const MOST_CUTS: usize = 4_000_000;
const MOST_CUTS_EACH: usize = 64;

/// After this many cuts of one triangle [`farthest_each`] gives the bound that
/// it has.
const MOST_CUTS_OF_ONE: usize = 4096;

/// Bounds, no further apart than `gap`, of the largest distance from a point
/// of `from` (of its triangles `some`, if given) to the surface `to`.
///
/// Triangles known to lie nearer than `give_up_below` are not looked at more
/// closely: then `hi` may be as large as that.
///
/// Shape: none is assumed, of either. Without triangles in `from` the answer
/// is 0; without triangles in `to`, infinity; with coordinates beyond 1e74
/// nothing is certified and the bounds are 0 and infinity.
/// Accuracy: certified, rounding included; `gap` counts for no less than
/// rounding. After 4 million cuts and 64 a triangle the bounds reached so far
/// are given, which may be further apart than `gap`: who must know looks at them.
/// Cost: one or two searches of the tree a triangle where the surfaces are
/// near each other, O(log n) each; parallel, the same on any number of
/// threads.
pub fn farthest(
    from: &Mesh,
    some: Option<&[u32]>,
    to: &Bvh,
    gap: f64,
    give_up_below: Option<f64>,
) -> Bounds {
    let Some(start) = Start::new(from, some, to) else {
        return Bounds { lo: 0.0, hi: 0.0, at: DVec3::ZERO };
    };
    // Rounding is added at the end and must then still fit into what is asked.
    let gap = (gap - 2.0 * start.size.error(DEEPEST)).max(2.0 * start.size.error(0));
    let floor = give_up_below.map_or(0.0, |most| most - start.size.error(DEEPEST));
    let mut best = start.farthest_corner();
    if to.is_empty() || !start.size.is_safe() {
        let lo = if to.is_empty() { f64::INFINITY } else { 0.0 };
        return Bounds { lo, hi: f64::INFINITY, at: best.at };
    }
    let enough = (best.distance + gap).max(floor);
    let pieces: Vec<Piece> =
        (0..start.triangles.len()).into_par_iter().map(|i| start.piece(i, to, enough)).collect();
    let mut settled = 0.0_f64;
    let mut queue = Queue::default();
    for piece in pieces {
        if piece.hi > enough { queue.push(piece) } else { settled = settled.max(piece.hi) }
    }
    let mut cuts_left = MOST_CUTS + MOST_CUTS_EACH * start.triangles.len();
    let mut depth = 0;
    while cuts_left > 0 {
        let enough = (best.distance + gap).max(floor);
        let round = queue.worst(ROUND, enough);
        if round.is_empty() {
            break;
        }
        let turns: Vec<Turn> = round
            .into_par_iter()
            .map(|p| cut_often(p, to, best, gap, floor, CUTS_A_TURN))
            .collect();
        for turn in turns {
            settled = settled.max(turn.settled);
            cuts_left = cuts_left.saturating_sub(turn.cuts);
            depth = depth.max(turn.depth);
            if turn.best.distance > best.distance {
                best = turn.best;
            }
            turn.left.into_iter().for_each(|piece| queue.push(piece));
        }
    }
    let hi = settled.max(queue.greatest()).max(best.distance);
    let error = start.size.error(depth);
    Bounds { lo: (surely(best, to) - error).max(0.0), hi: hi + error, at: best.at }
}

/// For each triangle of `some` an upper bound of the largest distance from it
/// to `to`, looked at just closely enough to tell on which side of `limit` it
/// lies.
///
/// A bound not above `limit` is certified. One above it means that some point
/// of the triangle is farther (up to rounding), or, rarely, that 4096 cuts did
/// not decide.
pub fn farthest_each(from: &Mesh, some: &[u32], to: &Bvh, limit: f64) -> Vec<f64> {
    let Some(start) = Start::new(from, Some(some), to) else { return Vec::new() };
    let size = start.size;
    if to.is_empty() || !size.is_safe() {
        return vec![f64::INFINITY; some.len()];
    }
    (0..some.len())
        .into_par_iter()
        .map(|i| {
            let limit = limit - size.error(DEEPEST);
            let piece = start.piece(i, to, limit);
            let reached = piece.farthest_corner();
            if piece.hi <= limit || reached.distance > limit {
                return piece.hi + size.error(0);
            }
            let turn = cut_often(piece, to, reached, 0.0, limit, MOST_CUTS_OF_ONE);
            let left = turn.left.iter().map(|p| p.hi).fold(0.0, f64::max);
            turn.settled.max(left).max(turn.best.distance) + size.error(turn.depth)
        })
        .collect()
}

/// Whether no point of `from` is farther than `limit` from the surface `to`.
///
/// True is certified, rounding included. False means that some point is farther
/// (up to rounding), or, rarely, that 4096 cuts of a triangle did not decide.
/// Cost: as [`farthest`], without the cuts that narrow its bounds, and no more
/// than it takes to find one triangle that is too far.
pub fn lies_within(from: &Mesh, to: &Bvh, limit: f64) -> bool {
    let Some(start) = Start::new(from, None, to) else { return true };
    let size = start.size;
    let limit = limit - size.error(DEEPEST);
    if to.is_empty() || !size.is_safe() || start.farthest_corner().distance > limit {
        return false;
    }
    (0..start.triangles.len()).into_par_iter().all(|i| {
        let piece = start.piece(i, to, limit);
        piece.hi <= limit || {
            let reached = piece.farthest_corner();
            let turn = cut_often(piece, to, reached, 0.0, limit, MOST_CUTS_OF_ONE);
            turn.left.is_empty() && turn.settled.max(turn.best.distance) <= limit
        }
    })
}

/// The greatest length in play, which rounding scales with.
#[derive(Clone, Copy)]
struct Size(f64);

impl Size {
    /// Whether no square of a length overflows.
    fn is_safe(self) -> bool {
        self.0 < rounding::LONGEST
    }

    /// How far a computed distance from a corner of a piece can be off: the
    /// distance itself, and each cut on the way to the piece, whose new corner
    /// lies off the line it should lie on.
    fn error(self, depth: u16) -> f64 {
        rounding::of_distance(self.0) + 4.0 * f64::EPSILON * self.0 * f64::from(depth)
    }
}

/// A point of the surface measured from and its distance to the other.
#[derive(Clone, Copy)]
struct Reached {
    at: DVec3,
    distance: f64,
    /// The slot of the closest triangle.
    slot: u32,
}

impl Reached {
    fn of(p: DVec3, to: &Bvh) -> Reached {
        match to.closest_slot(p, f64::INFINITY) {
            Some(c) => Reached { at: p, distance: c.offset.length(), slot: c.slot },
            None => Reached { at: p, distance: f64::INFINITY, slot: 0 },
        }
    }
}

/// The triangles asked about and the distances of their corners.
struct Start<'a> {
    from: &'a Mesh,
    triangles: std::borrow::Cow<'a, [u32]>,
    /// The corners in use, ascending, and what each reaches.
    vertices: Vec<u32>,
    reached: Vec<Reached>,
    size: Size,
}

impl<'a> Start<'a> {
    fn new(from: &'a Mesh, some: Option<&'a [u32]>, to: &Bvh) -> Option<Start<'a>> {
        let triangles: std::borrow::Cow<[u32]> = match some {
            Some(list) => list.into(),
            None => (0..from.triangles().len() as u32).collect::<Vec<_>>().into(),
        };
        let mut vertices: Vec<u32> =
            triangles.iter().flat_map(|&t| from.triangles()[t as usize]).collect();
        vertices.par_sort_unstable();
        vertices.dedup();
        let points = from.points();
        let reached: Vec<Reached> =
            vertices.par_iter().map(|&v| Reached::of(points[v as usize], to)).collect();
        let reach = |p: DVec3| p.abs().max_element();
        let most = vertices.iter().map(|&v| reach(points[v as usize])).fold(0.0, f64::max);
        let other =
            if to.is_empty() { 0.0 } else { reach(to.bounds().min).max(reach(to.bounds().max)) };
        // A difference of two points is at most this long.
        let size = Size(2.0 * 3.0_f64.sqrt() * most.max(other));
        (!triangles.is_empty()).then_some(Start { from, triangles, vertices, reached, size })
    }

    fn farthest_corner(&self) -> Reached {
        let mut best = self.reached[0];
        for &r in &self.reached {
            if r.distance > best.distance {
                best = r;
            }
        }
        best
    }

    /// The whole triangle number `i` as a piece.
    fn piece(&self, i: usize, to: &Bvh, enough: f64) -> Piece {
        let corners = self.from.triangles()[self.triangles[i] as usize];
        let corners = corners.map(|v| {
            let at = self.vertices.partition_point(|&known| known < v);
            self.reached[at]
        });
        Piece::new(corners, 0, 0, corners[0].slot, to, enough)
    }
}

/// A piece of a triangle, with an upper bound of its largest distance.
struct Piece {
    corners: [Reached; 3],
    hi: f64,
    /// The slot of the triangle that gives `hi`.
    cover: u32,
    /// Squared distances of the corners from that triangle.
    off_cover_sq: [f64; 3],
    depth: u16,
    /// Cuts along edges since an edge was last halved.
    cuts: u16,
    /// The order of arrival: settles ties.
    rank: u64,
}

impl Piece {
    /// Looks for the triangle whose distance from the piece is least, but only
    /// until it is `enough`.
    fn new(
        corners: [Reached; 3],
        depth: u16,
        cuts: u16,
        hint: u32,
        to: &Bvh,
        enough: f64,
    ) -> Piece {
        let enough_sq = enough.max(0.0) * enough.max(0.0);
        let mut best_sq = f64::INFINITY;
        let (mut cover, mut off_cover_sq) = (hint, [f64::INFINITY; 3]);
        let off_box_sq =
            |b: Bounds3| corners.iter().map(|c| b.distance_sq(c.at)).fold(0.0, f64::max);
        let mut consider = |slot: u32| {
            let triangle = to.corners(slot as usize);
            // Its own box is much cheaper to ask than the triangle.
            if off_box_sq(Bounds3::of(triangle)) >= best_sq {
                return best_sq;
            }
            let mut each_sq = [0.0_f64; 3];
            for (k, c) in corners.iter().enumerate() {
                each_sq[k] = offset_to_triangle(c.at, triangle).0.length_squared();
                if each_sq[k] >= best_sq {
                    return best_sq;
                }
            }
            best_sq = each_sq[0].max(each_sq[1]).max(each_sq[2]);
            (cover, off_cover_sq) = (slot, each_sq);
            best_sq
        };
        let mut seeds_sq = consider(hint);
        for c in &corners {
            if c.slot != hint && seeds_sq > enough_sq {
                seeds_sq = consider(c.slot);
            }
        }
        let mut hi = None;
        if seeds_sq > enough_sq {
            hi = covered::by_several(corners.map(|c| c.at), to, enough);
        }
        if seeds_sq > enough_sq && hi.is_none() {
            to.nearest_first(seeds_sq, off_box_sq, |slot, bound| {
                let found_sq = consider(slot as u32);
                // Nothing lies nearer than a bound below 0: the search ends.
                *bound = if found_sq <= enough_sq { -1.0 } else { found_sq };
            });
        }
        let hi = hi.unwrap_or_else(|| best_sq.sqrt());
        Piece { corners, hi, cover, off_cover_sq, depth, cuts, rank: 0 }
    }

    fn farthest_corner(&self) -> Reached {
        let [a, b, c] = self.corners;
        let ab = if b.distance > a.distance { b } else { a };
        if c.distance > ab.distance { c } else { ab }
    }

    /// Two pieces that make up this one.
    fn cut(&self, to: &Bvh, enough: f64) -> [Piece; 2] {
        let better = self.crossing(to).or_else(|| self.bisected(to));
        let (k, share, cuts) = match better {
            Some((k, share)) => (k, share, self.cuts + 1),
            None => (self.longest_edge().0, 0.5, 0),
        };
        let next = (k + 1) % 3;
        let (a, b) = (self.corners[k].at, self.corners[next].at);
        let new = Reached::of(a + (b - a) * share, to);
        let (mut first, mut second) = (self.corners, self.corners);
        first[next] = new;
        second[k] = new;
        let piece = |corners| Piece::new(corners, self.depth + 1, cuts, self.cover, to, enough);
        [piece(first), piece(second)]
    }

    /// The longest edge and its squared length.
    fn longest_edge(&self) -> (usize, f64) {
        let length_sq =
            |k: usize| self.corners[k].at.distance_squared(self.corners[(k + 1) % 3].at);
        let mut best = (0, length_sq(0));
        for k in 1..3 {
            if length_sq(k) > best.1 {
                best = (k, length_sq(k));
            }
        }
        best
    }
}

/// What came of cutting one piece.
struct Turn {
    /// The greatest upper bound of the pieces that need no more cutting.
    settled: f64,
    best: Reached,
    left: Vec<Piece>,
    cuts: usize,
    depth: u16,
}

/// Cuts a piece, the worst first, until all that is left of it lies below
/// `floor` or not above the best by more than `gap`, or until `most` cuts.
fn cut_often(piece: Piece, to: &Bvh, best: Reached, gap: f64, floor: f64, most: usize) -> Turn {
    let mut turn = Turn { settled: 0.0, best, left: Vec::new(), cuts: 0, depth: piece.depth };
    let mut queue = Queue::default();
    queue.push(piece);
    while turn.cuts < most {
        let enough = (turn.best.distance + gap).max(floor);
        let Some(worst) = queue.worst(1, enough).pop() else { break };
        if worst.depth >= DEEPEST {
            turn.settled = turn.settled.max(worst.hi);
            continue;
        }
        turn.cuts += 1;
        for piece in worst.cut(to, enough) {
            turn.depth = turn.depth.max(piece.depth);
            let reached = piece.farthest_corner();
            if reached.distance > turn.best.distance {
                turn.best = reached;
            }
            if piece.hi > enough {
                queue.push(piece)
            } else {
                turn.settled = turn.settled.max(piece.hi)
            }
        }
        // For one triangle, being above the limit is answer enough.
        if gap == 0.0 && turn.best.distance > floor {
            break;
        }
    }
    turn.left = queue.into_pieces();
    turn
}

/// A lower bound of the distance from a place to the surface.
fn surely(place: Reached, to: &Bvh) -> f64 {
    let mut least = place.distance;
    to.nearest_first(
        place.distance * place.distance,
        |b| b.distance_sq(place.at),
        |slot, _| {
            let triangle = to.corners(slot);
            let offset = offset_to_triangle(place.at, triangle).0;
            least = least.min(distance_at_least(place.at, triangle, offset));
        },
    );
    least
}

/// Pieces by upper bound, the greatest first.
#[derive(Default)]
struct Queue {
    heap: BinaryHeap<Piece>,
    arrived: u64,
}

impl Queue {
    fn push(&mut self, mut piece: Piece) {
        piece.rank = self.arrived;
        self.arrived += 1;
        self.heap.push(piece);
    }

    /// Takes out up to `most` of the worst pieces that are not good `enough`.
    fn worst(&mut self, most: usize, enough: f64) -> Vec<Piece> {
        let mut taken = Vec::new();
        while taken.len() < most && self.greatest() > enough {
            taken.extend(self.heap.pop());
        }
        taken
    }

    /// The greatest upper bound; 0 of none.
    fn greatest(&self) -> f64 {
        self.heap.peek().map_or(0.0, |p| p.hi)
    }

    fn into_pieces(self) -> Vec<Piece> {
        self.heap.into_sorted_vec()
    }
}

impl PartialEq for Piece {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Piece {}

impl PartialOrd for Piece {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Piece {
    fn cmp(&self, other: &Self) -> Ordering {
        self.hi.total_cmp(&other.hi).then(other.rank.cmp(&self.rank))
    }
}
