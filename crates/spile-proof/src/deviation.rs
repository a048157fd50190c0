//! The limit `deviation`: certified two-sided distance between replaced scan
//! and the scan it replaced, bore against bore, outside against outside.
//!
//! *Part to scan:* every place of the new triangles on the scan's side of the
//! seam, against the scan that is gone there, what lies just beyond the cut
//! included (a seam may stand above the plane by up to `deviation`, which the
//! seam's own rule judges) and what a mend took away beyond reach: where a mend lies
//! across the border of reach, new triangles stand for scan on both sides of it. Kept triangles are no target: a new triangle that
//! drifts onto kept surface has not stayed where it was.
//!
//! *Scan to part:* every place of the scan that is gone on the kept side of the
//! plane, against the new triangles alone; so missing material and a border that
//! shrank are seen. In a strip as deep as the seam may lie below the plane the
//! joint is a target too, for there the scan's place may be taken by it.
//!
//! Where the case has outliers mended, theirs is not asked of the part, and what
//! their neighbours can put in their place counts as scan.

use spile_mesh::{Bounds, Bvh, farthest};
use spile_mesh::{DVec3, Mesh};

use crate::clip::{Half, clip_polygon, clipped};
use crate::labels::{Fate, Labelled, LabelledEnd, Plane, Region, Side, trimmed_beyond};
use crate::polyline::height;
use crate::proof::{LimitResult, Verdict};
use crate::seams::name;

/// Share of the limit by which the bounds may lie apart at first.
const FIRST_GAP_SHARE: f64 = 0.02;
/// The same where the first bounds straddle the limit.
const FINE_GAP_SHARE: f64 = 0.0005;

/// One direction on one side of the wall.
struct Measured {
    bounds: Bounds,
    what: String,
}

/// Judges `deviation` at one end.
pub(crate) fn judge_deviation(l: &Labelled, end: &LabelledEnd) -> LimitResult {
    let most = allowed(l, end, l.limits(end).deviation);
    let asked = Some(most);
    if let Some(result) = uneven_seam(l, end) {
        return LimitResult { asked, ..result };
    }
    let mut all: Vec<Measured> = Vec::new();
    for side in [Side::Bore, Side::Outside] {
        if side == Side::Outside && l.case.scan.form.makes_wall() {
            continue;
        }
        match both_ways(l, end, side, most) {
            Ok(measured) => all.extend(measured),
            Err((text, at)) => {
                return LimitResult {
                    asked,
                    where_: Some(at.to_array()),
                    ..LimitResult::plain("deviation", Some(&end.name), Verdict::Broken, text)
                };
            }
        }
    }
    if let Some(at) = unsided(l, end) {
        return LimitResult {
            asked,
            where_: Some(at.to_array()),
            ..LimitResult::plain(
                "deviation",
                Some(&end.name),
                Verdict::NotJudged,
                "replaced scan there belongs neither to the bore nor to the outside",
            )
        };
    }
    let lo = all.iter().map(|m| m.bounds.lo).fold(0.0, f64::max);
    let hi = all.iter().map(|m| m.bounds.hi).fold(0.0, f64::max);
    let worst = all.iter().max_by(|a, b| a.bounds.lo.total_cmp(&b.bounds.lo));
    let at = worst.map_or(end.plane.point, |m| m.bounds.at);
    let how = if all.is_empty() {
        "nothing was replaced here".to_owned()
    } else {
        let each: Vec<String> =
            all.iter().map(|m| format!("{} {:.5}", m.what, m.bounds.hi)).collect();
        format!("certified distance both ways: {}", each.join(", "))
    };
    LimitResult::at_most("deviation", Some(&end.name), asked, [lo, hi], at, how)
}

/// At a plain end without reach only pieces in their own planes may stand in
/// for crossed triangles: no more than rounding of coordinates explains.
fn allowed(l: &Labelled, end: &LabelledEnd, limit: f64) -> f64 {
    if l.case.ends[end.index].reach.is_some() {
        return limit;
    }
    // A corner moves by half a spacing along each axis at most.
    limit.min(2.0 * crate::fitting_find::coordinate_spacing(l.part))
}

/// A corner of replaced or gone scan that is on neither side of the wall.
fn unsided(l: &Labelled, end: &LabelledEnd) -> Option<DVec3> {
    let new = (0..l.region.len()).find(|&t| {
        l.region[t] == Region::Replaced && l.end[t] == Some(end.index) && l.side[t] == Side::Neither
    });
    let gone = (0..l.fate.len())
        .find(|&t| l.fate[t] == Fate::Replaced(end.index) && l.scan_side[t] == Side::Neither);
    new.map(|t| l.part.corners(t)[0]).or(gone.map(|t| l.scan.corners(t)[0]))
}

type Both = Result<Vec<Measured>, (String, DVec3)>;

fn both_ways(l: &Labelled, end: &LabelledEnd, side: Side, limit: f64) -> Both {
    let is_as_strict = as_strict(l, end);
    let new = l.part_where(|t| {
        l.region[t] == Region::Replaced && l.side[t] == side && l.end[t].is_none_or(&is_as_strict)
    });
    let new_here: Vec<u32> =
        new.iter().copied().filter(|&t| l.end[t as usize] == Some(end.index)).collect();
    let (plane, strip) = cut_of(l, end, side);
    let gone = gone_on(l, end, side);
    let mut measured = Vec::new();
    if let Some(&t) = new_here.first() {
        if gone.is_empty() {
            let at = l.part.corners(t as usize)[0];
            return Err((
                format!("there are new triangles on the {} but no scan is gone", name(side)),
                at,
            ));
        }
        let to = Bvh::build(&stands_for(l, side, &gone));
        let bounds = certified(l.part, Some(&new_here), &to, limit);
        measured.push(Measured { bounds, what: format!("part to scan on the {}", name(side)) });
    }
    let is_old =
        |t: u32| l.fate[t as usize] == Fate::Replaced(end.index) && !l.licences.is_outliers(t);
    let old: Vec<u32> = gone.iter().copied().filter(|&t| is_old(t)).collect();
    let deep = Plane { point: plane.point - strip * plane.normal, ..plane };
    let inside = pieces(&l.scan, &old, |c| clipped(c, deep, Half::Below));
    let at_cut =
        pieces(&l.scan, &old, |c| clip_polygon(&clipped(c, plane, Half::Below), deep, Half::Above));
    let with_joint = l.part_where(|t| {
        l.side[t] == side
            && match l.region[t] {
                Region::Replaced => l.end[t].is_none_or(&is_as_strict),
                region => region == Region::Joint && l.end[t] == Some(end.index),
            }
    });
    for (from, targets, what) in
        [(inside, &new, "scan to part"), (at_cut, &with_joint, "scan to part at the cut")]
    {
        let Some(from) = from.filter(|m| !m.triangles().is_empty()) else { continue };
        if targets.is_empty() {
            let at = from.points()[0];
            return Err((
                format!("scan is gone on the {} and nothing stands in its place", name(side)),
                at,
            ));
        }
        let to = Bvh::build_of(l.part, targets);
        let bounds = certified(&from, None, &to, limit);
        measured.push(Measured { bounds, what: format!("{what} on the {}", name(side)) });
    }
    Ok(measured)
}

/// Whether another end is as strict: what belongs to an end with a looser deviation
/// stands in for nothing here.
fn as_strict<'a>(l: &'a Labelled, end: &'a LabelledEnd) -> impl Fn(usize) -> bool + 'a {
    let own = l.limits(end).deviation;
    move |e: usize| e == end.index || l.limits(&l.ends[e]).deviation <= own
}

/// The scan that is gone at an end on one side, what lies just beyond the cut included.
pub(crate) fn gone_on(l: &Labelled, end: &LabelledEnd, side: Side) -> Vec<u32> {
    let is_as_strict = as_strict(l, end);
    l.scan_where(|t| {
        l.scan_side[t] == side
            && match l.fate[t] {
                Fate::Replaced(e) => is_as_strict(e),
                Fate::Removed(e) if is_as_strict(e) => {
                    let (plane, strip) = cut_of(l, &l.ends[e], side);
                    l.scan.corners(t).iter().any(|&p| height(plane, p) <= strip)
                }
                _ => false,
            }
    })
}

/// What new triangles on this side are compared with: the scan that is gone, also what
/// a mend took away beyond reach, and where the case has outliers mended what their
/// neighbours can put there.
pub(crate) fn stands_for(l: &Labelled, side: Side, gone: &[u32]) -> Mesh {
    let triangle = |&t: &u32| l.scan.triangles()[t as usize];
    let mended = l.scan_where(|t| l.fate[t] == Fate::MendedAway && l.scan_side[t] == side);
    let mut triangles: Vec<[u32; 3]> = gone.iter().chain(&mended).map(triangle).collect();
    triangles.extend(l.licences.over_outliers(|t| l.scan_side[t as usize] == side));
    Mesh::new(l.scan.points().to_vec(), triangles).unwrap_or_default()
}

/// At a rim the scan is told from what was given up by the seam's best plane: a
/// seam that stands off it by more than the deviation leaves scan on its own side
/// that would not be judged.
fn uneven_seam(l: &Labelled, end: &LabelledEnd) -> Option<LimitResult> {
    let limit = l.limits(end).deviation;
    let made_outside = l.case.scan.form.makes_wall();
    let sides = [Side::Bore, Side::Outside].into_iter();
    let worst = sides
        .filter(|side| *side == Side::Bore || !made_outside)
        .map(|side| cut_of(l, end, side).1 - limit)
        .fold(0.0, f64::max);
    (end.is_rim && worst > limit).then(|| LimitResult {
        where_: Some(end.plane.point.to_array()),
        ..LimitResult::plain(
            "deviation",
            Some(&end.name),
            Verdict::NotJudged,
            format!(
                "the scan's seam at the rim stands off its best plane by {worst:.4}, more than the \
                 deviation: what it leaves of the scan cannot be told from what was given up"
            ),
        )
    })
}

/// The plane at which the scan ends on this side, and how far from it the seam
/// may lie: `deviation`, at a rim as much more as the seam itself is uneven.
fn cut_of(l: &Labelled, end: &LabelledEnd, side: Side) -> (Plane, f64) {
    let limit = l.limits(end).deviation;
    let Some(plane) = trimmed_beyond(l.part, end, side) else { return (end.plane, limit) };
    let seam = if side == Side::Bore { &end.seam_bore } else { &end.seam_outside };
    let uneven =
        seam.iter().map(|&v| height(plane, l.part.points()[v as usize]).abs()).fold(0.0, f64::max);
    (plane, limit + uneven)
}

/// The named triangles cut by `cut` and the pieces made triangles again.
fn pieces(mesh: &Mesh, triangles: &[u32], cut: impl Fn([DVec3; 3]) -> Vec<DVec3>) -> Option<Mesh> {
    let (mut points, mut fans) = (Vec::new(), Vec::new());
    for &t in triangles {
        let polygon = cut(mesh.corners(t as usize));
        let first = u32::try_from(points.len()).ok()?;
        for i in 1..polygon.len().max(2) as u32 - 1 {
            fans.push([first, first + i, first + i + 1]);
        }
        points.extend(polygon);
    }
    Mesh::new(points, fans).ok()
}

/// Largest distance, first coarsely, then finely if the bounds straddle the limit.
fn certified(from: &Mesh, some: Option<&[u32]>, to: &Bvh, limit: f64) -> Bounds {
    let coarse = farthest(from, some, to, FIRST_GAP_SHARE * limit, None);
    if coarse.lo <= limit && limit < coarse.hi {
        return farthest(from, some, to, FINE_GAP_SHARE * limit, None);
    }
    coarse
}
