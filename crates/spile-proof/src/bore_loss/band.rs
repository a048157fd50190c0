//! The least section, and the greatest loss, between two stations: exact, since
//! the area is a piecewise quadratic ([`profile`]).

use super::profile::{Band, profile};
use crate::flow_section::BoreSurface;

/// A value attained in a band, and the height of its plane over the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attained {
    /// The area, or the share that is lost.
    pub value: f64,
    /// Height over the band's first plane.
    pub height: f64,
}

/// The least open area over all planes of the band, exactly in these planes.
///
/// # Errors
/// The height of a plane without a closed section.
pub fn least_in_band(bore: &BoreSurface, band: &Band) -> Result<Attained, f64> {
    let mut least = Attained { value: f64::INFINITY, height: 0.0 };
    for piece in profile(bore, band, &|_| true) {
        let middle = 0.5 * (piece.from + piece.to);
        let area = piece.quadratic(piece.from, piece.to).ok_or(middle)?;
        for x in turning_points(area) {
            let value = value(area, x);
            if value < least.value {
                least = Attained { value, height: piece.from + x * (piece.to - piece.from) };
            }
        }
    }
    if least.value.is_finite() { Ok(least) } else { Err(0.0) }
}

/// The greatest share of area lost from `scan` to `part` (1 - part / scan) over
/// all planes of the band in which every triangle of the scan's loop is
/// `wanted`, exactly in these planes. None: there is no such plane.
///
/// # Errors
/// The height of a plane where the scan has such a section and the part none.
pub fn loss_in_band(
    scan: &BoreSurface,
    part: &BoreSurface,
    band: &Band,
    wanted: &dyn Fn(u32) -> bool,
) -> Result<Option<Attained>, f64> {
    let before = profile(scan, band, wanted);
    let after = profile(part, band, &|_| true);
    let mut worst: Option<Attained> = None;
    let (mut i, mut j) = (0, 0);
    while i < before.len() && j < after.len() {
        let (old, new) = (&before[i], &after[j]);
        let (low, high) = (old.from.max(new.from), old.to.min(new.to));
        if high > low
            && old.is_wanted
            && let Some(old) = old.quadratic(low, high)
        {
            let new = new.quadratic(low, high).ok_or(0.5 * (low + high))?;
            for x in turning_points_of_ratio(new, old) {
                let lost = 1.0 - value(new, x) / value(old, x);
                if worst.is_none_or(|w| lost > w.value) {
                    worst = Some(Attained { value: lost, height: low + x * (high - low) });
                }
            }
        }
        if old.to <= new.to {
            i += 1;
        } else {
            j += 1;
        }
    }
    Ok(worst)
}

fn value([a, b, c]: [f64; 3], x: f64) -> f64 {
    a + x * (b + x * c)
}

/// Both ends and where the slope is zero between them.
fn turning_points([_, b, c]: [f64; 3]) -> Vec<f64> {
    within_ends([-b / (2.0 * c)])
}

/// Both ends and where p / q has slope zero between them: the cubic terms of the
/// quotient rule cancel, and a quadratic is left.
fn turning_points_of_ratio(p: [f64; 3], q: [f64; 3]) -> Vec<f64> {
    let two = p[2] * q[1] - p[1] * q[2];
    let one = 2.0 * (p[2] * q[0] - p[0] * q[2]);
    let none = p[1] * q[0] - p[0] * q[1];
    // The two roots without cancellation: r / two and none / r.
    let root = (one * one - 4.0 * two * none).sqrt();
    let r = -0.5 * (one + root.copysign(one));
    within_ends([r / two, none / r])
}

fn within_ends<const K: usize>(roots: [f64; K]) -> Vec<f64> {
    let mut all = vec![0.0, 1.0];
    all.extend(roots.into_iter().filter(|x| *x > 0.0 && *x < 1.0));
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turning_points_of_a_parabola_and_a_ratio() {
        // (x - 0.25)^2 + 1 turns at 0.25; over the constant 2 as well.
        let p = [1.0625, -0.5, 1.0];
        assert_eq!(turning_points(p), [0.0, 1.0, 0.25]);
        assert_eq!(turning_points_of_ratio(p, [2.0, 0.0, 0.0])[2..], [0.25]);
        // (1 + x) / (1 + x^2) turns where x^2 + 2 x = 1.
        let turning = turning_points_of_ratio([1.0, 1.0, 0.0], [1.0, 0.0, 1.0]);
        assert!((turning[2] - (2.0_f64.sqrt() - 1.0)).abs() < 1e-12, "{turning:?}");
    }
}
