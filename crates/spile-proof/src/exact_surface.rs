//! How far a triangle lies from an exact surface, as bounds.
//!
//! The signed distance from a plane, cylinder, cone or sphere is convex: over a
//! triangle it is largest at a corner and nowhere below any of its tangent planes.
//! That from a torus is not; between its values at the corners it strays by no more
//! than its second derivative allows.

use spile_formats::step::StepSurface;
use spile_mesh::DVec3;

/// Least and greatest that the largest distance over a triangle can be, and where
/// the least is attained.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Off {
    pub bounds: [f64; 2],
    pub at: DVec3,
}

/// A place as an axis sees it.
struct Polar {
    /// Distance from the axis.
    radius: f64,
    /// Unit direction off the axis; zero on it.
    outward: DVec3,
    height: f64,
}

fn polar(p: DVec3, at: DVec3, axis: DVec3) -> Polar {
    let d = p - at;
    let height = d.dot(axis);
    let across = d - height * axis;
    Polar { radius: across.length(), outward: across.normalize_or_zero(), height }
}

/// Distance of `p` from a surface, above 0 on the side to which its own normal
/// leads, and the direction in which it grows.
pub(crate) fn signed(surface: &StepSurface, p: DVec3) -> (f64, DVec3) {
    match *surface {
        StepSurface::Plane { at, normal } => ((p - at).dot(normal), normal),
        StepSurface::Cylinder { at, axis, radius } => {
            let here = polar(p, at, axis);
            (here.radius - radius, here.outward)
        }
        StepSurface::Cone { at, axis, radius, half_angle_rad } => {
            let here = polar(p, at, axis);
            let (sine, cosine) = half_angle_rad.sin_cos();
            let off = (here.radius - radius) * cosine - here.height * sine;
            (off, here.outward * cosine - axis * sine)
        }
        StepSurface::Sphere { centre, radius } => {
            let d = p - centre;
            (d.length() - radius, d.normalize_or_zero())
        }
        StepSurface::Torus { centre, axis, ring, tube } => {
            let here = polar(p, centre, axis);
            let d = (here.radius - ring) * here.outward + here.height * axis;
            ((here.radius - ring).hypot(here.height) - tube, d.normalize_or_zero())
        }
    }
}

/// Bounds on the largest distance of the triangle `c` from a surface.
pub(crate) fn off(surface: &StepSurface, c: [DVec3; 3]) -> Off {
    let centre = (c[0] + c[1] + c[2]) / 3.0;
    let mut attained = (0.0, centre);
    for p in [c[0], c[1], c[2], centre] {
        let (here, _) = signed(surface, p);
        if here.abs() > attained.0 {
            attained = (here.abs(), p);
        }
    }
    let corners = c.map(|p| signed(surface, p).0);
    let greatest = corners.into_iter().fold(f64::NEG_INFINITY, f64::max);
    let hi = match *surface {
        StepSurface::Torus { centre: middle, axis, ring, tube } => {
            let wide = c.map(|p| p.distance(centre)).into_iter().fold(0.0, f64::max);
            // The distance from the circle in the tube's middle has curvatures of one
            // over itself and of at most one over the distance from the axis.
            let from_circle = tube + signed(surface, centre).0 - wide;
            let from_axis = (polar(centre, middle, axis).radius - wide).min(ring);
            let least = from_circle.min(from_axis);
            if least <= 0.0 {
                f64::INFINITY
            } else {
                let strays = 0.5 * wide * wide / least;
                corners.map(f64::abs).into_iter().fold(0.0, f64::max) + strays
            }
        }
        StepSurface::Cone { at, axis, radius, half_angle_rad }
            if c.iter().any(|&p| (p - at).dot(axis) * half_angle_rad.tan() < -radius) =>
        {
            // Beyond its tip the cone is not what its sides' planes say.
            f64::INFINITY
        }
        _ => {
            let (here, slope) = signed(surface, centre);
            let under = c.map(|p| here + slope.dot(p - centre));
            greatest.max(-under.into_iter().fold(f64::INFINITY, f64::min))
        }
    };
    Off { bounds: [attained.0, hi.max(attained.0)], at: attained.1 }
}

/// Bounds on the largest distance of any of `triangles` from its surface: pieces
/// whose bounds are too wide to matter no more are quartered. None without any.
pub(crate) fn farthest<'s>(
    triangles: impl Iterator<Item = (&'s StepSurface, [DVec3; 3])>,
) -> Option<Off> {
    let all: Vec<_> = triangles.map(|(surface, c)| (surface, c, off(surface, c))).collect();
    let mut most = all
        .iter()
        .map(|(_, _, off)| *off)
        .reduce(|a, b| if b.bounds[0] > a.bounds[0] { b } else { a })?;
    let mut hi = most.bounds[0];
    let mut stack: Vec<_> = all.into_iter().map(|(s, c, off)| (s, c, off, 0)).collect();
    while let Some((surface, c, here, depth)) = stack.pop() {
        if here.bounds[0] > most.bounds[0] {
            most = here;
        }
        let last = if here.bounds[1].is_finite() { DEEPEST } else { DEEPEST_UNBOUND };
        if here.bounds[1] <= WIDE_ENOUGH * most.bounds[0] || depth >= last {
            hi = hi.max(here.bounds[1]);
            continue;
        }
        let [x, y, z] = [c[0].midpoint(c[1]), c[1].midpoint(c[2]), c[2].midpoint(c[0])];
        for quarter in [[c[0], x, z], [x, c[1], y], [z, y, c[2]], [x, y, z]] {
            stack.push((surface, quarter, off(surface, quarter), depth + 1));
        }
    }
    Some(Off { bounds: [most.bounds[0], hi.max(most.bounds[0])], ..most })
}

/// The upper bound is told to this share over the lower.
const WIDE_ENOUGH: f64 = 1.05;
/// Where bounds do not close, as where all distances are rounding, the upper one
/// stands after so many rounds.
const DEEPEST: u32 = 12;
/// Where there is no upper bound at all, none is hoped for after so many.
const DEEPEST_UNBOUND: u32 = 5;

#[cfg(test)]
mod tests {
    use super::*;

    fn of(surface: StepSurface, c: [DVec3; 3]) -> [f64; 2] {
        farthest([(&surface, c)].into_iter()).map_or([f64::NAN; 2], |off| off.bounds)
    }

    /// Closed form: a strip with both edges on the cylinder lies farthest in the
    /// middle, by r (1 - cos(half angle)); of a cone by that times the cosine of its
    /// half angle, at its wide end.
    #[test]
    fn strips_on_cylinders_and_cones_are_off_by_their_sagitta() {
        let (r, half) = (9.0, 0.1_f64);
        let at = |r: f64, a: f64, z: f64| DVec3::new(r * a.cos(), r * a.sin(), z);
        let cylinder = StepSurface::Cylinder { at: DVec3::ZERO, axis: DVec3::Z, radius: r };
        let found = of(cylinder, [at(r, -half, 0.0), at(r, half, 0.0), at(r, half, 25.0)]);
        let sagitta = r * (1.0 - half.cos());
        assert!(found[0] <= sagitta + 1e-12 && sagitta <= found[1] + 1e-12, "{found:?}");
        assert!(found[1] <= 1.06 * sagitta, "{found:?}");
        let angle = 0.3_f64;
        let cone =
            StepSurface::Cone { at: DVec3::ZERO, axis: DVec3::Z, radius: r, half_angle_rad: angle };
        let wide = r + 5.0 * angle.tan();
        let found = of(cone, [at(wide, half, 5.0), at(wide, -half, 5.0), at(r, -half, 0.0)]);
        let sagitta = wide * (1.0 - half.cos()) * angle.cos();
        assert!(found[0] <= sagitta + 1e-12 && sagitta <= found[1] + 1e-12, "{found:?}");
        assert!(found[1] <= 1.06 * sagitta, "{found:?}");
    }

    /// Sampled densely, no place of a triangle is farther than the upper bound says,
    /// and some place is as far as the lower one.
    #[test]
    fn bounds_hold_what_samples_find() {
        let axis = DVec3::new(2.0, -1.0, 2.0) / 3.0;
        let at = DVec3::new(1.0, 2.0, 3.0);
        let surfaces = [
            StepSurface::Plane { at, normal: axis },
            StepSurface::Cylinder { at, axis, radius: 4.0 },
            StepSurface::Cone { at, axis, radius: 20.0, half_angle_rad: 0.4 },
            StepSurface::Sphere { centre: at, radius: 5.0 },
            StepSurface::Torus { centre: at, axis, ring: 6.0, tube: 2.0 },
        ];
        // An even spread of places without chance: fractions of irrationals.
        let place = |k: u32| {
            let part = |x: f64| ((f64::from(k) * x).fract() - 0.5) * 16.0;
            DVec3::new(part(0.618_034), part(0.414_214), part(0.732_051))
        };
        for surface in surfaces {
            for k in 0..40 {
                // Beside the surface, where triangles of it are.
                let near = |p: DVec3| {
                    let (off, slope) = signed(&surface, p);
                    p - 0.98 * off * slope
                };
                let a = near(place(3 * k));
                let c = [a, near(a + 0.1 * place(3 * k + 1)), near(a + 0.1 * place(3 * k + 2))];
                let [lo, hi] = of(surface, c);
                let mut most = 0.0_f64;
                for i in 0..=40 {
                    for j in 0..=40 - i {
                        let (s, t) = (f64::from(i) / 40.0, f64::from(j) / 40.0);
                        let p = c[0] + s * (c[1] - c[0]) + t * (c[2] - c[0]);
                        most = most.max(signed(&surface, p).0.abs());
                    }
                }
                assert!(most <= hi + 1e-12, "{surface:?} {c:?}: {most} over {hi}");
                assert!(lo <= 1.02 * most + 1e-9, "{surface:?}: {lo} and {most}");
                assert!(hi <= 1.1 * most + 1e-9, "{surface:?}: {hi} and {most}");
            }
        }
    }

    #[test]
    fn beyond_the_tip_of_a_cone_nothing_is_near_it() {
        let cone = StepSurface::Cone {
            at: DVec3::ZERO,
            axis: DVec3::Z,
            radius: 1.0,
            half_angle_rad: 0.01,
        };
        let beyond = DVec3::new(0.0, 0.0, -101.0);
        assert_eq!(of(cone, [beyond; 3])[1], f64::INFINITY);
    }
}
