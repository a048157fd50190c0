//! A flat cylinder round a triangle: bounds the distance to it in a few operations,
//! from a third of the memory that its corners take.
//!
//! A box round a slanting triangle is nearly as thick as it is wide, so that of a smooth
//! surface far more boxes than triangles are as near as the nearest place. A cylinder
//! along the triangle's own normal is as thin as the triangle.

use glam::{DVec3, Vec3};

/// A cylinder that holds a triangle.
///
/// Invariant: with the stored numbers, whatever rounding made of them, no corner is
/// farther from the middle than `radius`, nor more than `thickness` off the plane through
/// it square to `normal`, whose length is zero or [`NORMAL_LENGTH`] but for rounding.
#[derive(Debug, Clone, Copy)]
pub(super) struct Disc {
    middle: Vec3,
    normal: Vec3,
    radius: f32,
    thickness: f32,
}

/// Length of the normal: heights by it are never longer than they are.
const NORMAL_LENGTH: f64 = 1.0 - 1e-6;
/// By how much the square of a height by that normal, rounded to `f32`, can fall short of the
/// height's, and more.
const HEIGHT_SQ: f64 = 1.0 + 4e-6;
/// What rounding to `f32` can take off a length, and more.
const LONGER: f64 = 1.0 + 1e-6;
/// Share of the squared distance from the middle by which a squared bound can be wrong, and
/// much more: some twenty operations.
const ERROR_SHARE: f64 = 1e-13;

impl Disc {
    pub(super) fn of(corners: [DVec3; 3]) -> Self {
        let [a, b, c] = corners;
        let normal = (b - a).cross(c - a).normalize_or_zero() * NORMAL_LENGTH;
        let (middle, normal) = (((a + b + c) / 3.0).as_vec3(), normal.as_vec3());
        let (m, n) = (middle.as_dvec3(), normal.as_dvec3());
        let far = corners.iter().map(|&p| p.distance(m)).fold(0.0, f64::max);
        let off = corners.iter().map(|&p| (p - m).dot(n).abs()).fold(0.0, f64::max);
        let up = |x: f64| (x * LONGER) as f32 + f32::MIN_POSITIVE;
        // A height is rounded in proportion to the distance, not to itself.
        Self { middle, normal, radius: up(far), thickness: up(off + 1e-15 * far) }
    }

    /// Whether the triangle is farther from `p` than the root of `limit_sq`, for certain;
    /// where numbers leave their range nothing is.
    pub(super) fn is_beyond(&self, p: DVec3, limit_sq: f64) -> bool {
        let from = p - self.middle.as_dvec3();
        let from_sq = from.length_squared();
        let height = from.dot(self.normal.as_dvec3());
        let off_plane = (height.abs() - f64::from(self.thickness)).max(0.0);
        let aside = (from_sq - height * height * HEIGHT_SQ).max(0.0).sqrt();
        let off_rim = (aside - f64::from(self.radius)).max(0.0);
        off_plane * off_plane + off_rim * off_rim - ERROR_SHARE * from_sq > limit_sq
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::triangle::offset_to_triangle;
    use crate::triangle::tests::corner;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4000))]

        /// Near and far off the triangle, near and far off the origin, flat and collapsed.
        #[test]
        fn a_triangle_is_never_nearer_than_its_disc(
            triangle in prop::array::uniform3(corner()),
            p in corner(),
            shift in prop_oneof![Just(0.0), Just(1e3), Just(-4e6)],
            size in prop_oneof![Just(1.0), Just(1e-30), Just(1e-4), Just(1e30)],
            away in prop_oneof![Just(1.0), Just(1e5)],
        ) {
            let place = |p: DVec3| (p + DVec3::splat(shift)) * size;
            let (triangle, p) = (triangle.map(place), place(p * away));
            let offset_sq = offset_to_triangle(p, triangle).0.length_squared();
            prop_assert!(!Disc::of(triangle).is_beyond(p, offset_sq));
        }
    }

    #[test]
    fn a_slanting_triangle_is_told_as_far_as_it_is() {
        // By hand: the plane x = z, and a place one off its middle along the normal.
        let triangle = [(0.1, 0.0), (-0.1, 0.1), (-0.1, -0.1)].map(|(x, y)| DVec3::new(x, y, x));
        let middle = triangle.iter().sum::<DVec3>() / 3.0;
        let p = middle + DVec3::new(1.0, 0.0, -1.0).normalize();
        let disc = Disc::of(triangle);
        assert!(disc.is_beyond(p, 0.9999) && !disc.is_beyond(p, 1.0));
        // Two to the side: as far as the rim, which its farthest corner is on.
        let aside = middle + 2.0 * DVec3::Y;
        let rim = triangle.iter().map(|c| c.distance(middle)).fold(0.0, f64::max);
        let far_sq = (2.0 - rim) * (2.0 - rim);
        assert!(disc.is_beyond(aside, 0.9999 * far_sq) && !disc.is_beyond(aside, far_sq));
    }

    #[test]
    fn beyond_the_range_of_numbers_nothing_is_far() {
        for size in [1e60, 1e200, 1e308] {
            let triangle = [DVec3::ZERO, DVec3::X, DVec3::Y].map(|p| p * size);
            assert!(!Disc::of(triangle).is_beyond(DVec3::splat(size), 0.5 * size));
        }
    }
}
