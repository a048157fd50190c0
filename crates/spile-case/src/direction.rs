//! Directions: unit vectors that come out the same each time they are read.

use crate::Vec3;

/// A length this near 1 is 1 already. Normalising leaves a length within about
/// two roundings of 1, so a direction that was normalised once stays as it is.
const UNIT_ROUNDING: f64 = 4.0 * f64::EPSILON;

/// The unit vector along `v`, or `None` if `v` is zero or not finite.
///
/// A vector that is already of unit length up to rounding comes back bit for
/// bit, so that writing and reading a case changes nothing.
pub fn unit_direction(v: Vec3) -> Option<Vec3> {
    let largest = v.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
    if largest == 0.0 || v.iter().any(|x| !x.is_finite()) {
        return None;
    }
    if (length(v) - 1.0).abs() <= UNIT_ROUNDING {
        return Some(v);
    }
    // Scaled first, so that no square overflows or vanishes.
    let scaled = v.map(|x| x / largest);
    let by = length(scaled);
    Some(scaled.map(|x| x / by))
}

fn length([x, y, z]: Vec3) -> f64 {
    (x * x + y * y + z * z).sqrt()
}

#[cfg(test)]
mod tests {
    use super::unit_direction;

    #[test]
    fn scales_any_length_without_overflow() {
        for size in [1e-300, 1e-20, 1.0, 5.0, 1e20, 1e300] {
            // Closed form: a 3-4-5 triangle.
            let unit = unit_direction([3.0 * size, 0.0, -4.0 * size]).unwrap();
            assert!((unit[0] - 0.6).abs() < 1e-15 && (unit[2] + 0.8).abs() < 1e-15, "{unit:?}");
        }
    }

    #[test]
    fn is_the_same_the_second_time() {
        for k in 0..2000 {
            let t = f64::from(k);
            let once = unit_direction([t.sin(), (2.7 * t).cos(), 0.3 + t]).unwrap();
            assert_eq!(unit_direction(once), Some(once));
        }
    }

    #[test]
    fn has_none_for_zero_and_not_finite() {
        assert_eq!(unit_direction([0.0, -0.0, 0.0]), None);
        assert_eq!(unit_direction([f64::NAN, 1.0, 0.0]), None);
        assert_eq!(unit_direction([f64::INFINITY, 1.0, 0.0]), None);
    }
}
