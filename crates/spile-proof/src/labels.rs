//! What each triangle of part and scan is, told anew from the two surfaces and
//! checked against what the settled case claims.

use std::collections::BTreeSet;

use spile_case::{Case, Flange, Limits, Site};
use spile_mesh::{DVec3, Mesh};

use crate::fitting_find::coordinate_spacing;
use crate::fitting_shape::SideRun;
use crate::identity::{match_triangles, weld};
use crate::mends::Licences;
use crate::part_view::{PartView, look_at_part};
use crate::polyline::{Polyline, best_plane, height};
use crate::proof::ProofError;
use crate::scan_view::ScanView;
use crate::stop::Stop;

/// What a triangle of the part belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Region {
    /// A triangle of the scan, bit for bit.
    Kept,
    /// New, on the scan's side of a seam or in a mended place.
    Replaced,
    /// New, from a scan seam to the fitting.
    Joint,
    /// Of a fitting, from its near face on, its far face excepted.
    Fitting,
    /// A fitting's far face, a plain end's ring or a ring that closes another rim.
    EndFace,
    /// Made outside ([`spile_case::Form::Bore`]) away from every joint.
    MadeWall,
}

/// Which side of the wall a triangle is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Side {
    /// The flow side.
    Bore,
    /// The other side.
    Outside,
    /// An end face, a void, or not to be told.
    Neither,
}

/// What became of a triangle of the scan. The number is that of the end, in
/// the case's order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Fate {
    /// It is in the part, bit for bit.
    Kept,
    /// It lies within reach of this end and other triangles stand in its place.
    Replaced(usize),
    /// It lies wholly beyond this end's cut, or was trimmed off at its rim.
    Removed(usize),
    /// A listed mend took it away, and the proof found the defect too.
    MendedAway,
    /// It is not in the part, and nothing that is allowed explains it.
    Lost,
}

/// The exact surface of a fitting in space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FittingFrame {
    /// Centre of the near face.
    pub at: DVec3,
    /// Unit axis, off the scan.
    pub along: DVec3,
    /// How the bore runs.
    pub bore: SideRun,
    /// How the outside runs, its flange apart.
    pub outside: SideRun,
    /// Length along the axis.
    pub length: f64,
    /// A flat ring round it.
    pub flange: Option<Flange>,
}

/// A plane with unit normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    /// A point of it.
    pub point: DVec3,
    /// Its unit normal.
    pub normal: DVec3,
}

/// Something that could not be told, so that what rests on it is not judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// The end it belongs to; none if it spoils the whole part's labels.
    pub end: Option<usize>,
    /// What is wrong, as a sentence for a person.
    pub text: String,
    /// The place, where there is one.
    pub at: Option<DVec3>,
}

/// One end of the case as the proof sees it.
#[derive(Debug, Clone)]
pub struct LabelledEnd {
    /// Its name in the case.
    pub name: String,
    /// Its place in the case's list.
    pub index: usize,
    /// The asked plane; at a rim the best plane of the seam. The normal points
    /// off the scan.
    pub plane: Plane,
    /// Whether it is a rim that the scan has, not a cut.
    pub is_rim: bool,
    /// Unit direction off the scan: the cut's `facing`, at a rim the settled one.
    pub facing: DVec3,
    /// How far from the cut the scan may change; 0 where the case gives none.
    pub reach: f64,
    /// The scan's own loop on the bore: section by the plane, or its rim.
    pub scan_loop_bore: Vec<DVec3>,
    /// The scan's own loop on the outside; empty for form bore.
    pub scan_loop_outside: Vec<DVec3>,
    /// The settled seam on the bore as points of the part, in order round it.
    pub seam_bore: Vec<u32>,
    /// The settled seam on the outside; empty where the outside is made.
    pub seam_outside: Vec<u32>,
    /// The fitting; none at a plain end.
    pub fitting: Option<FittingFrame>,
    /// Where joint and fitting meet on the bore, as points of the part.
    pub fitting_seam_bore: Vec<u32>,
    /// Where joint and fitting meet on the outside.
    pub fitting_seam_outside: Vec<u32>,
}

/// Scan and part, triangle by triangle.
///
/// Invariants: `region`, `side` and `end` and `scan_of` have one entry a part
/// triangle; `fate` and `scan_side` one a scan triangle; `scan_of[t]` is `Some`
/// exactly where `region[t]` is [`Region::Kept`].
pub struct Labelled<'a> {
    /// The settled case.
    pub case: &'a Case,
    /// The scan files' meshes as given.
    pub scans: &'a [Mesh],
    /// All of them in one mesh: file 0's triangles first. Points at one place
    /// in one file are one point. Coordinates are as read, not rounded.
    pub scan: Mesh,
    /// The part; points at one place are one point.
    pub part: &'a Mesh,
    /// What each part triangle belongs to.
    pub region: Vec<Region>,
    /// Which side of the wall each part triangle is on.
    pub side: Vec<Side>,
    /// The end whose joint, fitting, end face or reach it belongs to.
    pub end: Vec<Option<usize>>,
    /// The scan triangle that each kept part triangle is.
    pub scan_of: Vec<Option<u32>>,
    /// What became of each scan triangle.
    pub fate: Vec<Fate>,
    /// Which side of the wall each scan triangle is on.
    pub scan_side: Vec<Side>,
    /// The ends, in the case's order.
    pub ends: Vec<LabelledEnd>,
    /// What could not be told. Where this is not empty, what rests on the
    /// labels is not judged.
    pub faults: Vec<Fault>,
    /// The scan's edges and open loops.
    pub(crate) scan_view: ScanView,
    /// The part's edges.
    pub(crate) part_edges: crate::edges::Edges,
    /// The faces of each end's fitting.
    pub(crate) fittings: Vec<crate::fitting_find::Found>,
    /// What must hold at each end; see [`Labelled::limits`].
    pub(crate) asked: Vec<Limits>,
    /// What the listed mends give leave to.
    pub(crate) licences: Licences,
    /// Whether nobody wants the proof any more: asked within long work, which then breaks off.
    pub(crate) stop: &'a Stop<'a>,
}

impl Labelled<'_> {
    /// What must hold at `end`: its own limits; where its reach overlaps that of
    /// another end, the stricter of the two for what is judged by reach.
    pub fn limits(&self, end: &LabelledEnd) -> Limits {
        self.asked[end.index]
    }

    /// Part triangles for which `wanted` holds, in order.
    pub fn part_where(&self, wanted: impl Fn(usize) -> bool) -> Vec<u32> {
        (0..self.part.triangles().len()).filter(|&t| wanted(t)).map(|t| t as u32).collect()
    }

    /// Scan triangles for which `wanted` holds, in order.
    pub fn scan_where(&self, wanted: impl Fn(usize) -> bool) -> Vec<u32> {
        (0..self.scan.triangles().len()).filter(|&t| wanted(t)).map(|t| t as u32).collect()
    }
}

/// Labels scan and part. `part` has one point a place.
///
/// # Errors
/// It was stopped.
pub(crate) fn label<'a>(
    scans: &'a [Mesh],
    part: &'a Mesh,
    case: &'a Case,
    stop: &'a Stop<'a>,
) -> Result<Labelled<'a>, ProofError> {
    stop.go_on()?;
    let welded: Vec<Mesh> = scans.iter().map(weld).collect();
    let inner = scans.first().map_or(0, |m| m.triangles().len());
    let scan = Mesh::joined(&welded).unwrap_or_default();
    let mut view = ScanView::of(scan.clone(), inner, case);
    stop.go_on()?;
    let removed = view.removed.clone();
    let mut scan_of = match_triangles(&scan, part, |t| removed[t].is_none());
    stop.go_on()?;
    let looked = look_at_part(part, case, &view, &scan_of);
    stop.go_on()?;
    for (of, region) in scan_of.iter_mut().zip(&looked.region) {
        if *region != Region::Kept {
            *of = None;
        }
    }
    let mut present = vec![false; scan.triangles().len()];
    for &s in scan_of.iter().flatten() {
        present[s as usize] = true;
    }
    let licences = Licences::of(case, &view, &present);
    let ends = (0..case.ends.len())
        .map(|i| labelled_end(i, part, case, &view, &looked))
        .collect::<Vec<_>>();
    let mut faults = std::mem::take(&mut view.faults);
    faults.extend(looked.faults);
    faults.extend(ends.iter().filter_map(|e| facing_fault(&view, e)));
    let mut overlaps = looked.overlaps;
    let fate = fates((case, part), &view, &ends, &scan_of, &licences, (&mut overlaps, &mut faults));
    stop.go_on()?;
    Ok(Labelled {
        case,
        scans,
        scan,
        part,
        region: looked.region,
        side: looked.side,
        end: looked.end,
        scan_of,
        fate,
        scan_side: view.side.clone(),
        ends,
        faults,
        scan_view: view,
        part_edges: looked.edges,
        fittings: looked.fittings,
        asked: asked(case, &overlaps),
        licences,
        stop,
    })
}

fn labelled_end(
    index: usize,
    part: &Mesh,
    case: &Case,
    scan: &ScanView,
    looked: &PartView,
) -> LabelledEnd {
    let (end, on_scan, seams) = (&case.ends[index], &scan.ends[index], &looked.seams.ends[index]);
    let facing = match end.site {
        Site::Cut(cut) => DVec3::from_array(cut.facing),
        Site::Rim(rim) => DVec3::from_array(rim.facing.unwrap_or([0.0, 0.0, 1.0])),
        Site::Station(_) => DVec3::Z,
    };
    let facing = facing.try_normalize().unwrap_or(DVec3::Z);
    let points = |l: &[u32]| l.iter().map(|&v| part.points()[v as usize]).collect::<Vec<_>>();
    let plane = on_scan
        .plane
        .or_else(|| best_plane(&points(&seams.bore), facing))
        .unwrap_or(Plane { point: DVec3::ZERO, normal: facing });
    LabelledEnd {
        name: end.name.clone(),
        index,
        plane,
        is_rim: matches!(end.site, Site::Rim(_)),
        facing,
        reach: end.reach.unwrap_or(0.0),
        scan_loop_bore: on_scan.bore.points.clone(),
        scan_loop_outside: on_scan.outside.points.clone(),
        seam_bore: seams.bore.clone(),
        seam_outside: seams.outside.clone(),
        fitting: FittingFrame::of(case, end),
        fitting_seam_bore: looked.fittings[index].seam_bore.clone(),
        fitting_seam_outside: looked.fittings[index].seam_outside.clone(),
    }
}

/// At a rim `facing` is a settled value; it must point off the scan, roughly
/// square to the seam's plane.
fn facing_fault(scan: &ScanView, end: &LabelledEnd) -> Option<Fault> {
    if !end.is_rim || end.seam_bore.is_empty() {
        return None;
    }
    let on_scan = &scan.ends[end.index].bore;
    let middle = crate::polyline::middle(&on_scan.points);
    let beside = on_scan.triangles.iter().flat_map(|&t| scan.mesh.corners(t as usize));
    let behind: DVec3 = beside.map(|p| p - middle).sum();
    let is_steep = end.plane.normal.dot(end.facing) < 0.5;
    (is_steep || behind.dot(end.facing) >= 0.0).then(|| Fault {
        end: Some(end.index),
        text: "the settled facing does not point off the scan at this rim".to_owned(),
        at: Some(middle),
    })
}

/// What became of each scan triangle; checks on the way that sections at some
/// depths within reach agree with the sides.
fn fates(
    (case, part): (&Case, &Mesh),
    scan: &ScanView,
    ends: &[LabelledEnd],
    scan_of: &[Option<u32>],
    licences: &Licences,
    (overlaps, faults): (&mut [BTreeSet<usize>], &mut Vec<Fault>),
) -> Vec<Fate> {
    let mut fate = vec![Fate::Lost; scan.mesh.triangles().len()];
    for (t, fate) in fate.iter_mut().enumerate() {
        if licences.may_go(t as u32) {
            *fate = Fate::MendedAway;
        }
    }
    // Of several ends within whose reach it lies, a triangle is that of the nearest.
    let mut nearest = vec![f64::INFINITY; fate.len()];
    for (index, end) in ends.iter().enumerate() {
        let mut within = vec![false; fate.len()];
        for side in [Side::Bore, Side::Outside] {
            let beyond = trimmed_beyond(part, end, side);
            let line = Polyline::closed(loop_on(side, end));
            for t in within_reach(case, part, scan, end, side) {
                within[t as usize] = true;
                if let Fate::Replaced(other) | Fate::Removed(other) = fate[t as usize] {
                    overlaps[index].insert(other);
                }
                let corners = scan.mesh.corners(t as usize);
                let off = beyond.is_some_and(|p| corners.into_iter().all(|c| height(p, c) > 0.0));
                let far = line.distance(corners.iter().sum::<DVec3>() / 3.0);
                if far < nearest[t as usize] {
                    nearest[t as usize] = far;
                    fate[t as usize] =
                        if off { Fate::Removed(index) } else { Fate::Replaced(index) };
                }
            }
        }
        let depths = [0.25, 0.6, 0.95].map(|share| share * end.reach);
        if !case.scan.form.makes_wall()
            && end.reach > 0.0
            && let Some((text, at)) = scan.contradiction(end.plane, &depths, &within)
        {
            faults.push(Fault { end: Some(index), text, at: Some(at) });
        }
    }
    for (t, end) in scan.removed.iter().enumerate() {
        if let Some(end) = *end {
            fate[t] = Fate::Removed(end);
        }
    }
    for s in scan_of.iter().flatten() {
        fate[*s as usize] = Fate::Kept;
    }
    fate
}

/// The scan's own loop of an end on this side of the wall.
fn loop_on(side: Side, end: &LabelledEnd) -> &[DVec3] {
    if side == Side::Bore { &end.scan_loop_bore } else { &end.scan_loop_outside }
}

/// What must hold at each end. Where the reaches of two ends overlap, what is
/// judged by reach is not looser at the one than at the other: which of them a
/// triangle is told to belong to there must not decide by what it is judged.
fn asked(case: &Case, overlaps: &[BTreeSet<usize>]) -> Vec<Limits> {
    let own: Vec<Limits> = case.ends.iter().map(|end| case.limits_at(end)).collect();
    let mut asked = own.clone();
    for (i, others) in overlaps.iter().enumerate() {
        for &j in others.iter().filter(|&&j| j != i) {
            (asked[i], asked[j]) = (stricter(asked[i], &own[j]), stricter(asked[j], &own[i]));
        }
    }
    asked
}

/// `own` with `other`'s deviation, wall and kink where those are stricter.
fn stricter(own: Limits, other: &Limits) -> Limits {
    let least = |a: Option<f64>, b: Option<f64>| a.into_iter().chain(b).reduce(f64::min);
    let most = |a: Option<f64>, b: Option<f64>| a.into_iter().chain(b).reduce(f64::max);
    Limits {
        deviation: own.deviation.min(other.deviation),
        wall_min: most(own.wall_min, other.wall_min),
        kink_deg: least(own.kink_deg, other.kink_deg),
        ..own
    }
}

/// At a rim, the plane beyond which the scan was trimmed off on this side.
pub(crate) fn trimmed_beyond(part: &Mesh, end: &LabelledEnd, side: Side) -> Option<Plane> {
    if !end.is_rim {
        return None;
    }
    let seam = if side == Side::Bore { &end.seam_bore } else { &end.seam_outside };
    let points: Vec<DVec3> = seam.iter().map(|&v| part.points()[v as usize]).collect();
    best_plane(&points, end.facing)
}

/// The scan triangles within reach of an end on one side of the wall.
///
/// At a cut, all corners are nearer than `reach` to the scan's own section
/// loop. At a rim the loop along which the scan is cut is the settled seam (the
/// proof checks that it lies within `trim` of the scan's rim), so corners are
/// nearer than `reach` to it, or lie within `trim` of the rim itself. At a plain
/// end without reach they are those beyond the seam's plane, within `trim` of
/// the rim, and those that the seam runs through. Either way they hang
/// together, through such triangles, with the loop or the rim.
fn within_reach(
    case: &Case,
    part: &Mesh,
    scan: &ScanView,
    end: &LabelledEnd,
    side: Side,
) -> Vec<u32> {
    let on_scan = &scan.ends[end.index];
    let (own, seam) = match side {
        Side::Bore => (&on_scan.bore, &end.seam_bore),
        _ => (&on_scan.outside, &end.seam_outside),
    };
    if own.points.is_empty() {
        return Vec::new();
    }
    let line = Polyline::closed(&own.points);
    let reach = case.ends[end.index].reach;
    // Over an end face or a pinch the other side of the wall may hang together
    // with this one; it is judged by its own loop.
    let connected = |near: &dyn Fn([DVec3; 3]) -> bool| {
        scan.connected(&own.triangles, |t| scan.side[t as usize] == side, near)
    };
    let all = |c: [DVec3; 3], near: &dyn Fn(DVec3) -> bool| c.into_iter().all(near);
    let Site::Rim(rim) = case.ends[end.index].site else {
        return match reach {
            Some(reach) => connected(&|c| all(c, &|p| line.distance(p) < reach)),
            None => own.triangles.clone(),
        };
    };
    let trim = rim.trim.unwrap_or(0.0);
    let seam: Vec<DVec3> = seam.iter().map(|&v| part.points()[v as usize]).collect();
    let seam_line = Polyline::closed(&seam);
    if let Some(reach) = reach {
        let near = |p: DVec3| seam_line.distance(p) < reach || line.distance(p) <= trim;
        return connected(&|c| all(c, &near));
    }
    let Some(plane) = best_plane(&seam, end.facing) else { return Vec::new() };
    let rounding = 4.0 * coordinate_spacing(part);
    connected(&|c| {
        let off = c.into_iter().any(|p| height(plane, p) > 0.0);
        off && (all(c, &|p| line.distance(p) <= trim)
            || runs_through(c, &seam_line, plane, rounding))
    })
}

/// Whether a line in a plane runs through the triangle: the plane crosses it,
/// where the line is, but for rounding.
fn runs_through(c: [DVec3; 3], line: &Polyline, plane: Plane, rounding: f64) -> bool {
    let h = c.map(|p| height(plane, p));
    let crossings = (0..3).filter_map(|k| {
        let l = (k + 1) % 3;
        ((h[k] > 0.0) != (h[l] > 0.0)).then(|| c[k] + (c[l] - c[k]) * (h[k] / (h[k] - h[l])))
    });
    let far = crossings.map(|p| line.distance(p)).reduce(f64::max);
    far.is_some_and(|far| far <= rounding)
}
