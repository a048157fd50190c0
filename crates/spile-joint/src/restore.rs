//! What refining and fairing took of bore area and wall, given back.
//!
//! Chords cut corners: on the bore they narrow it, on the outside they thin the
//! wall. Both effects are small, but the limits are, too. Bore points are moved
//! outward where a section lost area, outside points away from the bore where
//! the wall lost thickness.

use rayon::prelude::*;
use spile_mesh::{Bvh, DVec3, Mesh, Plane, StopAsked, vertex_triangles};

use crate::reach::Band;
use crate::span::{SPARE_SHARE, STRICT_SHARE, joined, section_area};

/// The bore band widened so that no section in one of `families` of planes has lost
/// more than `share` of the area that the scan has there.
///
/// `kept` is the scan's bore beyond the band, `before` the band as scanned; all
/// face away from the bore's line. Where `stop` says so it comes as it is by then.
pub fn widen(
    (band, before): (&Band, &Mesh),
    kept: &Mesh,
    families: Vec<Vec<Plane>>,
    share: f64,
    stop: StopAsked<'_>,
) -> Band {
    let is_strict = share < STRICT_SHARE;
    let mut band = band.clone();
    let from_border = distances_from_border(&band);
    let deepest = from_border.iter().skip(band.shared).copied().fold(0.0, f64::max);
    let scan = joined(kept, before);
    let runs: Vec<Run> =
        families.into_par_iter().map(|planes| Run::new(&scan, &band, planes)).collect();
    let aim = 1.0 - 0.3 * share + if is_strict { SPARE_SHARE } else { 0.0 };
    for _ in 0..if is_strict { 10 } else { 4 } {
        let part = joined(kept, &band.mesh);
        let lacks: Vec<Vec<f64>> = runs.par_iter().map(|run| run.lacks(&part, aim, stop)).collect();
        if stop() || lacks.iter().flatten().all(|&l| l <= 0.0) {
            break;
        }
        let normals = band.mesh.point_normals();
        let mut points = band.mesh.points().to_vec();
        let pushed = |(v, &p): (usize, &DVec3)| {
            let most = |(run, lacks): (&Run, &Vec<f64>)| run.push(p, lacks);
            let push = 1.2 * runs.iter().zip(&lacks).map(most).fold(0.0, f64::max);
            // Next to the untouched scan a push would leave a crease: nothing moves
            // there, or where nothing may be lost, so little that none shows.
            let push = if is_strict {
                push.min(SLOPE_AT_BORDER * from_border[v])
            } else {
                push * (from_border[v] / (0.5 * deepest) - 0.3).clamp(0.0, 1.0)
            };
            p + normals[v] * push
        };
        let moved: Vec<DVec3> =
            band.mesh.points().par_iter().enumerate().skip(band.shared).map(pushed).collect();
        points[band.shared..].copy_from_slice(&moved);
        band = band.moved(points);
    }
    band
}

/// The planes whose sections are held at an end where `share` may be lost: parallel
/// to the cut's, `first`, as deep as the band goes. Where nothing may be lost,
/// those square to the bore's own `line` too, and a fan round each of these.
pub fn section_planes(
    band: &Band,
    first: Plane,
    line: impl FnOnce() -> Vec<Plane>,
    share: f64,
) -> Vec<Vec<Plane>> {
    let depths = band.mesh.points().iter().map(|&p| (first.point - p).dot(first.normal));
    let deepest = depths.fold(0.0, f64::max);
    let count = if share < STRICT_SHARE { 120 } else { 40 };
    let parallel = (0..count)
        .map(|k| first.normal * (deepest * (k as f64 + 0.5) / count as f64))
        .map(|down| Plane { point: first.point - down, ..first })
        .collect();
    if share >= STRICT_SHARE {
        return vec![parallel];
    }
    let line = line();
    if line.len() < 2 {
        return vec![parallel];
    }
    let square: Vec<Plane> = (0..count)
        .map(|k| {
            let at = (k as f64 + 0.5) / count as f64 * (line.len() - 1) as f64;
            let (before, share) = (at as usize, at.fract());
            let (a, b) = (line[before], line[before + 1]);
            let normal = a.normal.lerp(b.normal, share).normalize_or(a.normal);
            Plane { point: a.point.lerp(b.point, share), normal }
        })
        .collect();
    let (u, v) = first.normal.any_orthonormal_pair();
    let fan = [u, -u, v, -v].map(|side| -> Vec<Plane> {
        let lean = side * FAN_DEG.to_radians().tan();
        square.iter().map(|p| Plane { normal: (p.normal + lean).normalize(), ..*p }).collect()
    });
    [parallel, square].into_iter().chain(fan).collect()
}

/// How far the fan opens round the bore's line.
const FAN_DEG: f64 = 5.0;

/// Sections of the bore from the rim down.
struct Run {
    planes: Vec<Plane>,
    /// The scan's area in each; none where the plane passes over the open rim.
    asked: Vec<Option<f64>>,
    /// Distance of the planes.
    step: f64,
    /// Twice the bore's own width keeps other branches out.
    far: f64,
}

impl Run {
    /// Sections of `scan`, of which `band` is the last stretch.
    fn new(scan: &Mesh, band: &Band, planes: Vec<Plane>) -> Self {
        let rim: Vec<DVec3> = band.rim.iter().map(|&v| band.mesh.points()[v as usize]).collect();
        let first = planes[0].point;
        let far = 2.0 * rim.iter().map(|p| p.distance(first)).fold(0.0, f64::max);
        let step = planes[planes.len() - 1].point.distance(first) / (planes.len() - 1) as f64;
        let is_below =
            |plane: &Plane| rim.iter().all(|&p| (p - plane.point).dot(plane.normal) > 0.0);
        let asked = planes
            .iter()
            .map(|plane| is_below(plane).then(|| section_area(scan, *plane, far)))
            .collect();
        Self { planes, asked, step, far }
    }

    /// How far outward each section must move to have `aim` times the scan's area.
    fn lacks(&self, part: &Mesh, aim: f64, stop: StopAsked<'_>) -> Vec<f64> {
        let lack = |(plane, asked): (&Plane, &Option<f64>)| {
            let Some(asked) = asked.filter(|_| !stop()) else { return 0.0 };
            let area = section_area(part, *plane, self.far);
            // A plane that leaves the band over an open rim has no area.
            if area < 0.5 * asked {
                return 0.0;
            }
            (asked * aim - area).max(0.0) / (2.0 * (std::f64::consts::PI * area).sqrt())
        };
        self.planes.iter().zip(&self.asked).map(lack).collect()
    }

    /// The largest lack near a point, faded over three planes.
    fn push(&self, p: DVec3, lacks: &[f64]) -> f64 {
        let faded = |(plane, &lack): (&Plane, &f64)| {
            if lack <= 0.0 {
                return 0.0;
            }
            let away = (p - plane.point).dot(plane.normal) / self.step;
            lack * (-0.125 * away * away).exp()
        };
        self.planes.iter().zip(lacks).map(faded).fold(0.0, f64::max)
    }
}

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
/// than both the scan's and the least asked. Where `stop` says so it comes as it is by then.
pub fn thicken(
    band: &Band,
    bore_band: &Mesh,
    bore: &Bvh,
    before: &WallBefore<'_>,
    stop: StopAsked<'_>,
) -> Band {
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
        if stop() || push.iter().all(|&p| p <= 0.0) {
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
        band = band.moved(points);
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
