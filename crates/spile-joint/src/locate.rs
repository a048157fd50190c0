//! Finds each end's place on the scan: the plane and the loops it is about.

use spile_case::{End, Site};
use spile_mesh::{DVec3, Plane, SectionLoop, boundary_loops, section_near};

use crate::cut::EndLoops;
use crate::make::MakeError;
use crate::station::find_station;
use crate::surface::Scan;
use crate::walls::choose_loops;

/// An end found on the scan.
#[derive(Debug, Clone)]
pub struct Located {
    /// The plane of the seam and its loops.
    pub loops: EndLoops,
    /// The direction in which the joint leaves the scan.
    pub facing: DVec3,
    /// At a rim: how much is given up, measured from the rim.
    pub given_up: Option<f64>,
}

/// The error of an end.
pub fn wrong(end: &End, what: String, hints: &[&str]) -> MakeError {
    let hints = hints.iter().map(|h| (*h).to_string()).collect();
    MakeError::End { end: end.name.clone(), what, hints }
}

/// Finds `end` on the scan.
///
/// # Errors
/// When the plane or the rim meets no such place, with what to do.
pub fn locate(scan: &Scan, end: &End, two_walls: bool) -> Result<Located, MakeError> {
    match end.site {
        Site::Cut(cut) => {
            let plane = Plane {
                point: DVec3::from(cut.through),
                normal: DVec3::from(cut.facing).normalize_or_zero(),
            };
            let loops = loops_at(scan, end, plane, two_walls)?;
            Ok(Located { loops, facing: plane.normal, given_up: None })
        }
        Site::Station(cut) => {
            let plane = find_station(scan, end, &cut, two_walls)?.plane;
            let loops = loops_at(scan, end, plane, two_walls)?;
            Ok(Located { loops, facing: plane.normal, given_up: None })
        }
        Site::Rim(rim) => {
            let (plane, rims) = below_the_teeth(scan, end, DVec3::from(rim.near), two_walls)?;
            let loops = loops_at(scan, end, plane, two_walls)?;
            let given_up = apart(scan, &rims, &loops);
            let most = rim.trim.unwrap_or(f64::INFINITY);
            if given_up > most {
                return Err(wrong(
                    end,
                    format!(
                        "a clean seam gives up {given_up:.2} measured from the rim, more than the {most:.2} allowed"
                    ),
                    &[&format!("set `trim` to {:.2} or more", (given_up * 100.0).ceil() / 100.0)],
                ));
            }
            let facing = match rim.facing {
                Some(f) => DVec3::from(f).normalize_or(plane.normal),
                None => tangent(scan, &loops, plane.normal),
            };
            Ok(Located { loops, facing, given_up: Some(given_up) })
        }
    }
}

/// The loops of the branch that a plane's point is near.
pub fn loops_at(
    scan: &Scan,
    end: &End,
    plane: Plane,
    two_walls: bool,
) -> Result<EndLoops, MakeError> {
    // Loops near the point first; the whole scan only if that finds none.
    let size = scan.mesh.bounds().diagonal();
    let mut found = None;
    for share in [0.1, 0.3, 2.0] {
        let loops =
            section_near(&scan.mesh, &scan.topology, &scan.bvh, plane, plane.point, share * size);
        if loops.is_empty() {
            continue;
        }
        match choose_loops(&loops, plane, two_walls) {
            Ok((bore, outside)) => {
                let at = |k: usize| loops[k].clone();
                return Ok(EndLoops { plane, bore: at(bore), outside: outside.map(at) });
            }
            Err(what) => found = Some(what),
        }
    }
    let what = found.unwrap_or_else(|| {
        format!(
            "the plane through ({:.2}, {:.2}, {:.2}) does not meet the scan",
            plane.point.x, plane.point.y, plane.point.z
        )
    });
    let hint = match end.site {
        Site::Cut(_) => "move `through` onto the branch that is meant, square to its bore",
        Site::Station(_) => "name a station further on, where the bore is one tube",
        Site::Rim(_) => {
            "below this rim's teeth is no clean section: cut the scan farther in instead, with \
             `cut = { through, facing }`"
        }
    };
    Err(wrong(end, what, &[hint]))
}

/// How far the loops of the seam lie from the rims at most, both ways.
fn apart(scan: &Scan, rims: &[Vec<u32>], loops: &EndLoops) -> f64 {
    let at = |v: &u32| scan.mesh.points()[*v as usize];
    let outlines: Vec<SectionLoop> = rims
        .iter()
        .map(|rim| SectionLoop {
            points: rim.iter().map(at).collect(),
            triangles: vec![0; rim.len()],
            closed: true,
        })
        .collect();
    let seams: Vec<&SectionLoop> = std::iter::once(&loops.bore).chain(&loops.outside).collect();
    let to = |p: &DVec3, all: &mut dyn Iterator<Item = &SectionLoop>| {
        all.map(|l| l.distance(*p)).fold(f64::INFINITY, f64::min)
    };
    let from_rims =
        outlines.iter().flat_map(|l| &l.points).map(|p| to(p, &mut seams.iter().copied()));
    let from_seams = seams.iter().flat_map(|l| &l.points).map(|p| to(p, &mut outlines.iter()));
    from_rims.chain(from_seams).fold(0.0, f64::max)
}

/// The plane through the scan just below a rim's teeth, and the rims.
pub fn below_the_teeth(
    scan: &Scan,
    end: &End,
    near: DVec3,
    two_walls: bool,
) -> Result<(Plane, Vec<Vec<u32>>), MakeError> {
    let rims = boundary_loops(&scan.mesh, &scan.topology);
    let at = |v: u32| scan.mesh.points()[v as usize];
    let far = |rim: &[u32]| {
        rim.iter().map(|&v| at(v).distance_squared(near)).fold(f64::INFINITY, f64::min)
    };
    let mut order: Vec<usize> = (0..rims.len()).collect();
    order.sort_by(|&a, &b| far(&rims[a]).total_cmp(&far(&rims[b])).then(a.cmp(&b)));
    let wanted = if two_walls { 2 } else { 1 };
    // Rims of a few triangles are holes, not ends.
    let size = |rim: &[u32]| spile_mesh::Bounds3::of(rim.iter().map(|&v| at(v))).diagonal();
    let largest = order.iter().take(6).map(|&k| size(&rims[k])).fold(0.0, f64::max);
    let chosen: Vec<usize> =
        order.into_iter().filter(|&k| size(&rims[k]) > 0.2 * largest).take(wanted).collect();
    if chosen.len() < wanted {
        let what = if rims.is_empty() {
            "the scan has no open rim".to_string()
        } else {
            "the scan has no open rims on both walls there".to_string()
        };
        return Err(wrong(end, what, &["cut the scan with `cut = { through, facing }` instead"]));
    }
    let points: Vec<DVec3> = chosen.iter().flat_map(|&k| rims[k].iter().map(|&v| at(v))).collect();
    let centre = points.iter().sum::<DVec3>() / points.len() as f64;
    let mut normal = chosen
        .iter()
        .map(|&k| {
            let rim = &rims[k];
            let twice: DVec3 = (0..rim.len())
                .map(|i| (at(rim[i]) - centre).cross(at(rim[(i + 1) % rim.len()]) - centre))
                .sum();
            twice.normalize_or_zero()
        })
        .fold(DVec3::ZERO, |sum, n| if sum.dot(n) < 0.0 { sum - n } else { sum + n })
        .normalize_or_zero();
    // The surface lies behind: toward the triangles next to the rim.
    let behind: f64 = chosen
        .iter()
        .flat_map(|&k| rims[k].iter())
        .flat_map(|&v| scan.fans.of(v).iter().map(move |&t| (v, t)))
        .map(|(v, t)| {
            let middle = scan.mesh.corners(t as usize).iter().sum::<DVec3>() / 3.0;
            (middle - at(v)).dot(normal)
        })
        .sum();
    if behind > 0.0 {
        normal = -normal;
    }
    let normal = flattest(&points, normal);
    // Just clear of the deepest notch, by a part of an edge so that no
    // slivers are left.
    let deepest = points.iter().map(|p| p.dot(normal)).fold(f64::INFINITY, f64::min);
    let clear = 0.25 * scan.median_edge();
    let point = centre + normal * (deepest - clear - centre.dot(normal));
    let plane = Plane { point, normal };
    Ok((plane, chosen.into_iter().map(|k| rims[k].clone()).collect()))
}

/// The direction near `normal` in which the points spread least.
fn flattest(points: &[DVec3], normal: DVec3) -> DVec3 {
    let spread = |n: DVec3| {
        let (lo, hi) = points
            .iter()
            .map(|p| p.dot(n))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), h| (lo.min(h), hi.max(h)));
        hi - lo
    };
    let (u, mut best) = (normal.any_orthonormal_vector(), normal);
    let v = normal.cross(u);
    let (mut x, mut y, mut step) = (0.0, 0.0, 0.1);
    let mut least = spread(normal);
    while step > 1e-4 {
        let moved =
            [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)].into_iter().any(|(dx, dy)| {
                let n = (normal + u * (x + dx) + v * (y + dy)).normalize();
                let s = spread(n);
                if s < least {
                    (least, best, x, y) = (s, n, x + dx, y + dy);
                    return true;
                }
                false
            });
        if !moved {
            step /= 2.0;
        }
    }
    best
}

/// Number of sections, over one diameter, that the tangent is taken from.
const STATIONS: usize = 12;

/// A section whose area is more than this many times the one before it, or less than
/// that part of it, is taken along the bore, or across a branch.
const JUMP: f64 = 1.3;

/// The tangent of the scan's centreline at the bore's loop, off the scan, taken
/// over one diameter below it, or as far as its sections close and do not jump.
pub fn tangent(scan: &Scan, loops: &EndLoops, first: DVec3) -> DVec3 {
    let start = loops.bore.centroid(loops.plane.normal);
    let area = loops.bore.area(loops.plane.normal).abs();
    let across = 2.0 * (area / std::f64::consts::PI).sqrt();
    let mut direction = first;
    for _ in 0..4 {
        // A parabola by least squares through the centres, held at the start;
        // its slope there is the tangent.
        let (mut s2, mut s3, mut s4) = (0.0, 0.0, 0.0);
        let (mut r1, mut r2) = (DVec3::ZERO, DVec3::ZERO);
        let (mut found, mut last) = (0, area);
        for k in 1..=STATIONS {
            let depth = across * k as f64 / STATIONS as f64;
            let plane = Plane { point: start - direction * depth, normal: direction };
            // Beside an oblique rim the first sections are open.
            let Some((centre, area)) = bore_in(scan, plane, across) else {
                if found == 0 {
                    continue;
                }
                break;
            };
            if area > JUMP * last || last > JUMP * area {
                break;
            }
            last = area;
            let (t, d) = (depth / across, start - centre);
            (s2, s3, s4) = (s2 + t * t, s3 + t * t * t, s4 + t * t * t * t);
            (r1, r2) = (r1 + d * t, r2 + d * (t * t));
            found += 1;
        }
        if found < 3 {
            break;
        }
        direction = ((r1 * s4 - r2 * s3) / (s2 * s4 - s3 * s3)).normalize_or(direction);
    }
    direction
}

/// Sections a diameter of the bore's line that [`line_below`] is made of.
const A_DIAMETER: f64 = 8.0;

/// The bore's line from its loop down into the scan, as far as `depth` and a little
/// more: planes square to it through the centres of its sections, as far as
/// sections close.
pub fn line_below(scan: &Scan, loops: &EndLoops, depth: f64) -> Vec<Plane> {
    let across = 2.0 * (loops.bore.area(loops.plane.normal).abs() / std::f64::consts::PI).sqrt();
    let step = across / A_DIAMETER;
    let first = tangent(scan, loops, loops.plane.normal);
    let mut normal = first;
    let mut centres = vec![loops.bore.centroid(loops.plane.normal)];
    // Two more on each side than a direction is taken from.
    let count = (depth / step).ceil() as usize + 4;
    while centres.len() <= count {
        let last = centres[centres.len() - 1];
        let plane = Plane { point: last - normal * step, normal };
        let Some((centre, _)) = bore_in(scan, plane, across) else { break };
        let from = centres[centres.len().saturating_sub(3)];
        normal = (from - centre).normalize_or(normal);
        centres.push(centre);
    }
    let square = |k: usize| {
        let over = if k == 0 { first } else { centres[k.saturating_sub(2)] - centres[k + 2] };
        Plane { point: centres[k], normal: over.normalize_or(first) }
    };
    (0..centres.len().saturating_sub(2)).map(square).collect()
}

/// Centre and area of the smallest loop round the plane's point.
fn bore_in(scan: &Scan, plane: Plane, across: f64) -> Option<(DVec3, f64)> {
    let loops: Vec<SectionLoop> =
        section_near(&scan.mesh, &scan.topology, &scan.bvh, plane, plane.point, across);
    let (bore, _) = choose_loops(&loops, plane, false).ok()?;
    let bore = &loops[bore];
    bore.closed.then(|| (bore.centroid(plane.normal), bore.area(plane.normal).abs()))
}
