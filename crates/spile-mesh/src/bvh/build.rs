//! Building the tree.

use rayon::prelude::*;

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
    fn middle(&self, axis: usize) -> f64 {
        self.bounds.min[axis] + self.bounds.max[axis]
    }
}

pub(super) fn build(mesh: &Mesh, triangles: &[u32]) -> Bvh {
    let mut items: Vec<Item> = triangles
        .par_iter()
        .map(|&id| Item { bounds: Bounds3::of(mesh.corners(id as usize)), id })
        .collect();
    let mut nodes = Vec::new();
    if !items.is_empty() {
        grow(&mut items, 0, 0, &mut nodes);
    }
    let ids: Vec<u32> = items.iter().map(|item| item.id).collect();
    drop(items);
    let corners = ids.par_iter().map(|&id| mesh.corners(id as usize)).collect();
    Bvh { nodes, corners, ids }
}

/// Appends the tree over `items`, whose first slot is `first`.
fn grow(items: &mut [Item], first: usize, depth: usize, nodes: &mut Vec<Node>) {
    let bounds = items.iter().fold(Bounds3::EMPTY, |b, item| b.union(item.bounds));
    let at = nodes.len();
    let count = if items.len() <= LEAF { items.len() as u32 } else { 0 };
    nodes.push(Node { bounds, link: first as u32, count });
    if count > 0 {
        return;
    }
    let middle = split(items, depth);
    let is_big = items.len() >= IN_PARALLEL;
    let (left, right) = items.split_at_mut(middle);
    if is_big {
        let (mut left_nodes, mut right_nodes) = (Vec::new(), Vec::new());
        rayon::join(
            || grow(left, first, depth + 1, &mut left_nodes),
            || grow(right, first + middle, depth + 1, &mut right_nodes),
        );
        nodes.append(&mut left_nodes);
        nodes[at].link = (nodes.len() - at) as u32;
        nodes.append(&mut right_nodes);
    } else {
        grow(left, first, depth + 1, nodes);
        nodes[at].link = (nodes.len() - at) as u32;
        grow(right, first + middle, depth + 1, nodes);
    }
}

/// Reorders the items and says where the right half begins; neither half is
/// empty.
fn split(items: &mut [Item], depth: usize) -> usize {
    let (low, high, axis) = longest_axis(items);
    let scale = BINS as f64 / (high - low);
    if depth < DEEPEST_BY_COST && scale.is_finite() {
        let bin = |item: &Item| (((item.middle(axis) - low) * scale) as usize).min(BINS - 1);
        if let Some(last_left) = cheapest(items, &bin) {
            return partition(items, |item| bin(item) <= last_left);
        }
    }
    let half = items.len() / 2;
    items.select_nth_unstable_by(half, |a, b| {
        a.middle(axis).total_cmp(&b.middle(axis)).then(a.id.cmp(&b.id))
    });
    half
}

/// The axis along which the middles spread most, and their range on it.
fn longest_axis(items: &[Item]) -> (f64, f64, usize) {
    let spread = Bounds3::of(items.iter().map(|item| item.bounds.min + item.bounds.max));
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

/// The last bin of the left half that makes the expected cost least; `None`
/// if all items fall into one bin.
fn cheapest(items: &[Item], bin: &impl Fn(&Item) -> usize) -> Option<usize> {
    let mut bounds = [Bounds3::EMPTY; BINS];
    let mut counts = [0_usize; BINS];
    for item in items {
        let b = bin(item);
        bounds[b] = bounds[b].union(item.bounds);
        counts[b] += 1;
    }
    let mut from_right = [0.0; BINS];
    let (mut box_so_far, mut count) = (Bounds3::EMPTY, 0);
    for b in (1..BINS).rev() {
        box_so_far = box_so_far.union(bounds[b]);
        count += counts[b];
        from_right[b - 1] = half_area(box_so_far) * count as f64;
    }
    let mut best = None;
    let mut least = f64::INFINITY;
    (box_so_far, count) = (Bounds3::EMPTY, 0);
    for b in 0..BINS - 1 {
        box_so_far = box_so_far.union(bounds[b]);
        count += counts[b];
        let cost = half_area(box_so_far) * count as f64 + from_right[b];
        if count > 0 && count < items.len() && cost < least {
            least = cost;
            best = Some(b);
        }
    }
    best
}

fn half_area(bounds: Bounds3) -> f64 {
    let size = (bounds.max - bounds.min).max(glam::DVec3::ZERO);
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
