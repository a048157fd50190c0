//! Closest points asked for one place after the other, each beside the last.

use glam::DVec3;

use super::{Bvh, Closest, ClosestSlot};

/// So many triangles that answered last are asked first.
const REMEMBERED: usize = 6;

/// Asks a tree for places that lie near each other: what answered last gives the first bound.
/// Answers are those of [`Bvh::closest`], whatever was asked before.
#[derive(Debug, Clone)]
pub struct Finder<'a> {
    tree: &'a Bvh,
    /// Slots, the last that answered first.
    last: Vec<u32>,
}

impl<'a> Finder<'a> {
    /// One that remembers nothing yet.
    pub fn new(tree: &'a Bvh) -> Self {
        Self { tree, last: Vec::with_capacity(REMEMBERED) }
    }

    /// As [`Bvh::closest`].
    pub fn closest(&mut self, p: DVec3) -> Option<Closest> {
        self.closest_within(p, f64::INFINITY)
    }

    /// As [`Bvh::closest_within`].
    pub fn closest_within(&mut self, p: DVec3, limit: f64) -> Option<Closest> {
        let limit_sq = limit * limit;
        let known = self.of_the_last(p, -1.0);
        let known = known.filter(|known| known.offset.length_squared() < limit_sq);
        let found = self.tree.search(p, known, limit_sq, -1.0)?;
        self.remember(found.slot);
        Some(self.tree.answer(p, found))
    }

    /// The distance of the closest point, if that is more than `than`.
    ///
    /// Sooner done than [`Finder::closest`] where it is not: the first triangle that is
    /// as near ends the search, and most often one of the last is.
    pub fn farther(&mut self, p: DVec3, than: f64) -> Option<f64> {
        let is_farther = |found: ClosestSlot| found.offset.length() > than;
        let known = self.of_the_last(p, than);
        if known.is_some_and(|known| !is_farther(known)) {
            return None;
        }
        let found = self.tree.search(p, known, f64::INFINITY, than * than)?;
        self.remember(found.slot);
        is_farther(found).then(|| found.offset.length())
    }

    /// The closest of the triangles that answered last, or the first that is no farther than
    /// `enough`.
    fn of_the_last(&mut self, p: DVec3, enough: f64) -> Option<ClosestSlot> {
        let mut best: Option<ClosestSlot> = None;
        for k in 0..self.last.len() {
            let found = self.tree.ask(p, self.last[k]);
            if best.is_none_or(|best| self.tree.is_before(found, best)) {
                best = Some(found);
            }
            if found.offset.length() <= enough {
                self.last[..=k].rotate_right(1);
                break;
            }
        }
        best
    }

    fn remember(&mut self, slot: u32) {
        let at = self.last.iter().position(|&s| s == slot);
        let at = at.unwrap_or_else(|| {
            if self.last.len() < REMEMBERED {
                self.last.push(slot);
            }
            self.last.len() - 1
        });
        self.last[at] = slot;
        self.last[..=at].rotate_right(1);
    }
}
