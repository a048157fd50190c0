//! What `f64` can do to the lengths that this crate bounds.
//!
//! Every bound is a multiple of the machine epsilon times a size. The size is
//! how far the numbers in play are apart, not how far they lie from the
//! origin: differences of coordinates are taken first, and a difference of two
//! `f64` is right to half an epsilon of itself.

/// Operations on the way from coordinates to a distance, rounded up: a
/// difference, products, two sums of three terms, a division by the sum of the
/// weights and a root come to less than 20 half-epsilons each on the offset
/// and on its length; the rest is reserve.
const STEPS: f64 = 32.0;

/// Squares of lengths below this lose digits to underflow; no bound is closer.
const SHORTEST: f64 = 1e-150;

/// Above this length squares and products of squares leave the range of `f64`,
/// and nothing is certified.
pub(crate) const LONGEST: f64 = 1e75;

/// The most by which a computed distance between a point and a convex
/// combination of corners can be wrong, where no coordinate difference in play
/// is longer than `size`.
///
/// # Source
/// Ours: Higham 2002, Accuracy and Stability of Numerical Algorithms, lemma
/// 3.1 (n steps give a relative error below n u / (1 - n u)).
pub fn of_distance(size: f64) -> f64 {
    STEPS * f64::EPSILON * size + SHORTEST
}
