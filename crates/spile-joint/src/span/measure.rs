//! Bore area in true sections, as the making side sees it. The proof measures
//! again by code of its own.

use spile_mesh::{DVec3, Mesh, Plane};

/// The least section area found over tilts of a plane.
#[derive(Debug, Clone, Copy)]
pub struct LeastSection {
    /// The least area.
    pub area: f64,
    /// Normal of the plane where it was found.
    pub normal: DVec3,
}

/// The area that `tube` has in the plane within `far` of the plane's point:
/// half the sum of the cross products of its section's segments. The tube must
/// cross the plane there in one closed loop.
pub fn section_area(tube: &Mesh, plane: Plane, far: f64) -> f64 {
    Slab { triangles: (0..tube.triangles().len()).map(|t| tube.corners(t)).collect() }
        .area(plane, far)
}

/// The triangles of a tube that some plane of a family can cross.
struct Slab {
    triangles: Vec<[DVec3; 3]>,
}

impl Slab {
    /// The triangles that a plane through `plane.point`, tilted by up to
    /// `most_deg` against `plane`, can cross: a point higher over the plane than
    /// its distance from the axis times that tilt's tangent is above all of them.
    fn of(tube: &Mesh, plane: Plane, most_deg: f64) -> Self {
        // A little more than the tilts that are tried.
        let steep = most_deg.to_radians().tan() * (1.0 + 1e-6);
        let side: Vec<i8> = tube
            .points()
            .iter()
            .map(|&p| {
                let d = p - plane.point;
                let height = d.dot(plane.normal);
                let most = steep * (d - plane.normal * height).length();
                if height > most {
                    1
                } else if height < -most {
                    -1
                } else {
                    0
                }
            })
            .collect();
        let is_crossed = |t: &[u32; 3]| {
            let [a, b, c] = t.map(|v| side[v as usize]);
            a == 0 || a != b || a != c
        };
        let triangles = tube.triangles().iter().enumerate();
        let triangles =
            triangles.filter(|(_, t)| is_crossed(t)).map(|(t, _)| tube.corners(t)).collect();
        Self { triangles }
    }

    /// See [`section_area`].
    fn area(&self, plane: Plane, far: f64) -> f64 {
        let mut twice = DVec3::ZERO;
        for corners in &self.triangles {
            let h = corners.map(|p| (p - plane.point).dot(plane.normal));
            let above = h.map(|x| x >= 0.0);
            if above[0] == above[1] && above[1] == above[2] {
                continue;
            }
            // From the edge where the outline goes down to where it comes up.
            let (mut down, mut up) = (DVec3::ZERO, DVec3::ZERO);
            for k in 0..3 {
                let l = (k + 1) % 3;
                if above[k] == above[l] {
                    continue;
                }
                let (p, q) = (corners[k], corners[l]);
                let at = p + (q - p) * (h[k] / (h[k] - h[l])) - plane.point;
                if above[k] { down = at } else { up = at }
            }
            // Other branches cross the plane further away.
            if down.length_squared() < far * far {
                twice += down.cross(up);
            }
        }
        0.5 * twice.dot(plane.normal).abs()
    }
}

/// The least area over planes through `plane.point` tilted by up to
/// `most_deg`; where it is found at that bound, by up to 40 degrees.
///
/// A search (rings of directions, then steps that halve), not a bound.
pub fn least_section(tube: &Mesh, plane: Plane, far: f64, most_deg: f64) -> LeastSection {
    let found = least_within(tube, plane, far, most_deg);
    let at_bound = found.normal.dot(plane.normal) < (most_deg - 0.5).to_radians().cos();
    if at_bound && most_deg < 40.0 { least_within(tube, plane, far, 40.0) } else { found }
}

/// Rings of directions that are tried before the steps.
const RINGS: u32 = 4;

/// The least area over planes through `plane.point` tilted by up to `most_deg`
/// and no further. A search, not a bound.
pub fn least_within(tube: &Mesh, plane: Plane, far: f64, most_deg: f64) -> LeastSection {
    let slab = Slab::of(tube, plane, most_deg);
    let u = plane.normal.any_orthonormal_vector();
    let v = plane.normal.cross(u);
    let most = most_deg.to_radians().tan();
    let normal = |x: f64, y: f64| (plane.normal + u * x + v * y).normalize();
    let mut best = (0.0, 0.0, f64::INFINITY);
    let try_at = |x: f64, y: f64, best: &mut (f64, f64, f64)| {
        if x.hypot(y) > most {
            return false;
        }
        let area = slab.area(Plane { point: plane.point, normal: normal(x, y) }, far);
        // A plane that leaves the given triangles crosses nothing.
        if area > 0.0 && area < best.2 {
            *best = (x, y, area);
            return true;
        }
        false
    };
    try_at(0.0, 0.0, &mut best);
    for ring in 1..=RINGS {
        for k in 0..12 {
            let a = (f64::from(k) + 0.5 * f64::from(ring)) * std::f64::consts::FRAC_PI_6;
            let r = most * f64::from(ring) / f64::from(RINGS);
            try_at(r * a.cos() * 0.999, r * a.sin() * 0.999, &mut best);
        }
    }
    let mut step = most / 8.0;
    while step > 0.004 {
        let (x, y) = (best.0, best.1);
        let moved = [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)]
            .into_iter()
            .fold(false, |m, (dx, dy)| try_at(x + dx, y + dy, &mut best) || m);
        if !moved {
            step /= 2.0;
        }
    }
    LeastSection { area: best.2, normal: normal(best.0, best.1) }
}
