//! Folds of the scan, triangles turned over, where the border of reach would run into them.

use std::collections::BTreeSet;

use crate::angles::sharpest_round;
use crate::cut::CutSide;
use crate::reach::reached_from;
use crate::surface::Scan;

/// A scan's edge sharper than this is where a triangle is turned over: more than any
/// crease of a part that can be printed, and than noise on sound triangles.
const FOLD_DEG: f64 = 100.0;

/// How many times a ring of triangles round such an edge may be left to the scan.
const FOLD_ROUNDS: usize = 4;

/// `whole` without the triangles round folds of the scan that its border runs into.
///
/// New triangles that end at a fold take on some of it, and may come out sharper than
/// what stood there; left to the scan, the fold stays what it was. Where the border
/// would not get clear of it (a crease that runs on out of reach, a fold at the cut)
/// nothing is left out.
pub fn clear_of_folds(scan: &Scan, cut: &CutSide, whole: Vec<u32>) -> Vec<u32> {
    let is_cut =
        |t: &u32| cut.crossed.binary_search(t).is_ok() || cut.removed.binary_search(t).is_ok();
    let mut left = whole.clone();
    for _ in 0..=FOLD_ROUNDS {
        let is_left = |t: &u32| left.binary_search(t).is_ok();
        let mut folded: Vec<u32> = left
            .iter()
            .flat_map(|&t| scan.mesh.triangles()[t as usize])
            .filter(|&v| scan.fans.of(v).iter().any(|t| !is_left(t) && !is_cut(t)))
            .collect();
        folded.sort_unstable();
        folded.dedup();
        folded.retain(|&v| sharpest_round(scan, v) > FOLD_DEG);
        if folded.is_empty() {
            return if left.len() == whole.len() {
                whole
            } else {
                reached_from(scan, &cut.crossed, &left)
            };
        }
        let round: BTreeSet<u32> = folded.iter().flat_map(|&v| scan.fans.of(v)).copied().collect();
        if round.iter().any(is_cut) {
            return whole;
        }
        left.retain(|t| !round.contains(t));
    }
    whole
}

#[cfg(test)]
mod tests {
    use spile_mesh::{DVec3, Mesh};

    use super::*;

    /// Ten by ten squares of side 1 in a plane, each two triangles, with some points
    /// elsewhere; the cut is through the first row.
    fn sheet(moved: &[(u32, DVec3)]) -> (Scan, CutSide) {
        let mut points: Vec<DVec3> =
            (0..121).map(|k| DVec3::new(f64::from(k % 11), f64::from(k / 11), 0.0)).collect();
        moved.iter().for_each(|&(v, to)| points[v as usize] = to);
        let squares = (0..100).map(|k| 11 * (k / 10) + k % 10);
        let triangles = squares.flat_map(|a| [[a, a + 1, a + 12], [a, a + 12, a + 11]]).collect();
        let scan = Scan::of(&[Mesh::new(points, triangles).unwrap()]);
        (scan, CutSide { crossed: (0..20).collect(), ..CutSide::default() })
    }

    /// The sharpest edge that ends where some triangles meet others that are not cut.
    fn sharpest_at_border(scan: &Scan, cut: &CutSide, whole: &[u32]) -> f64 {
        let is_border = |&v: &u32| {
            let round = scan.fans.of(v);
            let inside = |t: &u32| whole.contains(t);
            round.iter().any(inside) && round.iter().any(|t| !inside(t) && !cut.crossed.contains(t))
        };
        let border = (0..121).filter(is_border);
        border.map(|v| sharpest_round(scan, v)).fold(0.0, f64::max)
    }

    #[test]
    fn a_triangle_turned_over_at_the_border_is_left_to_the_scan() {
        // The point (5, 6) drawn over the edge across from it.
        let (scan, cut) = sheet(&[(11 * 6 + 5, DVec3::new(6.5, 6.3, 0.2))]);
        let whole: Vec<u32> = (20..140).collect();
        assert!(sharpest_at_border(&scan, &cut, &whole) > FOLD_DEG);
        let left = clear_of_folds(&scan, &cut, whole.clone());
        assert!(sharpest_at_border(&scan, &cut, &left) < FOLD_DEG);
        assert!(left.iter().all(|t| whole.contains(t)));
        // A fold takes its surroundings with it and no more.
        assert!((80..whole.len()).contains(&left.len()), "{} left", left.len());
    }

    #[test]
    fn a_crease_that_runs_on_keeps_the_border_where_it_was() {
        // Everything right of x = 5 folded back over what is left of it.
        let moved: Vec<(u32, DVec3)> = (0..121)
            .filter(|k| k % 11 > 5)
            .map(|k| (k, DVec3::new(10.0 - f64::from(k % 11), f64::from(k / 11), 0.4)))
            .collect();
        let (scan, cut) = sheet(&moved);
        let whole: Vec<u32> = (20..140).collect();
        assert!(sharpest_at_border(&scan, &cut, &whole) > FOLD_DEG);
        assert_eq!(clear_of_folds(&scan, &cut, whole.clone()), whole);
    }

    #[test]
    fn a_sheet_without_folds_is_lifted_as_it_was() {
        let (scan, cut) = sheet(&[(11 * 6 + 5, DVec3::new(5.2, 6.1, 0.4))]);
        let whole: Vec<u32> = (20..140).collect();
        assert_eq!(clear_of_folds(&scan, &cut, whole.clone()), whole);
    }
}
