//! A figure with what is known of it, a value for each point, and shares of area.

use serde::Serialize;
use spile_mesh::Mesh;

/// One measured value.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// The value; for a certified maximum or minimum the bound on its bad side.
    pub value: f64,
    /// Guaranteed lower and upper bound; none for an estimate.
    pub bounds: Option<[f64; 2]>,
    /// How far the value may be off, in its own unit: for a certified figure the
    /// width of its bounds, for an estimate what is expected; none where nothing
    /// can be said.
    pub accuracy: Option<f64>,
    /// Whether the bounds hold over the whole surface, rounding included.
    pub certified: bool,
    /// How it was read, as a sentence for a person.
    pub how: String,
}

impl Figure {
    /// A figure with guaranteed bounds, of which `value` is one or lies between.
    pub fn certified(value: f64, bounds: [f64; 2], how: impl Into<String>) -> Self {
        Self {
            value,
            bounds: Some(bounds),
            accuracy: Some(bounds[1] - bounds[0]),
            certified: true,
            how: how.into(),
        }
    }

    /// A figure that is read at places, or by a search.
    pub fn estimated(value: f64, accuracy: Option<f64>, how: impl Into<String>) -> Self {
        Self { value, bounds: None, accuracy, certified: false, how: how.into() }
    }
}

/// One value for each point of the part, in its order.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct VertexMap {
    /// None where the measure means nothing, and at points that no triangle names.
    pub values: Vec<Option<f64>>,
}

impl VertexMap {
    /// No value at any of `count` points.
    pub fn empty(count: usize) -> Self {
        Self { values: vec![None; count] }
    }

    /// Least and greatest value; none for a map without any.
    pub fn range(&self) -> Option<[f64; 2]> {
        let all = self.values.iter().flatten();
        all.fold(None, |range: Option<[f64; 2]>, &x| {
            Some(range.map_or([x, x], |[lo, hi]| [lo.min(x), hi.max(x)]))
        })
    }

    /// Gives points of `part` that `welded` has as another one the other's value.
    pub(super) fn copy_to_twins(&mut self, part: &Mesh, welded: &Mesh) {
        for (own, one) in part.triangles().iter().zip(welded.triangles()) {
            for k in 0..3 {
                self.values[own[k] as usize] = self.values[one[k] as usize];
            }
        }
    }
}

/// Area by the value that it has, in bins of equal width.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Histogram {
    /// Where the first bin begins.
    pub from: f64,
    /// Where the last bin ends.
    pub to: f64,
    /// Area in each bin.
    pub areas: Vec<f64>,
    /// Area below the first bin.
    pub below: f64,
    /// Area above the last bin.
    pub above: f64,
}

impl Histogram {
    /// Sorts values, each with the area that it stands for, into `bins` bins. A value at a
    /// bin's upper end counts to the next, but for the last.
    pub fn of(weighted: &[(f64, f64)], [from, to]: [f64; 2], bins: usize) -> Self {
        let mut all = Self { from, to, areas: vec![0.0; bins], below: 0.0, above: 0.0 };
        for &(value, area) in weighted {
            let place = (value - from) / (to - from) * bins as f64;
            if value < from {
                all.below += area;
            } else if value > to {
                all.above += area;
            } else if place.is_finite() {
                all.areas[(place as usize).min(bins - 1)] += area;
            } else {
                // A range of one value.
                all.areas[0] += area;
            }
        }
        all
    }
}

/// The values below which these shares of the area lie. `weighted` is sorted by value.
pub(super) fn quantiles(weighted: &[(f64, f64)], shares: &[f64]) -> Vec<f64> {
    let total: f64 = weighted.iter().map(|w| w.1).sum();
    let (mut sum, mut next) = (0.0, 0);
    let mut found = Vec::with_capacity(shares.len());
    for &(value, area) in weighted {
        sum += area;
        while next < shares.len() && sum >= shares[next] * total {
            found.push(value);
            next += 1;
        }
    }
    // Rounding of the sum may leave the last share open.
    found.resize(
        if weighted.is_empty() { 0 } else { shares.len() },
        weighted.last().map_or(0.0, |w| w.0),
    );
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn histogram_keeps_all_of_the_area() {
        let all = [(-1.0, 2.0), (0.0, 1.0), (0.5, 4.0), (1.0, 8.0), (3.0, 16.0)];
        let found = Histogram::of(&all, [0.0, 1.0], 2);
        assert_eq!((found.below, found.above), (2.0, 16.0));
        assert_eq!(found.areas, [1.0, 12.0]);
        assert_eq!(Histogram::of(&[(2.0, 5.0)], [2.0, 2.0], 3).areas, [5.0, 0.0, 0.0]);
    }

    #[test]
    fn quantiles_weigh_by_area() {
        // Nine tenths of the area have 1, one tenth has 5.
        let all = [(1.0, 9.0), (5.0, 1.0)];
        assert_eq!(quantiles(&all, &[0.5, 0.9, 0.95]), [1.0, 1.0, 5.0]);
        assert!(quantiles(&[], &[0.5]).is_empty());
    }
}
