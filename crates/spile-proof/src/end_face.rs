//! Flat faces that the part has and the scan had not: a plain end's ring, and
//! rings that close rims which no end names.
//!
//! Between two seams any surface fits that has the shape of an annulus, a
//! balloon over the end as well as a membrane that all but shuts the bore. So a
//! ring is held to lie where it should, and to face one way everywhere: seen
//! along the end, it then covers the gap between its loops once and no more.

use spile_case::Site;
use spile_mesh::{DVec3, Mesh};

use crate::fitting_find::coordinate_spacing;
use crate::labels::{Labelled, LabelledEnd, Region, Side};
use crate::polyline::{Polyline, area_vector, height};
use crate::proof::{LimitResult, Verdict};

/// Name of a plain end's row.
const NAME: &str = "end_face";
/// Name of the row for all other rims.
const OTHERS: &str = "rims";
/// A ring is narrower than this many walls beside it.
const WALLS_MOST: f64 = 2.0;

/// Judges the ring of a plain end; none at an end with a fitting.
pub(crate) fn judge_end_face(l: &Labelled, end: &LabelledEnd) -> Option<LimitResult> {
    if l.case.ends[end.index].fitting.is_some() {
        return None;
    }
    let ring = l.part_where(|t| l.region[t] == Region::EndFace && l.end[t] == Some(end.index));
    let name = Some(end.name.as_str());
    if ring.is_empty() {
        let why = "no ring closes the end between its two seams";
        return Some(LimitResult::plain(NAME, name, Verdict::Broken, why));
    }
    // At a rim the ring runs between seams that need not be flat.
    let [low, high] = match l.case.ends[end.index].site {
        Site::Cut(_) | Site::Station(_) => [0.0, 0.0],
        Site::Rim(_) => seam_heights(l, end),
    };
    let mut worst = (0.0, end.plane.point);
    for p in ring.iter().flat_map(|&t| l.part.corners(t as usize)) {
        let h = height(end.plane, p);
        let off = (low - h).max(h - high).max(0.0);
        if off > worst.0 {
            worst = (off, p);
        }
    }
    let error = 8.0 * f64::EPSILON * (worst.1.length() + end.plane.point.length());
    let mut result = LimitResult::at_most(
        NAME,
        name,
        Some(l.limits(end).deviation),
        [(worst.0 - error).max(0.0), worst.0 + error],
        worst.1,
        "greatest distance of the end's ring from where it should lie; all of it faces off the scan",
    );
    if let Some(p) = folded(l.part, &ring, end.facing) {
        result.verdict = Verdict::Broken;
        result.where_ = Some(p.to_array());
        result.how = "a triangle of the end's ring does not face off the scan: the ring is folded \
                      and covers more than the wall"
            .to_owned();
    }
    Some(result)
}

/// Least and greatest height of the end's seams over its plane.
fn seam_heights(l: &Labelled, end: &LabelledEnd) -> [f64; 2] {
    let heights = end
        .seam_bore
        .iter()
        .chain(&end.seam_outside)
        .map(|&v| height(end.plane, l.part.points()[v as usize]));
    heights.fold([0.0, 0.0], |[lo, hi], h| [lo.min(h), hi.max(h)])
}

/// A place where a triangle faces against `facing` by more than rounding of
/// coordinates can turn it.
fn folded(part: &Mesh, ring: &[u32], facing: DVec3) -> Option<DVec3> {
    let spacing = coordinate_spacing(part);
    ring.iter().map(|&t| part.corners(t as usize)).find_map(|c| {
        let longest =
            (c[1] - c[0]).length().max((c[2] - c[1]).length()).max((c[0] - c[2]).length());
        let twice = (c[1] - c[0]).cross(c[2] - c[0]).dot(facing);
        (twice < -2.0 * spacing * longest).then(|| (c[0] + c[1] + c[2]) / 3.0)
    })
}

/// Judges every ring that closes a rim which no end names; none where there is
/// no such ring.
pub(crate) fn judge_other_rims(l: &Labelled) -> Option<LimitResult> {
    let is_ring = |t: u32| l.region[t as usize] == Region::EndFace && l.end[t as usize].is_none();
    let (label, count) = l.part_edges.pieces(is_ring, |_| true);
    if count == 0 {
        return None;
    }
    let wrong = (0..count as u32).find_map(|piece| {
        let ring: Vec<u32> =
            (0..label.len() as u32).filter(|&t| label[t as usize] == piece).collect();
        ring_fault(l, &ring).map(|text| (text, l.part.corners(ring[0] as usize)[0]))
    });
    Some(match wrong {
        None => LimitResult::plain(
            OTHERS,
            None,
            Verdict::Held,
            format!(
                "{count} rings close rims that no end names, each between a bore rim and the \
                 outside rim nearest to it, and narrower than twice the wall beside it"
            ),
        ),
        Some((text, at)) => LimitResult {
            where_: Some(at.to_array()),
            ..LimitResult::plain(
                OTHERS,
                None,
                Verdict::Broken,
                format!("new surface that closes a rim which no end names: {text}"),
            )
        },
    })
}

/// What is wrong with one ring, if anything.
fn ring_fault(l: &Labelled, ring: &[u32]) -> Option<String> {
    let (mut points, mut sides) =
        (std::collections::BTreeSet::new(), std::collections::BTreeSet::new());
    for &t in ring {
        points.extend(l.part.triangles()[t as usize]);
        sides.extend(l.part_edges.of_triangle(t));
    }
    if points.len() as i64 - sides.len() as i64 + ring.len() as i64 != 0 {
        return Some("it has not the shape of a ring".to_owned());
    }
    let across = |e: u32| -> Option<u32> {
        let at = l.part_edges.triangles(e);
        at.iter().copied().find(|t| ring.binary_search(t).is_err())
    };
    let borders = |wanted: Side| -> Vec<Option<Vec<u32>>> {
        l.part_edges.loops(|e| {
            sides.contains(&e)
                && across(e).is_some_and(|t| {
                    l.region[t as usize] == Region::Kept && l.side[t as usize] == wanted
                })
        })
    };
    let [bore, outside] = [Side::Bore, Side::Outside].map(borders);
    let ([Some(bore)], [Some(outside)]) = (bore.as_slice(), outside.as_slice()) else {
        return Some("it does not run from one rim of the bore to one of the outside".to_owned());
    };
    let place = |loop_: &Vec<u32>| -> Vec<DVec3> {
        loop_.iter().map(|&v| l.part.points()[v as usize]).collect()
    };
    let (bore, outside) = (place(bore), place(outside));
    let gap = gap_of(&bore, &outside);
    let is_nearest = |own: &[DVec3], side: Side| {
        l.scan_view.rim_points(side).iter().all(|other| gap_of(own, other) >= gap * 0.999)
    };
    if !is_nearest(&bore, Side::Outside) || !is_nearest(&outside, Side::Bore) {
        return Some("its two rims are not each other's nearest".to_owned());
    }
    let wall = wall_beside(l, &bore);
    if gap >= WALLS_MOST * wall {
        return Some(format!(
            "its rims are {gap:.3} apart, twice the wall beside them is {:.3}",
            2.0 * wall
        ));
    }
    let lines = [Polyline::closed(&bore), Polyline::closed(&outside)];
    let strays = points.iter().map(|&v| l.part.points()[v as usize]);
    if strays.clone().any(|p| lines.iter().any(|line| line.distance(p) > 1.001 * gap)) {
        return Some("it leaves the gap between its two rims".to_owned());
    }
    let Some(facing) = area_vector(&bore).try_normalize() else {
        return Some("its rim on the bore bounds no area".to_owned());
    };
    let ways = [facing, -facing].map(|facing| folded(l.part, ring, facing).is_none());
    (!ways[0] && !ways[1]).then(|| "it is folded".to_owned())
}

/// The greatest distance of a point of either loop from the other.
fn gap_of(a: &[DVec3], b: &[DVec3]) -> f64 {
    let one_way = |from: &[DVec3], to: &[DVec3]| {
        let line = Polyline::closed(to);
        from.iter().map(|&p| line.distance(p)).fold(0.0, f64::max)
    };
    one_way(a, b).max(one_way(b, a))
}

/// The thickest wall beside a bore rim: from the bore's triangles that touch it
/// to the outside.
fn wall_beside(l: &Labelled, rim: &[DVec3]) -> f64 {
    let outside = l.part_where(|t| l.side[t] == Side::Outside);
    let to = crate::wall::OtherSide::new(l.part, &outside);
    let on_rim = |p: &DVec3| rim.contains(p);
    (0..l.part.triangles().len())
        .filter(|&t| l.region[t] == Region::Kept && l.side[t] == Side::Bore)
        .map(|t| l.part.corners(t))
        .filter(|c| c.iter().any(on_rim))
        .flat_map(|c| c.into_iter().filter(|p| !on_rim(p)).collect::<Vec<_>>())
        .map(|p| to.distance(p))
        .filter(|d| d.is_finite())
        .fold(0.0, f64::max)
}
