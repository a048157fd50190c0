//! What refining and fairing took of bore area and wall, given back.
//!
//! Chords cut corners: on the bore they narrow it, on the outside they thin the
//! wall. Both effects are small, but the limits are, too. Bore points are moved
//! outward where a section lost area, outside points away from the bore where
//! the wall lost thickness.

use spile_mesh::{Bvh, DVec3, Mesh, Plane, vertex_triangles};

use crate::fair::point_normals;
use crate::reach::Band;
use crate::span::{joined, section_area};

/// The bore band widened so that no section square to `facing` has lost more
/// than `share` of the area that the scan has there.
///
/// `kept` is the scan's bore beyond the band, `before` the band as scanned; all
/// face away from the bore's line.
pub fn widen(
    band: &Band,
    before: &Mesh,
    kept: &Mesh,
    start: DVec3,
    facing: DVec3,
    share: f64,
) -> Band {
    let depth_of = |p: DVec3| (start - p).dot(facing);
    let deepest = band.mesh.points().iter().map(|&p| depth_of(p)).fold(0.0, f64::max);
    let is_strict = share < STRICT_SHARE;
    let stations = if is_strict { 120 } else { 40 };
    let step = deepest / stations as f64;
    let mut band = band.clone();
    let from_border = distances_from_border(&band);
    let scan = joined(kept, before);
    // Twice the bore's own width keeps other branches out.
    let far = 2.0
        * band
            .rim
            .iter()
            .map(|&v| band.mesh.points()[v as usize].distance(start))
            .fold(0.0, f64::max);
    let plane =
        |k: usize| Plane { point: start - facing * (step * (k as f64 + 0.5)), normal: facing };
    let asked: Vec<f64> = (0..stations).map(|k| section_area(&scan, plane(k), far)).collect();
    let aim = 1.0 - 0.3 * share + if is_strict { SPARE_SHARE } else { 0.0 };
    for _ in 0..if is_strict { 10 } else { 4 } {
        let part = joined(kept, &band.mesh);
        let lacks: Vec<f64> = (0..stations)
            .map(|k| {
                let area = section_area(&part, plane(k), far);
                let lack = (asked[k] * aim - area).max(0.0);
                // A plane that leaves the band over an open rim has no area.
                if area < 0.5 * asked[k] {
                    0.0
                } else {
                    lack / (2.0 * (std::f64::consts::PI * area).sqrt())
                }
            })
            .collect();
        if lacks.iter().all(|&l| l <= 0.0) {
            break;
        }
        let normals = point_normals(&band.mesh);
        let mut points = band.mesh.points().to_vec();
        for (v, p) in points.iter_mut().enumerate().skip(band.shared) {
            let at = depth_of(*p) / step - 0.5;
            // The largest lack nearby, faded over three stations.
            let push = lacks
                .iter()
                .enumerate()
                .map(|(k, l)| l * (-0.125 * (at - k as f64).powi(2)).exp())
                .fold(0.0, f64::max);
            // Next to the untouched scan a push would leave a crease: nothing moves
            // there, or where nothing may be lost, so little that none shows.
            let push = if is_strict {
                (1.2 * push).min(SLOPE_AT_BORDER * from_border[v])
            } else {
                1.2 * push * ((deepest - depth_of(*p)) / (0.5 * deepest) - 0.3).clamp(0.0, 1.0)
            };
            *p += normals[v] * push;
        }
        band.mesh = Mesh::new(points, band.mesh.triangles().to_vec()).unwrap_or_default();
    }
    band
}

/// Below this share of area that may be lost, every station is given back all.
const STRICT_SHARE: f64 = 1e-3;

/// What is then aimed at beyond the scan's own area: planes between the stations,
/// and planes that are not quite parallel to them, may lose a little more.
const SPARE_SHARE: f64 = 2e-4;

/// How much a push may then grow a length from the border: 2 degrees.
const SLOPE_AT_BORDER: f64 = 0.035;

/// How far each point of a band is from the border that it shares with the rest.
fn distances_from_border(band: &Band) -> Vec<f64> {
    let shared = (0..band.shared as u32).map(|v| [v, v, v]).collect();
    let border = Mesh::new(band.mesh.points().to_vec(), shared).unwrap_or_default();
    let border = Bvh::build(&border);
    let distance = |&p: &DVec3| border.closest(p).map_or(f64::INFINITY, |c| c.distance);
    band.mesh.points().iter().map(distance).collect()
}

/// What the wall of a replaced outside is held against.
pub struct WallBefore<'a> {
    /// The outside band as scanned.
    pub outside: &'a Mesh,
    /// The bore band as scanned.
    pub bore: &'a Mesh,
    /// The scan's bore near the end, the removed surface included.
    pub scan_bore: &'a Bvh,
    /// The scan's outside near the end, the removed surface included.
    pub scan_outside: &'a Bvh,
    /// The least wall asked.
    pub wall_min: f64,
    /// How much thinner than the scan the wall may come out.
    pub tolerance: f64,
}

/// The outside band moved away from the bore where the wall came out thinner
/// than both the scan's and the least asked.
pub fn thicken(band: &Band, bore_band: &Mesh, bore: &Bvh, before: &WallBefore<'_>) -> Band {
    let mut band = band.clone();
    let was_outside = Bvh::build(before.outside);
    let was_bore = Bvh::build(before.bore);
    let spare = 0.3 * before.tolerance;
    let lack = |now: f64, place: Option<DVec3>, other: &Bvh| {
        let old = place.and_then(|p| other.closest(p)).map_or(0.0, |c| c.distance);
        (old.min(before.wall_min) - spare - now).max(0.0)
    };
    // What is farther from the other side than this lacks nothing.
    let look = before.wall_min + before.tolerance;
    let fans = vertex_triangles(&band.mesh);
    let bore_places: Vec<DVec3> = places(bore_band).map(|(_, p)| p).collect();
    for _ in 0..8 {
        let mut push = vec![0.0f64; band.mesh.points().len()];
        let mesh = &band.mesh;
        let raise = |t: u32, by: f64, push: &mut [f64]| {
            for v in mesh.triangles()[t as usize] {
                push[v as usize] = push[v as usize].max(by);
            }
        };
        for (at, p) in places(mesh) {
            let Some(c) = bore.closest_within(p, look) else { continue };
            let place = was_outside.closest(p).map(|c| c.point);
            let by = lack(c.distance, place, before.scan_bore);
            match at {
                At::Point(v) => fans.of(v).iter().for_each(|&t| raise(t, by, &mut push)),
                At::Middle(t) => raise(t, by, &mut push),
            }
        }
        let index = Bvh::build(mesh);
        for &p in &bore_places {
            let Some(c) = index.closest_within(p, look) else { continue };
            let place = was_bore.closest(p).map(|c| c.point);
            let by = lack(c.distance, place, before.scan_outside);
            raise(c.triangle, by, &mut push);
        }
        if push.iter().all(|&p| p <= 0.0) {
            break;
        }
        spread(mesh, &mut push);
        let points = mesh
            .points()
            .iter()
            .enumerate()
            .map(|(v, &p)| {
                if v < band.shared || push[v] <= 0.0 {
                    return p;
                }
                let away = bore.closest(p).map_or(DVec3::ZERO, |c| p - c.point);
                p + away.normalize_or_zero() * (1.1 * push[v])
            })
            .collect();
        band.mesh = Mesh::new(points, mesh.triangles().to_vec()).unwrap_or_default();
    }
    band
}

/// What of a surface a place is.
enum At {
    Point(u32),
    Middle(u32),
}

/// The points of a surface and the middles of its triangles.
fn places(mesh: &Mesh) -> impl Iterator<Item = (At, DVec3)> + '_ {
    let points = mesh.points().iter().enumerate().map(|(v, &p)| (At::Point(v as u32), p));
    let middle = |t: usize| mesh.corners(t).iter().sum::<DVec3>() / 3.0;
    points.chain((0..mesh.triangles().len()).map(move |t| (At::Middle(t as u32), middle(t))))
}

/// Lets each push fade over its neighbours, so that no single point sticks out.
fn spread(mesh: &Mesh, push: &mut [f64]) {
    for share in [0.85, 0.7, 0.55, 0.4, 0.25] {
        let before = push.to_vec();
        for t in mesh.triangles() {
            let most = t.iter().map(|&v| before[v as usize]).fold(0.0, f64::max);
            for &v in t {
                push[v as usize] = push[v as usize].max(share * most);
            }
        }
    }
}
