//! How much more a side of the joint bends than it would without limits.

use spile_case::JointShape;

use crate::least_squares::SolveError;

use super::energy::Radii;
use super::{Grid, Led, SeamLoop, Way};

/// The thin-plate energy of a side of the joint, beside the least there is.
///
/// Both are the integral of the squared second derivatives of the radii over the
/// side, which has no unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bending {
    /// Of the side as it was made.
    pub made: f64,
    /// The least between the same seam and circle, with the same tangents and the
    /// same points facing each other, no limit acting.
    pub free: f64,
}

/// Second differences of radii carry their rounding, which squared and summed over
/// ten thousand cells stays under this.
const NOTHING: f64 = 1e-18;

impl Bending {
    /// Of a side as it was made; `seam`, `radius` and `edge` are those of its span.
    ///
    /// The made side's points are read as radii on the rays of the span; what
    /// moved them along the surface afterwards counts as far as it moved them out.
    ///
    /// # Errors
    /// [`SolveError`] when the linear system cannot be solved.
    pub fn of(
        grid: &Grid,
        way: &Way,
        seam: &SeamLoop,
        radius: f64,
        edge: f64,
        led: &Led<'_>,
    ) -> Result<Self, SolveError> {
        let led = Led { shape: JointShape::Tangent, ..*led };
        let radii = Radii::new(way, seam, radius, edge, &led);
        let free = radii.solve(&[])?;
        Ok(Self { made: radii.energy(&radii.read(grid)), free: radii.energy(&free) })
    }

    /// How many times the least it is; none where the least is nothing but
    /// rounding, as between equal circles in line.
    pub fn ratio(&self) -> Option<f64> {
        (self.free > NOTHING).then(|| self.made / self.free)
    }

    /// Whether it bends more than this many times the least.
    pub fn is_over(&self, times: f64) -> bool {
        self.made > times * self.free.max(NOTHING)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::span::tests::{LENGTH, circle, straight};
    use crate::span::{KeepOut, SpanLimits, span_outside};
    use spile_case::JointGuide;
    use spile_mesh::Bvh;
    use std::f64::consts::TAU;

    /// A cubic from one radius to another, level at both ends, is the least:
    /// the integral of its squared second derivative is 12 d^2 / L^3, times the
    /// circumference that the energy is taken over (the fitting's).
    #[test]
    fn between_circles_in_line_it_is_the_cubics() {
        let rise = crate::span::area_true_radius(6.0, 48) - 5.5;
        let right = 12.0 * rise.powi(2) / LENGTH.powi(3) * TAU * 6.0;
        let mut off = Vec::new();
        for edge in [0.12, 0.06] {
            let seam = circle(5.5);
            let radii = Radii::new(&straight(), &seam, 6.0, edge, &Led::FREELY);
            let grid = radii.grid(&radii.solve(&[]).unwrap());
            let found = Bending::of(&grid, &straight(), &seam, 6.0, edge, &Led::FREELY).unwrap();
            off.push(found.free / right - 1.0);
            assert!((found.ratio().unwrap() - 1.0).abs() < 1e-9, "{found:?}");
        }
        // Sums in place of integrals: an error of the second order.
        assert!(off[0].abs() < 1e-3 && off[1].abs() < 0.3 * off[0].abs(), "{off:?}");
    }

    #[test]
    fn equal_circles_in_line_have_no_ratio() {
        // With the room that the fitting's corners have for rounding.
        let room = LENGTH * f64::from(f32::EPSILON);
        let seam = circle(crate::span::area_true_radius(6.0, 48) + room);
        let radii = Radii::new(&straight(), &seam, 6.0, 0.5, &Led::FREELY);
        let grid = radii.grid(&radii.solve(&[]).unwrap());
        let found = Bending::of(&grid, &straight(), &seam, 6.0, 0.5, &Led::FREELY).unwrap();
        assert_eq!(found.ratio(), None, "{found:?}");
    }

    /// A wall that the plate has by itself costs nothing; one that it has to be
    /// pushed out for costs bending.
    #[test]
    fn a_wall_that_is_not_there_costs_bending() {
        let seam = circle(5.5);
        let bore = Bvh::build(&{
            let radii = Radii::new(&straight(), &circle(4.0), 4.5, 0.5, &Led::FREELY);
            radii.grid(&radii.solve(&[]).unwrap()).mesh(true)
        });
        let ratio = |wall: f64| {
            let limits = SpanLimits {
                area_min: 0.0,
                area_loss_share: 1.0,
                wall_min: &|_| wall,
                wall_most: wall,
                wall_room: 0.02,
                clear: KeepOut::NONE,
                edge: 0.5,
                led: Led::FREELY,
                wall: &JointGuide::default(),
                stop: spile_mesh::NEVER_STOP,
            };
            let grid = span_outside(&straight(), &seam, 6.0, &bore, &limits).unwrap();
            Bending::of(&grid, &straight(), &seam, 6.0, 0.5, &Led::FREELY).unwrap().ratio().unwrap()
        };
        assert!((ratio(1.2) - 1.0).abs() < 1e-9, "{}", ratio(1.2));
        assert!(ratio(1.8) > 1.5, "{}", ratio(1.8));
    }
}
