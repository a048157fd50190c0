//! Building the tree.

use glam::DVec3;
use rayon::prelude::*;

use super::disc::Disc;
use super::{Bvh, LEAF, Node};
use crate::mesh::{Bounds3, Mesh};

/// Bins along the axis; more did not make queries faster.
const BINS: usize = 16;

/// Below this depth triangles are halved by count instead of by cost, so that
/// no path can be longer than this plus the 30 halvings of 2^32 triangles.
pub(super) const DEEPEST_BY_COST: usize = 56;

/// From this many triangles on, both halves are built at the same time.
const IN_PARALLEL: usize = 4096;

struct Item {
    bounds: Bounds3,
    id: u32,
}

impl Item {
    /// Twice the middle of the box.
    fn middle(&self) -> DVec3 {
        self.bounds.min + self.bounds.max
    }
}

/// What a run of items spans: their boxes, and their middles, doubled.
#[derive(Clone, Copy)]
struct Span {
    bounds: Bounds3,
    middles: Bounds3,
}

impl Span {
    const EMPTY: Self = Self { bounds: Bounds3::EMPTY, middles: Bounds3::EMPTY };

    fn of(items: &[Item]) -> Self {
        items.iter().fold(Self::EMPTY, Self::with)
    }

    fn with(self, item: &Item) -> Self {
        let middle = item.middle();
        let middles = Bounds3 { min: middle, max: middle };
        self.union(Self { bounds: item.bounds, middles })
    }

    fn union(self, other: Self) -> Self {
        Self { bounds: self.bounds.union(other.bounds), middles: self.middles.union(other.middles) }
    }
}

pub(super) fn build(mesh: &Mesh, triangles: &[u32]) -> Bvh {
    let mut items: Vec<Item> = triangles
        .par_iter()
        .map(|&id| Item { bounds: Bounds3::of(mesh.corners(id as usize)), id })
        .collect();
    let mut nodes = Vec::new();
    if !items.is_empty() {
        let span = Span::of(&items);
        grow(&mut items, span, 0, 0, &mut nodes);
    }
    let ids: Vec<u32> = items.iter().map(|item| item.id).collect();
    drop(items);
    let corners: Vec<_> = ids.par_iter().map(|&id| mesh.corners(id as usize)).collect();
    let discs = corners.par_iter().map(|&corners| Disc::of(corners)).collect();
    Bvh { nodes, corners, ids, discs }
}

/// Appends the tree over `items`, whose first slot is `first`.
fn grow(items: &mut [Item], span: Span, first: usize, depth: usize, nodes: &mut Vec<Node>) {
    let at = nodes.len();
    let count = if items.len() <= LEAF { items.len() as u32 } else { 0 };
    nodes.push(Node { bounds: span.bounds, link: first as u32, count });
    if count > 0 {
        return;
    }
    let (middle, [of_left, of_right]) = split(items, span, depth);
    let is_big = items.len() >= IN_PARALLEL;
    let (left, right) = items.split_at_mut(middle);
    if is_big {
        let (mut left_nodes, mut right_nodes) = (Vec::new(), Vec::new());
        rayon::join(
            || grow(left, of_left, first, depth + 1, &mut left_nodes),
            || grow(right, of_right, first + middle, depth + 1, &mut right_nodes),
        );
        nodes.append(&mut left_nodes);
        nodes[at].link = (nodes.len() - at) as u32;
        nodes.append(&mut right_nodes);
    } else {
        grow(left, of_left, first, depth + 1, nodes);
        nodes[at].link = (nodes.len() - at) as u32;
        grow(right, of_right, first + middle, depth + 1, nodes);
    }
}

/// Reorders the items and says where the right half begins, and what each spans;
/// neither half is empty.
fn split(items: &mut [Item], span: Span, depth: usize) -> (usize, [Span; 2]) {
    let (low, high, axis) = longest_axis(span.middles);
    let scale = BINS as f64 / (high - low);
    if depth < DEEPEST_BY_COST && scale.is_finite() {
        let bin = |item: &Item| (((item.middle()[axis] - low) * scale) as usize).min(BINS - 1);
        if let Some((last_left, spans)) = cheapest(items, &bin) {
            return (partition(items, |item| bin(item) <= last_left), spans);
        }
    }
    let half = items.len() / 2;
    items.select_nth_unstable_by(half, |a, b| {
        a.middle()[axis].total_cmp(&b.middle()[axis]).then(a.id.cmp(&b.id))
    });
    (half, [Span::of(&items[..half]), Span::of(&items[half..])])
}

/// The axis along which the middles spread most, and their range on it.
fn longest_axis(spread: Bounds3) -> (f64, f64, usize) {
    let size = spread.max - spread.min;
    let axis = if size.x >= size.y && size.x >= size.z {
        0
    } else if size.y >= size.z {
        1
    } else {
        2
    };
    (spread.min[axis], spread.max[axis], axis)
}

/// The last bin of the left half that makes the expected cost least, and what both halves
/// span; `None` if all items fall into one bin.
fn cheapest(items: &[Item], bin: &impl Fn(&Item) -> usize) -> Option<(usize, [Span; 2])> {
    let mut spans = [Span::EMPTY; BINS];
    let mut counts = [0_usize; BINS];
    for item in items {
        let b = bin(item);
        spans[b] = spans[b].with(item);
        counts[b] += 1;
    }
    // Halves that part at an empty bin part at the one before.
    let filled = || (0..BINS).filter(|&b| counts[b] > 0);
    let mut right_of = [Span::EMPTY; BINS];
    let mut from_right = [0.0; BINS];
    let (mut so_far, mut count) = (Span::EMPTY, 0);
    for b in filled().rev() {
        (right_of[b], from_right[b]) = (so_far, half_area(so_far.bounds) * count as f64);
        so_far = so_far.union(spans[b]);
        count += counts[b];
    }
    let mut best = None;
    let mut least = f64::INFINITY;
    (so_far, count) = (Span::EMPTY, 0);
    for b in filled() {
        so_far = so_far.union(spans[b]);
        count += counts[b];
        let cost = half_area(so_far.bounds) * count as f64 + from_right[b];
        if count < items.len() && cost < least {
            least = cost;
            best = Some((b, [so_far, right_of[b]]));
        }
    }
    best
}

fn half_area(bounds: Bounds3) -> f64 {
    let size = (bounds.max - bounds.min).max(DVec3::ZERO);
    size.x * size.y + size.y * size.z + size.z * size.x
}

/// Moves the items for which `is_left` holds to the front; how many they are.
fn partition(items: &mut [Item], is_left: impl Fn(&Item) -> bool) -> usize {
    let mut left = 0;
    for at in 0..items.len() {
        if is_left(&items[at]) {
            items.swap(left, at);
            left += 1;
        }
    }
    left
}
