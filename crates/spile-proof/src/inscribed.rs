//! The largest circle inside a flow section, with certified bounds.

use crate::flow_section::{distance_to_outline, is_inside};

/// The largest inscribed circle: a centre, and bounds of the radius.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inscribed {
    /// A centre whose clearance is `lo`.
    pub centre: [f64; 2],
    /// Clearance of that centre.
    pub lo: f64,
    /// No centre has more clearance than this.
    pub hi: f64,
}

/// Cells examined at most; what is left open then stays in the bounds.
const CELLS_MOST: usize = 4000;

/// The largest circle inside the outlines' even-odd inside, to `gap`.
///
/// Branch and bound on squares: the clearance changes no faster than the centre
/// moves, so a square's best is its middle's clearance plus half its diagonal.
/// None for outlines without inside.
pub fn inscribed_circle(outlines: &[Vec<[f64; 2]>], gap: f64) -> Option<Inscribed> {
    let clearance = |p: [f64; 2]| {
        let inside = outlines.iter().fold(false, |inside, o| inside != is_inside(p, o));
        let distance =
            outlines.iter().map(|o| distance_to_outline(p, o)).fold(f64::INFINITY, f64::min);
        if inside { distance } else { -distance }
    };
    let all = || outlines.iter().flatten();
    let min = all().fold([f64::INFINITY; 2], |m, p| [m[0].min(p[0]), m[1].min(p[1])]);
    let max = all().fold([f64::NEG_INFINITY; 2], |m, p| [m[0].max(p[0]), m[1].max(p[1])]);
    let half = 0.5 * (max[0] - min[0]).max(max[1] - min[1]);
    if !(half.is_finite() && half > 0.0) {
        return None;
    }
    let middle = [0.5 * (min[0] + max[0]), 0.5 * (min[1] + max[1])];
    let mut cells = std::collections::BinaryHeap::new();
    let mut best = Inscribed { centre: middle, lo: clearance(middle), hi: f64::INFINITY };
    cells.push(Cell { hi: best.lo + half * std::f64::consts::SQRT_2, middle, half });
    for _ in 0..CELLS_MOST {
        let Some(cell) = cells.pop() else { break };
        if cell.hi <= best.lo + gap {
            best.hi = cell.hi;
            break;
        }
        best.hi = cell.hi;
        let half = 0.5 * cell.half;
        for (x, y) in [(-half, -half), (half, -half), (-half, half), (half, half)] {
            let middle = [cell.middle[0] + x, cell.middle[1] + y];
            let d = clearance(middle);
            if d > best.lo {
                (best.centre, best.lo) = (middle, d);
            }
            cells.push(Cell { hi: d + half * std::f64::consts::SQRT_2, middle, half });
        }
    }
    best.hi = best.hi.max(best.lo);
    (best.lo > 0.0).then_some(best)
}

/// A square of possible centres.
#[derive(Debug, Clone, Copy)]
struct Cell {
    hi: f64,
    middle: [f64; 2],
    half: f64,
}

impl PartialEq for Cell {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Cell {}

impl PartialOrd for Cell {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Cell {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.hi.total_cmp(&other.hi))
            .then(self.middle[0].total_cmp(&other.middle[0]))
            .then(self.middle[1].total_cmp(&other.middle[1]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(n: usize, r: f64, centre: [f64; 2]) -> Vec<[f64; 2]> {
        (0..n)
            .map(|i| std::f64::consts::TAU * i as f64 / n as f64)
            .map(|a| [centre[0] + r * a.cos(), centre[1] + r * a.sin()])
            .collect()
    }

    #[test]
    fn regular_polygon_has_its_apothem() {
        // Closed form: r cos(pi / n).
        let found = inscribed_circle(&[circle(32, 9.0, [3.0, -7.0])], 1e-4).unwrap();
        let apothem = 9.0 * (std::f64::consts::PI / 32.0).cos();
        assert!(found.lo <= apothem + 1e-12 && apothem <= found.hi + 1e-12);
        assert!(found.hi - found.lo <= 1e-4);
    }

    #[test]
    fn lens_of_two_shifted_circles() {
        // check-values C17-2: two circles r = 9 shifted by 2 leave a ball of 16.
        let arc = |centre: f64, from: f64, to: f64| {
            (0..2000)
                .map(move |i| from + (to - from) * i as f64 / 2000.0)
                .map(move |a| [centre + 9.0 * a.cos(), 9.0 * a.sin()])
        };
        let half = (1.0_f64 / 9.0).acos();
        let pi = std::f64::consts::PI;
        let lens: Vec<[f64; 2]> =
            arc(-1.0, -half, half).chain(arc(1.0, pi - half, pi + half)).collect();
        let found = inscribed_circle(&[lens], 1e-4).unwrap();
        assert!(2.0 * found.lo <= 16.0 && 2.0 * found.hi >= 16.0 - 1e-4);
        assert!((2.0 * found.lo - 16.0).abs() < 1e-3);
    }

    #[test]
    fn an_island_takes_its_room() {
        // Closed form: between circles of 9 and 3 with one centre, a ball of 6.
        let ring = [circle(720, 9.0, [0.0, 0.0]), circle(720, 3.0, [0.0, 0.0])];
        let found = inscribed_circle(&ring, 1e-3).unwrap();
        assert!((2.0 * found.lo - 6.0).abs() < 5e-3);
    }

    #[test]
    fn nothing_has_no_circle() {
        assert_eq!(inscribed_circle(&[], 1e-3), None);
        assert_eq!(inscribed_circle(&[vec![[1.0, 1.0]; 4]], 1e-3), None);
    }
}
