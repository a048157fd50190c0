//! A plane section of scan and part as a drawing to scale.

use std::fmt::Write as _;

use spile_mesh::{DVec3, Mesh, Plane, SectionLoop, Topology, section};

use crate::chart::{open, text};
use crate::number::digits;

/// Width and height of a drawing in its own units.
pub const SIZE: [usize; 2] = [360, 290];
/// Room round the section.
const ROOM: f64 = 24.0;
/// Below the section, for the scale.
const FOOT: f64 = 40.0;

/// What is drawn.
pub struct Section<'a> {
    /// The plane.
    pub plane: Plane,
    /// The place that it is drawn for.
    pub at: DVec3,
    /// The scans' meshes with their edges.
    pub scans: &'a [(Mesh, Topology)],
    /// The part's.
    pub part: &'a (Mesh, Topology),
    /// The unit of lengths.
    pub unit: &'a str,
}

/// The section as an SVG element: the part's material filled, the scan as a dashed
/// line, the place as a ring; none where the plane misses the part near the place.
pub fn drawn(wanted: &Section) -> Option<String> {
    let plane = wanted.plane;
    let (mesh, topology) = wanted.part;
    let part = near(section(mesh, topology, plane, None), wanted.at);
    let frame = Frame::round(&part, plane)?;
    let mut scans = Vec::new();
    for (mesh, topology) in wanted.scans {
        let loops = section(mesh, topology, plane, None);
        scans.extend(loops.into_iter().filter(|l| l.points.iter().any(|p| frame.shows(*p))));
    }
    let mut svg = open(SIZE);
    let path: String = part.iter().map(|l| frame.path(l)).collect();
    let _ = write!(
        svg,
        r##"<path d="{path}" fill="#d5dbe1" fill-rule="evenodd" stroke="#1c2126" stroke-width="1.4"/>"##
    );
    let path: String = scans.iter().map(|l| frame.path(l)).collect();
    let _ = write!(
        svg,
        r##"<path d="{path}" fill="none" stroke="#a34a00" stroke-width="1.2" stroke-dasharray="5 3"/>"##
    );
    let [x, y] = frame.on(wanted.at);
    let _ = write!(
        svg,
        r##"<circle cx="{x:.1}" cy="{y:.1}" r="9" fill="none" stroke="#ffffff" stroke-width="4"/><circle cx="{x:.1}" cy="{y:.1}" r="9" fill="none" stroke="#1c2126" stroke-width="1.6"/>"##
    );
    frame.ruler(&mut svg, wanted.unit);
    svg.push_str("</svg>");
    Some(svg)
}

/// Of all loops those that go with the place: the nearest one, and all whose middle
/// lies no further from it than it is across.
fn near(loops: Vec<SectionLoop>, at: DVec3) -> Vec<SectionLoop> {
    let across = |l: &SectionLoop| {
        let [low, high] =
            l.points.iter().fold([DVec3::INFINITY, DVec3::NEG_INFINITY], |[low, high], p| {
                [low.min(*p), high.max(*p)]
            });
        (0.5 * (low + high), low.distance(high))
    };
    let nearest = loops.iter().min_by(|a, b| a.distance(at).total_cmp(&b.distance(at)));
    let Some((middle, size)) = nearest.map(across) else { return Vec::new() };
    loops
        .into_iter()
        .filter(|l| {
            let (other, width) = across(l);
            other.distance(middle) <= 0.5 * size.max(width)
        })
        .collect()
}

/// From the plane to the paper.
struct Frame {
    axes: [DVec3; 2],
    middle: [f64; 2],
    scale: f64,
    reach: f64,
}

impl Frame {
    fn round(loops: &[SectionLoop], plane: Plane) -> Option<Self> {
        let first = if plane.normal.z.abs() > 0.9 { DVec3::X } else { DVec3::Z };
        let up = (first - plane.normal * first.dot(plane.normal)).try_normalize()?;
        let axes = [up.cross(plane.normal), up];
        let flat = loops.iter().flat_map(|l| &l.points).map(|p| axes.map(|a| a.dot(*p)));
        let mut bounds = [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]];
        for p in flat {
            for k in 0..2 {
                bounds[0][k] = bounds[0][k].min(p[k]);
                bounds[1][k] = bounds[1][k].max(p[k]);
            }
        }
        let extent = [0, 1].map(|k| bounds[1][k] - bounds[0][k]);
        let room = [SIZE[0] as f64 - 2.0 * ROOM, SIZE[1] as f64 - ROOM - FOOT];
        let scale = (room[0] / extent[0]).min(room[1] / extent[1]);
        let middle = [0, 1].map(|k| 0.5 * (bounds[0][k] + bounds[1][k]));
        let reach = 0.75 * extent[0].max(extent[1]);
        (scale.is_finite() && scale > 0.0).then_some(Self { axes, middle, scale, reach })
    }

    fn on(&self, p: DVec3) -> [f64; 2] {
        let [x, y] = [0, 1].map(|k| (self.axes[k].dot(p) - self.middle[k]) * self.scale);
        let height = SIZE[1] as f64 - FOOT + ROOM;
        [0.5 * SIZE[0] as f64 + x, 0.5 * height - y]
    }

    fn shows(&self, p: DVec3) -> bool {
        [0, 1].into_iter().all(|k| (self.axes[k].dot(p) - self.middle[k]).abs() < self.reach)
    }

    /// A loop as SVG's path; steps under a fifth of a unit are left out.
    fn path(&self, l: &SectionLoop) -> String {
        let mut path = String::new();
        let mut last = [f64::INFINITY; 2];
        for p in &l.points {
            let [x, y] = self.on(*p);
            if (x - last[0]).hypot(y - last[1]) > 0.2 {
                let letter = if path.is_empty() { 'M' } else { 'L' };
                let _ = write!(path, "{letter}{x:.1} {y:.1}");
                last = [x, y];
            }
        }
        if l.closed {
            path.push('z');
        }
        path
    }

    /// A bar of a round length.
    fn ruler(&self, svg: &mut String, unit: &str) {
        let most = 0.3 * SIZE[0] as f64 / self.scale;
        let power = 10f64.powf(most.log10().floor());
        let fits = [5.0, 2.0, 1.0].map(|k| k * power).into_iter().find(|l| *l <= most);
        let length = fits.unwrap_or(power);
        let (x0, y) = (ROOM, SIZE[1] as f64 - 14.0);
        let x1 = x0 + length * self.scale;
        let _ = write!(
            svg,
            r##"<path d="M{x0:.1} {:.1}v8m0-4H{x1:.1}m0-4v8" stroke="#1c2126" fill="none"/>"##,
            y - 4.0
        );
        text(svg, [x1 + 8.0, y + 4.0], "start", &format!("{} {unit}", digits(length)));
    }
}

/// The plane through `at` square to the bore there: the normal of the nearest of
/// `stations`, each with its place and normal.
pub fn plane_at(at: DVec3, stations: impl Iterator<Item = (DVec3, DVec3)>) -> Option<Plane> {
    let nearest = stations.min_by(|a, b| a.0.distance(at).total_cmp(&b.0.distance(at)))?;
    Some(Plane { point: at, normal: nearest.1.try_normalize()? })
}
