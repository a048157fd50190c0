//! Regions that the outside keeps out of.

use spile_case::Clear;
use spile_mesh::DVec3;

/// Regions, and how far off them the surface is to stay where it is measured.
#[derive(Clone, Copy)]
pub struct KeepOut<'a> {
    /// The regions.
    pub regions: &'a [Clear],
    /// How far off.
    pub room: f64,
}

impl KeepOut<'_> {
    /// No region.
    pub const NONE: KeepOut<'static> = KeepOut { regions: &[], room: 0.0 };

    /// How far one can go from `from` in the unit direction `out` before the
    /// first region, less the room; none where none is met, and none where
    /// `from` itself is too near: there no radius would do.
    pub fn most(&self, from: DVec3, out: DVec3) -> Option<f64> {
        let entries = self.regions.iter().filter_map(|region| match region {
            Clear::Ball(ball) => {
                let (to, radius) = (DVec3::from(ball.at) - from, ball.radius + self.room);
                let (along, beyond) = (to.dot(out), to.length_squared() - radius * radius);
                let depth_sq = along * along - beyond;
                (beyond > 0.0 && along > 0.0 && depth_sq > 0.0).then(|| along - depth_sq.sqrt())
            }
            Clear::Box { min, max } => {
                let (min, max) = (DVec3::from(*min) - self.room, DVec3::from(*max) + self.room);
                let [a, b] = [min, max].map(|corner| (corner - from) / out);
                let (first, last) = (a.min(b).max_element(), a.max(b).min_element());
                (first > 0.0 && first <= last).then_some(first)
            }
        });
        entries.reduce(f64::min)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use spile_case::Ball;

    #[test]
    fn a_ray_is_stopped_before_the_first_region() {
        let ball = |x: f64, radius: f64| Clear::Ball(Ball { at: [x, 0.0, 0.0], radius });
        let most = |regions: &[Clear], out: DVec3| {
            KeepOut { regions, room: 0.5 }.most(DVec3::new(0.0, 0.3, 0.0), out)
        };
        // Pythagoras: 0.3 off the middle of a ball of 2.5.
        let found = most(&[ball(10.0, 2.0), ball(20.0, 2.0)], DVec3::X).unwrap();
        assert!((found - (10.0 - (2.5f64.powi(2) - 0.09).sqrt())).abs() < 1e-12);
        assert_eq!(most(&[ball(10.0, 2.0)], -DVec3::X), None);
        assert_eq!(most(&[ball(1.0, 2.0)], DVec3::X), None);
        let block = Clear::Box { min: [4.0, -1.0, -1.0], max: [6.0, 1.0, 1.0] };
        assert_eq!(most(&[block, ball(10.0, 2.0)], DVec3::X), Some(3.5));
        assert_eq!(most(&[block], DVec3::Y), None);
    }
}
