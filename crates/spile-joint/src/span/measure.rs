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
pub fn section_area(tube: &Mesh, plane: Plane, far: f64, heights: &mut Vec<f64>) -> f64 {
    heights.clear();
    heights.extend(tube.points().iter().map(|&p| (p - plane.point).dot(plane.normal)));
    let mut twice = DVec3::ZERO;
    for t in tube.triangles() {
        let h = t.map(|v| heights[v as usize]);
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
            let (p, q) = (tube.points()[t[k] as usize], tube.points()[t[l] as usize]);
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
    let mut heights = Vec::new();
    let u = plane.normal.any_orthonormal_vector();
    let v = plane.normal.cross(u);
    let most = most_deg.to_radians().tan();
    let normal = |x: f64, y: f64| (plane.normal + u * x + v * y).normalize();
    let mut best = (0.0, 0.0, f64::INFINITY);
    let mut try_at = |x: f64, y: f64, best: &mut (f64, f64, f64)| {
        if x.hypot(y) > most {
            return false;
        }
        let area = section_area(
            tube,
            Plane { point: plane.point, normal: normal(x, y) },
            far,
            &mut heights,
        );
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
