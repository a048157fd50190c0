//! How much open area the bore loses, within reach and in the joint.
//!
//! Within reach the same planes, square to the scan's centreline, cut scan and
//! part. In the joint the least section over tilts counts, at stations on the
//! curve from seam to fitting, against the smaller of the fitting's circle and
//! the scan's own last section. Between stations planes are kept parallel and
//! every one of them is judged ([`band`]). Where an oblique seam leaves planes
//! that cut scan and joint both, those are judged too ([`beside_seam`]).

pub mod band;
mod beside_seam;
pub mod profile;
pub mod tilt;

use crate::centreline::{CentrePoint, Centreline, LineEnd, March, centreline};
use crate::flow_section::{BoreSurface, Frame, Walker, perimeter};
use crate::stations::{Hermite, StationFigures, figures, loop_centre, outlines};
use band::{least_in_band, loss_in_band};
use profile::Band;
use rayon::prelude::*;
use spile_mesh::DVec3;
use tilt::{
    LeastTilt, TILT_MOST_DEG, least_near, least_tilt, loop_radius, search_among, tilted_area,
};

/// The bore of scan and part near one end.
pub struct EndBore<'a> {
    /// The scan's bore as given, what was given up included.
    pub scan: &'a BoreSurface,
    /// The part's bore: scan, joint and fitting.
    pub part: &'a BoreSurface,
    /// Whether a triangle of the scan (by its own index) is kept or replaced,
    /// not given up.
    pub is_on_scan: &'a (dyn Fn(u32) -> bool + Sync),
    /// Whether a triangle of the scan is in the part untouched.
    pub is_untouched: &'a (dyn Fn(u32) -> bool + Sync),
    /// The part's seam on the bore, in order round it.
    pub seam: &'a [DVec3],
    /// Unit direction off the scan.
    pub facing: DVec3,
    /// Whether the end is a rim: then the joint leaves along the scan's own
    /// centreline, not along `facing`.
    pub is_rim: bool,
    /// How far from the seam the scan may be changed.
    pub reach: f64,
    /// The fitting's bore; none at a plain end.
    pub fitting: Option<FittingBore>,
}

/// The bore of a plain tube.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FittingBore {
    /// Centre of the near face.
    pub at: DVec3,
    /// Unit axis, off the scan.
    pub along: DVec3,
    /// Radius.
    pub radius: f64,
    /// Length.
    pub length: f64,
}

/// A loss and where it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loss {
    /// Share of area lost; negative where the part is wider.
    pub share: f64,
    /// The station, moved between two stations to the plane that is meant.
    pub at: DVec3,
    /// The plane's unit normal.
    pub normal: DVec3,
    /// Perimeter x coordinate spacing / area of the section there: what rounding
    /// the coordinates alone may take.
    pub rounding_share: f64,
}

/// What the joint is measured against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JointReference {
    /// The fitting's circle.
    pub fitting_area: f64,
    /// A0, the scan's own least section over tilts up to 20 degrees through the
    /// last station at which all of them close on scan that is not given up,
    /// and that station's `s`; none where there is no such station.
    pub scan: Option<(f64, f64)>,
    /// For information: the same on untouched scan alone.
    pub untouched: Option<(f64, f64)>,
}

impl JointReference {
    /// The area that the joint is measured against.
    pub fn area(&self) -> f64 {
        self.scan.map_or(self.fitting_area, |(_, area)| area.min(self.fitting_area))
    }
}

/// All that was found at one end.
#[derive(Debug, Clone, PartialEq)]
pub struct BoreLoss {
    /// The greatest loss within reach; none where no plane could be compared.
    pub within_reach: Option<Loss>,
    /// The greatest loss in the joint; none at a plain end.
    pub joint: Option<Loss>,
    /// The greatest loss in the planes between: beside the seam, where scan and
    /// joint are cut both. None at a plain end, or where no such plane is left.
    pub beside_seam: Option<Loss>,
    /// What the joint was measured against.
    pub reference: Option<JointReference>,
    /// The first plane in which the part's bore does not close: nothing can be
    /// judged there.
    pub not_closed: Option<DVec3>,
    /// Stations at which a least was found at 20 degrees and sought up to 40.
    pub searched_again: usize,
    /// The scan's centreline.
    pub line: Centreline,
    /// The stations' figures, `s` rising.
    pub stations: Vec<StationFigures>,
}

impl BoreLoss {
    /// The greatest of all losses.
    pub fn worst(&self) -> Option<Loss> {
        let all = self.within_reach.into_iter().chain(self.beside_seam).chain(self.joint);
        all.max_by(|a, b| a.share.total_cmp(&b.share))
    }
}

/// Stations a radius.
const STATIONS_A_RADIUS: f64 = 12.0;
/// The scan is followed this many radii beyond reach.
const BEYOND_REACH: f64 = 2.0;
/// Tilts at which A0's sections must close: this many directions at two angles.
const A0_DIRECTIONS: usize = 16;

/// Measures the loss at one end.
///
/// None where the seam bounds no area. Accuracy: within reach and between
/// stations exact in the given planes; over tilts a search. Cost: linear in the
/// triangles near the end times the cut length of one section.
pub fn bore_loss(end: &EndBore) -> Option<BoreLoss> {
    let centre = loop_centre(end.seam)?;
    let far = end.seam.iter().map(|p| p.distance(centre)).sum::<f64>();
    let radius = far / end.seam.len() as f64;
    let spacing = radius / STATIONS_A_RADIUS;
    let length = end.reach + BEYOND_REACH * radius;
    let march = March { from: centre, facing: end.facing, length, spacing, radius };
    let line = centreline(end.scan, &march);
    let mut found = BoreLoss {
        within_reach: None,
        joint: None,
        beside_seam: None,
        reference: None,
        not_closed: None,
        searched_again: 0,
        stations: Vec::new(),
        line,
    };
    judge_reach(end, &mut found);
    if let Some(fitting) = end.fitting {
        let tangent = found.line.points.first().map(|point| point.tangent);
        let leaving = tangent.filter(|_| end.is_rim).unwrap_or(end.facing);
        let curve = Hermite::new(centre, leaving, fitting.at, fitting.along);
        judge_joint(end, &fitting, &curve.stations(spacing), &mut found);
        beside_seam::judge(end, centre, &mut found);
    }
    found.stations.sort_by(|a, b| a.s.total_cmp(&b.s));
    Some(found)
}

/// Same planes through scan and part, from the far end of the line to the seam.
fn judge_reach(end: &EndBore, found: &mut BoreLoss) {
    let points = &found.line.points;
    let wanted = |t: u32| (end.is_on_scan)(end.scan.id(t));
    let bands: Vec<Band> = (points.windows(2))
        .map(|pair| Band { frame: Frame::new(pair[1].at, pair[1].tangent), to: pair[0].at })
        .filter(|band| band.thickness() > 0.0)
        .collect();
    let losses: Vec<_> =
        (bands.par_iter()).map(|band| loss_in_band(end.scan, end.part, band, &wanted)).collect();
    for (band, loss) in bands.iter().zip(losses) {
        match loss {
            Ok(None) => {}
            Ok(Some(loss)) => {
                let at = band.frame.moved_to(band.station(loss.height));
                worsen(&mut found.within_reach, end, &at, loss.value);
            }
            Err(height) => {
                found.not_closed.get_or_insert(band.station(height));
            }
        }
    }
    let figured: Vec<StationFigures> = (points.par_iter())
        .map(|point| {
            let frame = Frame::new(point.at, point.tangent);
            let scan = plane_cut(end.scan, &frame);
            let part = plane_cut(end.part, &frame);
            figures(point.s, &frame, Some((end.scan, &scan)), (end.part, &part))
        })
        .collect();
    found.stations.extend(figured);
}

/// Least sections along the curve, and all planes between them.
fn judge_joint(
    end: &EndBore,
    fitting: &FittingBore,
    stations: &[(f64, Frame)],
    found: &mut BoreLoss,
) {
    let reference = JointReference {
        fitting_area: std::f64::consts::PI * fitting.radius * fitting.radius,
        scan: own_section(end, &found.line.points, end.is_on_scan),
        untouched: own_section(end, &found.line.points, end.is_untouched),
    };
    found.reference = Some(reference);
    let least: Vec<Option<LeastTilt>> = (stations.par_iter())
        .map(|(_, frame)| {
            let mut walker = Walker::default();
            let all = plane_cut(end.part, frame);
            let radius = loop_radius(end.part, frame, frame.origin, &all, &mut walker)?;
            let among = end.part.touching(frame.origin, 1.3 * radius);
            let few = search_among(end.part, frame, &among, &mut walker);
            let found = least_tilt([0.0, 0.0], |tilt| {
                tilted_area(end.part, frame, tilt, &few, &mut walker)
            })?;
            let area = tilted_area(end.part, frame, found.tilt, &among, &mut walker);
            Some(LeastTilt { area: area.unwrap_or(found.area), ..found })
        })
        .collect();
    for ((_, frame), least) in stations.iter().zip(&least) {
        let Some(least) = least else {
            found.not_closed.get_or_insert(frame.origin);
            continue;
        };
        found.searched_again += usize::from(least.is_searched_again);
        let turned = frame.tilted(least.tilt);
        worsen(&mut found.joint, end, &turned, 1.0 - least.area / reference.area());
    }
    let gaps: Vec<_> = (0..stations.len() - 1)
        .into_par_iter()
        .map(|i| {
            let turned = [i, i + 1]
                .map(|k| least[k].map_or(stations[k].1, |found| stations[k].1.tilted(found.tilt)));
            least_between(end.part, [&stations[i].1, &stations[i + 1].1], turned)
        })
        .collect();
    for gap in gaps {
        match gap {
            Ok((frame, area)) => {
                worsen(&mut found.joint, end, &frame, 1.0 - area / reference.area());
            }
            Err(at) => {
                found.not_closed.get_or_insert(at);
            }
        }
    }
    let figured: Vec<StationFigures> = (stations.par_iter().enumerate())
        .map(|(i, (s, frame))| {
            let part = plane_cut(end.part, frame);
            // The first plane is the seam's own: the scan has a section there too.
            let scan = if i == 0 { plane_cut(end.scan, frame) } else { Vec::new() };
            let scan = (i == 0).then_some((end.scan, scan.as_slice()));
            figures(*s, frame, scan, (end.part, &part))
        })
        .collect();
    found.stations.extend(figured);
}

/// The least section between two stations: planes kept parallel as the first
/// station has them and as both stations' least sections have them; then, from
/// the least of these, turned a little and swept once more.
fn least_between(
    part: &BoreSurface,
    stations: [&Frame; 2],
    turned: [Frame; 2],
) -> Result<(Frame, f64), DVec3> {
    let [from, to] = stations.map(|frame| frame.origin);
    let mut least: Option<(Frame, f64)> = None;
    let mut sweep = |frame: &Frame| -> Result<Option<(Frame, f64)>, DVec3> {
        let band = Band { frame: frame.moved_to(from), to };
        if band.thickness() <= 0.0 {
            return Ok(least);
        }
        let found = least_in_band(part, &band).map_err(|height| band.station(height))?;
        if least.is_none_or(|(_, area)| found.value < area) {
            least = Some((frame.moved_to(band.station(found.height)), found.value));
        }
        Ok(least)
    };
    sweep(stations[0])?;
    sweep(&turned[0])?;
    let Some((frame, area)) = sweep(&turned[1])? else { return Err(from) };
    let straight = stations[0].moved_to(frame.origin);
    let all = plane_cut(part, &frame);
    let mut walker = Walker::default();
    if let Some(radius) = loop_radius(part, &frame, frame.origin, &all, &mut walker) {
        let among = part.touching(frame.origin, 1.3 * radius);
        let few = search_among(part, &straight, &among, &mut walker);
        let start = straight.tilt_to(frame.normal);
        let most = start[0].hypot(start[1]).max(TILT_MOST_DEG.to_radians());
        let better =
            least_near(start, most, |tilt| tilted_area(part, &straight, tilt, &few, &mut walker));
        if let Some((tilt, _)) = better {
            return sweep(&straight.tilted(tilt))?.ok_or(from);
        }
    }
    Ok((frame, area))
}

/// A0 and its station: the last one whose sections close on scan that counts, over
/// all tilts up to 20 degrees.
///
/// Replaced scan counts where the joint is judged: it is the scan's own surface that is cut, and what the
/// maker of the part chose to replace must not move the measure.
fn own_section(
    end: &EndBore,
    points: &[CentrePoint],
    counts: &(dyn Fn(u32) -> bool + Sync),
) -> Option<(f64, f64)> {
    let most = TILT_MOST_DEG.to_radians();
    let mut walker = Walker::default();
    for point in points {
        let frame = Frame::new(point.at, point.tangent);
        let all = plane_cut(end.scan, &frame);
        let Some(radius) = loop_radius(end.scan, &frame, point.at, &all, &mut walker) else {
            continue;
        };
        let among = end.scan.touching(point.at, 1.3 * radius);
        let few = search_among(end.scan, &frame, &among, &mut walker);
        let mut closes = |tilt: [f64; 2]| {
            let turned = frame.tilted(tilt);
            let section = end.scan.section(&turned, 0.0, point.at, &few, &mut walker);
            section.is_some_and(|s| s.outer.cut.iter().all(|&t| counts(end.scan.id(t))))
        };
        let ring = |share: f64| {
            (0..A0_DIRECTIONS)
                .map(move |k| std::f64::consts::TAU * k as f64 / A0_DIRECTIONS as f64)
                .map(move |a| [share * most * a.cos(), share * most * a.sin()])
        };
        if !(closes([0.0, 0.0]) && ring(1.0).chain(ring(0.5)).all(&mut closes)) {
            continue;
        }
        let least = tilt::least_within([0.0, 0.0], most, |tilt| {
            tilted_area(end.scan, &frame, tilt, &few, &mut walker)
        })?;
        let area = tilted_area(end.scan, &frame, least.0, &among, &mut walker);
        return Some((point.s, area.unwrap_or(least.1)));
    }
    None
}

/// Keeps the greater loss, with what rounding may take at its place.
fn worsen(worst: &mut Option<Loss>, end: &EndBore, frame: &Frame, share: f64) {
    if worst.is_none_or(|w| share > w.share) {
        let rounding_share = rounding_share(end.part, frame);
        *worst = Some(Loss { share, at: frame.origin, normal: frame.normal, rounding_share });
    }
}

/// Perimeter x spacing of the coordinates / area, of the section in this plane.
fn rounding_share(bore: &BoreSurface, frame: &Frame) -> f64 {
    let among = plane_cut(bore, frame);
    let section = bore.section(frame, 0.0, frame.origin, &among, &mut Walker::default());
    let Some(section) = section else { return 0.0 };
    let flat = outlines(bore, &section, frame);
    let length: f64 = flat.iter().map(|o| perimeter(o)).sum();
    let points = bore.outline_points(&section.outer, frame, 0.0);
    let largest = points.iter().map(|p| p.abs().max_element()).fold(0.0, f64::max);
    length * f64::from(spacing_f32(largest)) / section.area
}

/// The distance from `x` to the next `f32` above it.
fn spacing_f32(x: f64) -> f32 {
    let x = (x as f32).abs();
    x.next_up() - x
}

/// The triangles that the plane crosses.
fn plane_cut(bore: &BoreSurface, frame: &Frame) -> Vec<u32> {
    bore.between(frame, 0.0, 0.0)
}

/// What is to be said of the end of the line, if anything.
pub fn line_remark(end: &LineEnd) -> Option<String> {
    let at = |p: &DVec3| format!("({:.3}, {:.3}, {:.3})", p.x, p.y, p.z);
    match end {
        LineEnd::LongEnough => None,
        LineEnd::Blind(p) => Some(format!("the bore is blind and ends at {}", at(p))),
        LineEnd::Open(p) => Some(format!("the stations stop where the bore opens, at {}", at(p))),
        LineEnd::Branch(p) => Some(format!(
            "the stations stop where a branch makes the section ambiguous, at {}",
            at(p)
        )),
        LineEnd::NoSection => Some("no section of the scan's bore closes near the end".to_owned()),
    }
}
