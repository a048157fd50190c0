//! The bore from fitting to fitting: the line, its sections before and after, the ball
//! that travels it, and what flow loses along it.
//!
//! From an end the line runs along the fitting's axis, the curve of the joint (the one
//! on which `bore_loss` has its stations) and the scan's own centreline, until that comes to
//! another end, to a branch, or to the tip of a blind bore. The same planes cut scan
//! and part.

use rayon::prelude::*;
use serde::Serialize;
use spile_case::Flow;
use spile_mesh::{Bvh, DVec3};

use super::ball_along::{BallAlong, ball_along};
use super::pressure::{PressureLoss, pressure_loss};
use super::section::{Section, section};
use crate::centreline::{Centreline, LineEnd, March, centreline};
use crate::claim::Trees;
use crate::flow_section::{BoreSurface, Frame, Walker};
use crate::labels::{Fate, Labelled, LabelledEnd, Side};
use crate::stations::{Hermite, loop_centre};

/// What a station lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum On {
    /// A fitting.
    Fitting,
    /// A joint.
    Joint,
    /// The scan, kept or replaced.
    Scan,
}

/// Why a line ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Stop {
    /// At another end.
    End,
    /// At the tip of a blind bore, or where the scan is over.
    Blind,
    /// Where a branch makes the section ambiguous.
    Branch,
    /// Where a plane no longer closes: the scan opens.
    Open,
    /// After as many stations as are taken at most.
    Length,
    /// No section closes near the end.
    Nothing,
}

/// One station of a line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LineStation {
    /// Length along the line from the first end's seam: positive in its joint and
    /// fitting, negative in the scan and beyond.
    pub s: f64,
    /// The station.
    pub at: [f64; 3],
    /// Unit normal of its plane, toward the first end.
    pub normal: [f64; 3],
    /// What it lies on.
    pub on: On,
    /// Curvature of the line, one over its radius; none near its ends. An estimate: the circle
    /// through stations about a bore's radius before and after.
    pub curvature: Option<f64>,
    /// The scan's section, where the scan is before anything was made.
    pub before: Option<Section>,
    /// The part's section.
    pub after: Option<Section>,
}

/// The bore from one end on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlowLine {
    /// The end at which it begins.
    pub from: String,
    /// The end that it comes to.
    pub to: Option<String>,
    /// Why it ends.
    pub stop: Stop,
    /// Its stations, `s` falling.
    pub stations: Vec<LineStation>,
    /// The ball that travels the scan's stretch of it before.
    pub ball_before: Option<BallAlong>,
    /// The ball that travels the same stretch of the part.
    pub ball_after: Option<BallAlong>,
    /// The ball that travels all of it, fittings and joints included.
    pub ball_whole: Option<BallAlong>,
    /// Pressure loss over the scan's stretch before.
    pub loss_before: Option<PressureLoss>,
    /// Pressure loss over the same stretch of the part.
    pub loss_after: Option<PressureLoss>,
    /// Pressure loss over all of it, fittings and joints included.
    pub loss_whole: Option<PressureLoss>,
}

/// Stations lie this many to a radius of the bore at the end.
const STATIONS_A_RADIUS: f64 = 4.0;
/// Stations of a scan's stretch at most; beyond that they lie further apart.
const STATIONS_MOST: usize = 1500;
/// A line has come to an end when it crosses its plane no further from its middle than
/// this many of its radii.
const AT_END_RADII: f64 = 2.0;
/// Curvature is read over about this many radii before and after.
const ARM_RADII: f64 = 1.0;

/// An end with its middle and mean radius.
struct Gateway<'a> {
    end: &'a LabelledEnd,
    centre: DVec3,
    radius: f64,
}

impl<'a> Gateway<'a> {
    fn of(l: &'a Labelled, end: &'a LabelledEnd) -> Option<Self> {
        let seam: Vec<DVec3> = end.seam_bore.iter().map(|&v| l.part.points()[v as usize]).collect();
        let centre = loop_centre(&seam)?;
        let far: f64 = seam.iter().map(|p| p.distance(centre)).sum();
        Some(Self { end, centre, radius: far / seam.len() as f64 })
    }

    /// Planes of joint and fitting, from the seam on, with their length from it. `leaving` is
    /// the direction in which the joint leaves the scan.
    fn beyond(&self, leaving: DVec3) -> Vec<(f64, Frame, On)> {
        let Some(fitting) = self.end.fitting else { return Vec::new() };
        let spacing = self.radius / STATIONS_A_RADIUS;
        let curve = Hermite::new(self.centre, leaving, fitting.at, fitting.along);
        let joint = curve.stations(spacing);
        let length = joint.last().map_or(0.0, |(s, _)| *s);
        // Off both faces, where the section is the fitting's own.
        let count = (fitting.length / spacing).ceil().clamp(2.0, 400.0);
        let on_axis = (0..count as usize).map(|k| {
            let along = fitting.length * (k as f64 + 0.5) / count;
            let frame = Frame::new(fitting.at + along * fitting.along, fitting.along);
            (length + along, frame, On::Fitting)
        });
        joint.into_iter().map(|(s, frame)| (s, frame, On::Joint)).chain(on_axis).collect()
    }
}

/// A plane of a line before it is cut.
struct Place {
    s: f64,
    frame: Frame,
    on: On,
}

/// All lines, in the order of the ends at which they begin. An end that another's line has
/// come to has none of its own.
pub(super) fn lines(l: &Labelled, trees: &Trees, flow: Option<&Flow>) -> Vec<FlowLine> {
    let of_scan = |side: Side| {
        let on = |t: usize| l.scan_side[t] == side && !matches!(l.fate[t], Fate::Removed(_));
        Bvh::build_of(&l.scan, &l.scan_where(on))
    };
    let scan_bore = || l.scan_where(|t| l.scan_side[t] == Side::Bore);
    let part_bore = || l.part_where(|t| l.side[t] == Side::Bore);
    let ((scan, part), (scan_bore, scan_outside)) = rayon::join(
        || {
            rayon::join(
                || BoreSurface::of(&l.scan, &scan_bore()),
                || BoreSurface::of(l.part, &part_bore()),
            )
        },
        || rayon::join(|| of_scan(Side::Bore), || of_scan(Side::Outside)),
    );
    let metres = l.case.unit.in_millimetres() / 1000.0;
    let stop = l.stop;
    let surfaces = Surfaces { scan, part, scan_bore, scan_outside, trees, flow, metres, stop };
    let gateways: Vec<Option<Gateway>> = l.ends.iter().map(|end| Gateway::of(l, end)).collect();
    let mut reached = vec![false; l.ends.len()];
    let mut lines = Vec::new();
    for (index, gateway) in gateways.iter().enumerate() {
        let is_over = reached[index] || l.stop.is_asked();
        let Some(gateway) = gateway.as_ref().filter(|_| !is_over) else { continue };
        let (places, stop, to) = places(gateway, &gateways, &surfaces.scan);
        if let Some(to) = to {
            reached[to] = true;
        }
        let to = to.map(|to| l.ends[to].name.clone());
        lines.push(surfaces.line(gateway, &places, stop, to));
    }
    lines
}

/// The planes of the line that begins at a gateway, why it ends, and at which end.
fn places(
    from: &Gateway,
    all: &[Option<Gateway>],
    scan: &BoreSurface,
) -> (Vec<Place>, Stop, Option<usize>) {
    let facing = from.end.facing;
    let others = || all.iter().flatten().filter(|other| other.end.index != from.end.index);
    let spacing = from.radius / STATIONS_A_RADIUS;
    let march = March {
        from: from.centre,
        facing,
        length: spacing * STATIONS_MOST as f64,
        spacing,
        radius: from.radius,
    };
    let Centreline { points, end } = centreline(scan, &march);
    let tangent = points.first().map(|point| point.tangent).filter(|_| from.end.is_rim);
    let beyond = from.beyond(tangent.unwrap_or(facing)).into_iter().rev();
    let mut places: Vec<Place> = beyond.map(|(s, frame, on)| Place { s, frame, on }).collect();
    let mut stop = match end {
        LineEnd::LongEnough => Stop::Length,
        LineEnd::Blind(_) => Stop::Blind,
        LineEnd::Open(_) => Stop::Open,
        LineEnd::Branch(_) => Stop::Branch,
        LineEnd::NoSection => Stop::Nothing,
    };
    let mut arrived = None;
    for point in points.iter().filter(|point| point.s <= 0.0) {
        arrived = others().find(|other| {
            let off = point.at - other.centre;
            off.dot(other.end.facing) >= 0.0 && off.length() <= AT_END_RADII * other.radius
        });
        if arrived.is_some() {
            break;
        }
        places.push(Place { s: point.s, frame: Frame::new(point.at, point.tangent), on: On::Scan });
    }
    if let (None, Stop::Open | Stop::Blind, Some(last)) = (arrived, stop, places.last()) {
        // What lies beyond a cut is on no side of the wall, so that the bore is over there.
        let last = last.frame.origin;
        arrived = others().find(|other| last.distance(other.centre) <= AT_END_RADII * other.radius);
    }
    if let Some(other) = arrived {
        let last = places.last().map_or((0.0, from.centre), |p| (p.s, p.frame.origin));
        let seam = last.0 - last.1.distance(other.centre);
        let inward = points.last().map_or(-other.end.facing, |point| -point.tangent);
        // Here the line runs off the scan: normals still point to where it began.
        let arriving = if other.end.is_rim { inward } else { other.end.facing };
        places.extend(other.beyond(arriving).into_iter().map(|(s, frame, on)| {
            let frame = Frame::new(frame.origin, -frame.normal);
            Place { s: seam - s, frame, on }
        }));
        return (places, Stop::End, Some(other.end.index));
    }
    if places.iter().all(|place| place.on != On::Scan) {
        stop = Stop::Nothing;
    }
    (places, stop, None)
}

/// Scan and part, ready to be cut and measured to.
struct Surfaces<'a> {
    scan: BoreSurface,
    part: BoreSurface,
    scan_bore: Bvh,
    scan_outside: Bvh,
    trees: &'a Trees,
    flow: Option<&'a Flow>,
    /// How many metres the case's unit has.
    metres: f64,
    /// Asked at each place; what breaks off never leaves [`Look::measure`](crate::Look::measure).
    stop: &'a crate::stop::Stop<'a>,
}

impl Surfaces<'_> {
    /// The line through these places.
    fn line(&self, from: &Gateway, places: &[Place], stop: Stop, to: Option<String>) -> FlowLine {
        let centres: Vec<(f64, DVec3)> = places.iter().map(|p| (p.s, p.frame.origin)).collect();
        let stations: Vec<LineStation> = places
            .par_iter()
            .enumerate()
            .map_init(
                || (Walker::default(), Walker::default()),
                |(of_scan, of_part), (i, place)| LineStation {
                    s: place.s,
                    at: place.frame.origin.to_array(),
                    normal: place.frame.normal.to_array(),
                    on: place.on,
                    curvature: curvature(&centres, i, ARM_RADII * from.radius),
                    before: self.unless_stopped(|| self.before(place, of_scan)),
                    after: self.unless_stopped(|| {
                        section(&self.part, &place.frame, &self.trees.outside, of_part)
                    }),
                },
            )
            .collect();
        let ball = |surface: &Bvh, of: &[&LineStation], pick: Pick| {
            ball_along(surface, of, pick, stop == Stop::Blind)
        };
        let loss = |of: &[&LineStation], pick: Pick| {
            let sections: Vec<(f64, &Section)> =
                of.iter().filter_map(|s| pick(s).map(|section| (s.s, section))).collect();
            pressure_loss(&sections, self.flow, self.metres)
        };
        let (old, new): (Pick, Pick) = (|s| s.before.as_ref(), |s| s.after.as_ref());
        let [before, after, whole] = stretches(&stations);
        let (ball_before, (ball_after, ball_whole)) = rayon::join(
            || ball(&self.scan_bore, &before, old),
            || {
                let on_part = |of: &[&LineStation]| ball(&self.trees.bore, of, new);
                rayon::join(|| on_part(&after), || on_part(&whole))
            },
        );
        FlowLine {
            from: from.end.name.clone(),
            to,
            stop,
            ball_before,
            ball_after,
            ball_whole,
            loss_before: loss(&before, old),
            loss_after: loss(&after, new),
            loss_whole: loss(&whole, new),
            stations,
        }
    }

    fn unless_stopped(&self, section: impl FnOnce() -> Option<Section>) -> Option<Section> {
        if self.stop.is_asked() { None } else { section() }
    }

    /// The scan's section, on the scan's stretch.
    fn before(&self, place: &Place, walker: &mut Walker) -> Option<Section> {
        if place.on != On::Scan {
            return None;
        }
        section(&self.scan, &place.frame, &self.scan_outside, walker)
    }
}

/// The scan's stretch before, the same after, and all of the part's: each as far as sections
/// follow each other without a gap.
fn stretches(stations: &[LineStation]) -> [Vec<&LineStation>; 3] {
    [
        run(stations, |s| s.before.is_some()),
        run(stations, |s| s.before.is_some() && s.after.is_some()),
        run(stations, |s| s.after.is_some()),
    ]
}

/// Which section of a station is meant.
pub(super) type Pick = fn(&LineStation) -> Option<&Section>;

/// The first stations in a row for which this holds.
fn run(stations: &[LineStation], has: impl Fn(&LineStation) -> bool) -> Vec<&LineStation> {
    stations.iter().skip_while(|s| !has(s)).take_while(|s| has(s)).collect()
}

/// Curvature at place `i` of a line of lengths and points: one over the radius of the circle
/// through it and the first points at least `arm` before and after (Menger). On a
/// circle it is exact. None where the line is too short for that.
fn curvature(line: &[(f64, DVec3)], i: usize, arm: f64) -> Option<f64> {
    let is_far = |&(s, _): &&(f64, DVec3)| (s - line[i].0).abs() >= arm;
    let before = line[..i].iter().rev().find(is_far)?.1;
    let after = line[i + 1..].iter().find(is_far)?.1;
    let (a, b) = (before - line[i].1, after - line[i].1);
    let product = a.length() * b.length() * before.distance(after);
    let found = 2.0 * a.cross(b).length() / product;
    found.is_finite().then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use spile_mesh::Mesh;
    use std::f64::consts::{FRAC_PI_2, PI, TAU};

    const SIDES: u32 = 64;

    /// An open bore through rings: their centres, two directions at right angles, radii.
    fn bore(rings: &[(DVec3, [DVec3; 2], f64)]) -> BoreSurface {
        let corner = |i: u32| (TAU * f64::from(i) / f64::from(SIDES)).sin_cos();
        let points = rings.iter().flat_map(|&(centre, [u, v], radius)| {
            (0..SIDES).map(move |i| centre + radius * (corner(i).1 * u + corner(i).0 * v))
        });
        let strip = |k: u32| {
            (0..SIDES).flat_map(move |i| {
                let (a, b) = (k * SIDES + i, k * SIDES + (i + 1) % SIDES);
                [[a, b + SIDES, b], [a, a + SIDES, b + SIDES]]
            })
        };
        let triangles: Vec<[u32; 3]> = (0..rings.len() as u32 - 1).flat_map(strip).collect();
        let mesh = Mesh::new(points.collect(), triangles).unwrap();
        BoreSurface::of(&mesh, &(0..mesh.triangles().len() as u32).collect::<Vec<_>>())
    }

    /// Share of a circle's area that its inscribed polygon has (check-values, section 5).
    fn polygon_share() -> f64 {
        let n = f64::from(SIDES);
        n / TAU * (TAU / n).sin()
    }

    #[test]
    fn a_bend_is_as_curved_as_its_torus_and_as_wide() {
        // check-values, torus: R 30, r 9, a quarter of it.
        let ring = |k: u32| {
            let (s, c) = (FRAC_PI_2 * f64::from(k) / 60.0).sin_cos();
            let out = DVec3::new(c, s, 0.0);
            (30.0 * out, [out, DVec3::Z], 9.0)
        };
        let bend = bore(&(0..=60).map(ring).collect::<Vec<_>>());
        let from = 30.0 * DVec3::new(0.1_f64.cos(), 0.1_f64.sin(), 0.0);
        let facing = DVec3::new(0.1_f64.sin(), -0.1_f64.cos(), 0.0);
        let march = March { from, facing, length: 38.0, spacing: 2.25, radius: 9.0 };
        let found = centreline(&bend, &march);
        let line: Vec<(f64, DVec3)> = found.points.iter().map(|p| (p.s, p.at)).collect();
        let curved: Vec<f64> = (0..line.len()).filter_map(|i| curvature(&line, i, 9.0)).collect();
        assert!(curved.len() >= 5, "{found:?}");
        for k in curved {
            assert!((30.0 * k - 1.0).abs() < 0.03, "{}", 30.0 * k);
        }
        // The section square to the line is the ring's polygon, but for the mesh's own chords.
        let mut walker = Walker::default();
        let empty = Bvh::build(&Mesh::default());
        for point in &found.points[2..found.points.len() - 2] {
            let frame = Frame::new(point.at, point.tangent);
            let area = section(&bend, &frame, &empty, &mut walker).unwrap().area;
            let share = area / (PI * 81.0) / polygon_share();
            assert!((share - 1.0).abs() < 2e-3, "{share}");
        }
    }

    #[test]
    fn a_cone_narrows_as_its_formula_says_and_its_wall_is_that_to_the_next_cone() {
        // check-values C2, C3: a frustum, r 9 to 11 over 20; a cone around it everywhere 2 wider
        // lies 2 cos(atan 0.1) away, for polygons times cos(pi / n) at most.
        let cone = |wider: f64| {
            let ends = [(0.0, 9.0 + wider), (20.0, 11.0 + wider)];
            ends.map(|(z, r)| (z * DVec3::Z, [DVec3::X, DVec3::Y], r))
        };
        let inner = bore(&cone(0.0));
        let around = bore(&cone(2.0));
        let corners = |t: u32| around.corner_points(t);
        let triangles = (0..around.len() as u32).map(corners).collect();
        let outer = Bvh::build(&Mesh::new(around.points().to_vec(), triangles).unwrap());
        let mut walker = Walker::default();
        for z in [4.0, 10.0, 16.0] {
            let frame = Frame::new(z * DVec3::Z, DVec3::Z);
            let found = section(&inner, &frame, &outer, &mut walker).unwrap();
            let radius = 9.0 + 0.1 * z;
            let area = PI * radius * radius * polygon_share();
            assert!((found.area / area - 1.0).abs() < 1e-12);
            assert!((found.circumscribed_diameter / (2.0 * radius) - 1.0).abs() < 1e-12);
            let step = PI / f64::from(SIDES);
            let perimeter = 2.0 * f64::from(SIDES) * radius * step.sin();
            assert!((found.perimeter / perimeter - 1.0).abs() < 1e-12);
            let wall = found.wall.unwrap() / (2.0 * 0.1_f64.atan().cos());
            assert!(step.cos() - 1e-3 < wall && wall <= 1.0, "{wall}");
        }
    }

    #[test]
    fn a_circle_is_as_curved_everywhere_and_a_line_is_not() {
        // check-values, torus of R 30: 1/30; stations of any spacing.
        let mut angle: f64 = 0.0;
        let line: Vec<(f64, DVec3)> = (0..40)
            .map(|i| {
                angle += 0.03 + 0.02 * f64::from(i % 3);
                (30.0 * angle, 30.0 * DVec3::new(angle.cos(), angle.sin(), 0.0))
            })
            .collect();
        let found: Vec<f64> = (0..40).filter_map(|i| curvature(&line, i, 9.0)).collect();
        assert!(found.len() > 20);
        assert!(found.iter().all(|k| (k * 30.0 - 1.0).abs() < 1e-12));
        let straight: Vec<(f64, DVec3)> =
            (0..9).map(|i| (f64::from(i), f64::from(i) * DVec3::Y)).collect();
        assert_eq!(curvature(&straight, 4, 2.0), Some(0.0));
        assert_eq!(curvature(&straight, 1, 2.0), None);
    }
}
