//! The limit `wall_min`: which triangles are judged against what.

use spile_mesh::{Bounds, Bounds3, DVec3, Mesh};

use crate::conflicts::meshed_wall;
use crate::labels::{Labelled, LabelledEnd, Region, Side};
use crate::proof::{LimitResult, Verdict};
use crate::wall::{OtherSide, Replaced, SeamLimit, Thinner, WallFound, thinner_than_scan, wall};

/// Share of the deviation by which replaced scan may be thinner.
const THINNER_SHARE: f64 = 0.1;

/// Bore and outside of part and scan near one end, ready to be measured to.
struct WallSides {
    to_part: [OtherSide; 2],
    to_scan: [OtherSide; 2],
    /// What was left out is further than this from all that is judged.
    margin: f64,
}

const SIDES: [Side; 2] = [Side::Bore, Side::Outside];

impl WallSides {
    /// Sorts the triangles of part and scan near the judged ones by side, so that
    /// the cost follows the joint and not the scan.
    fn near(l: &Labelled, end: &LabelledEnd, judged: [&[Vec<u32>; 2]; 2]) -> Self {
        let judged = judged.into_iter().flatten().flatten();
        let corners = judged.flat_map(|&t| l.part.corners(t as usize));
        let seams = end.seam_bore.iter().chain(&end.seam_outside);
        let near = Bounds3::of(corners.chain(seams.map(|&v| l.part.points()[v as usize])));
        let width = end.fitting.map_or(near.diagonal(), |f| 2.0 * f.outside.near);
        let margin = width + 4.0 * l.limits(end).wall_min.unwrap_or(0.0);
        let room = DVec3::splat(margin);
        let wide = Bounds3 { min: near.min - room, max: near.max + room };
        let touches = |mesh: &Mesh, t: usize| Bounds3::of(mesh.corners(t)).touches(wide);
        let part = SIDES.map(|side| l.part_where(|t| l.side[t] == side && touches(l.part, t)));
        let scan =
            SIDES.map(|side| l.scan_where(|t| l.scan_side[t] == side && touches(&l.scan, t)));
        Self {
            to_part: part.map(|side| OtherSide::new(l.part, &side)),
            to_scan: scan.map(|side| OtherSide::new(&l.scan, &side)),
            margin,
        }
    }
}

/// `wall_min` over the whole part, for the form whose wall is made everywhere.
///
/// Bore to outside alone: the shortest way back is the same.
///
/// Where an end has a `wall_min` of its own, what belongs to it (its joint, its
/// fitting and what it replaced of the scan) gets a row of its own, and the rest
/// of the part another. Then both ways count: a pair of places is held by the
/// limit of either.
pub(crate) fn judge_wall_everywhere(l: &Labelled) -> Vec<LimitResult> {
    if !l.case.scan.form.makes_wall() || !l.faults.is_empty() {
        return Vec::new();
    }
    let sides = SIDES.map(|side| l.part_where(|t| l.side[t] == side));
    let to = [&sides[0], &sides[1]].map(|side| OtherSide::new(l.part, side));
    let of_case = l.case.limits.wall_min;
    let own: Vec<&LabelledEnd> =
        l.ends.iter().filter(|end| l.limits(end).wall_min != of_case).collect();
    let is_own = |t: u32| own.iter().any(|end| l.end[t as usize] == Some(end.index));
    let row = |end: Option<&LabelledEnd>, asked: Option<f64>, from: [Vec<u32>; 2], how: &str| {
        let limit = asked.unwrap_or(0.0);
        let each = [(0, 1), (1, 0)].map(|(a, b)| wall(l.part, &from[a], &to[b], limit, None));
        let found = each.into_iter().flatten().reduce(WallFound::worse);
        let why = "the part has no bore or no outside to measure between";
        found.map_or_else(
            || unjudged(end, asked, why),
            |WallFound { least, .. }| {
                let name = end.map(|end| end.name.as_str());
                LimitResult::at_least("wall_min", name, asked, [least.lo, least.hi], least.at, how)
            },
        )
    };
    if own.is_empty() {
        let [bore, _] = sides;
        let how = "shortest straight distance from the whole bore to the outside";
        return vec![row(None, of_case, [bore, Vec::new()], how)];
    }
    let of = |wanted: &dyn Fn(u32) -> bool| {
        [&sides[0], &sides[1]].map(|all| all.iter().copied().filter(|&t| wanted(t)).collect())
    };
    let rest = "shortest straight distance, bore to outside and back, from all that belongs to no \
                end with a limit of its own";
    let mut rows = vec![row(None, of_case, of(&|t| !is_own(t)), rest)];
    rows.extend(own.iter().map(|end| {
        let here = of(&|t| l.end[t as usize] == Some(end.index));
        let how = "shortest straight distance, bore to outside and back, from all that belongs to \
                   this end";
        row(Some(end), l.limits(end).wall_min, here, how)
    }));
    rows
}

/// `wall_min` in the joint and on the replaced scan of one end; none where there
/// is neither, or where the whole part is judged at once.
pub(crate) fn judge_wall(l: &Labelled, end: &LabelledEnd) -> Option<LimitResult> {
    if l.case.scan.form.makes_wall() {
        return None;
    }
    let of = |region: Region| {
        SIDES.map(|side| {
            l.part_where(|t| {
                l.region[t] == region && l.side[t] == side && l.end[t] == Some(end.index)
            })
        })
    };
    let (joint, replaced) = (of(Region::Joint), of(Region::Replaced));
    let is_empty = |lists: &[Vec<u32>; 2]| lists.iter().all(Vec::is_empty);
    if end.fitting.is_none() && (is_empty(&replaced) || l.limits(end).wall_min.is_none()) {
        return None;
    }
    let sides = &WallSides::near(l, end, [&joint, &replaced]);
    let Some(asked) = l.limits(end).wall_min else {
        let found = wall_both_ways(l.part, &joint, sides, 0.0, None);
        return Some(found.map_or_else(
            || unjudged(Some(end), None, "there is no joint with both sides to measure between"),
            |found| measured(l, end, found.least),
        ));
    };
    let seam = seam_limit(l, end, sides, asked);
    let found = wall_both_ways(l.part, &joint, sides, asked, Some(&seam));
    let replaced_least = wall_both_ways(l.part, &replaced, sides, asked, None);
    let thinner = replaced_wall(l, end, &replaced, sides, asked);
    if end.fitting.is_some() && found.is_none() {
        let why = "there is no joint with both sides to measure between";
        return Some(unjudged(Some(end), Some(asked), why));
    }
    Some(verdict(l, end, asked, [found, replaced_least], thinner, &seam))
}

/// Both ways: the judged bore to all of the outside, the judged outside to all
/// of the bore.
fn wall_both_ways(
    part: &Mesh,
    judged: &[Vec<u32>; 2],
    sides: &WallSides,
    limit: f64,
    seam: Option<&SeamLimit>,
) -> Option<WallFound> {
    let [out, back] = [(0, 1), (1, 0)]
        .map(|(from, to)| wall(part, &judged[from], &sides.to_part[to], limit, seam));
    let mut found = match (out, back) {
        (Some(a), Some(b)) => a.worse(b),
        (a, b) => a.or(b)?,
    };
    for wall in [&mut found.least, &mut found.tightest] {
        wall.lo = wall.lo.min(sides.margin);
    }
    Some(found)
}

fn seam_limit(l: &Labelled, end: &LabelledEnd, sides: &WallSides, asked: f64) -> SeamLimit {
    let points = |loop_: &[u32]| -> Vec<DVec3> {
        loop_.iter().map(|&v| l.part.points()[v as usize]).collect()
    };
    let loops = [points(&end.seam_bore), points(&end.seam_outside)];
    let [bore, outside] = &sides.to_scan;
    SeamLimit::new(asked, &[(&loops[0], bore, outside), (&loops[1], outside, bore)])
}

/// The worse of both sides of replaced scan.
fn replaced_wall(
    l: &Labelled,
    end: &LabelledEnd,
    replaced: &[Vec<u32>; 2],
    sides: &WallSides,
    asked: f64,
) -> Option<Thinner> {
    let deviation = l.limits(end).deviation;
    let each = [(0, 1), (1, 0)].map(|(own, other)| {
        let side = Replaced {
            part: l.part,
            triangles: &replaced[own],
            part_other: &sides.to_part[other],
            scan_own: &sides.to_scan[own],
            scan_other: &sides.to_scan[other],
        };
        thinner_than_scan(&side, asked, deviation, THINNER_SHARE * deviation)
    });
    each.into_iter().flatten().reduce(|a, b| if b.by() > a.by() { b } else { a })
}

fn verdict(
    l: &Labelled,
    end: &LabelledEnd,
    asked: f64,
    [joint, replaced_least]: [Option<WallFound>; 2],
    replaced: Option<Thinner>,
    seam: &SeamLimit,
) -> LimitResult {
    let allowed = THINNER_SHARE * l.limits(end).deviation;
    let joint_held = joint.is_none_or(|found| found.margin() >= 0.0);
    let replaced_held = replaced.is_none_or(|thinner| thinner.by() <= allowed);
    let mut how = Vec::new();
    if let Some(found) = joint {
        how.push("shortest straight distance in the joint, bore to outside and back".to_owned());
        if let (true, Some(thinnest)) = (found.has_local_limit, seam.thinnest()) {
            how.push(format!(
                "near the scan's seam the limit is the scan's own thinnest wall there, down to \
                 {:.4}; this applied",
                thinnest.wall
            ));
        }
        how.push(format!(
            "thinnest against its limit: {:.4} against {:.4}",
            found.tightest.lo, found.limit
        ));
    }
    if let Some(thinner) = replaced.filter(|_| !replaced_held) {
        let at = thinner.wall.at;
        how.push(format!(
            "replaced scan is thinner by {:.4} than the {:.4} needed at ({:.3}, {:.3}, {:.3}), \
             allowed {allowed:.4}",
            thinner.by(),
            thinner.needed,
            at.x,
            at.y,
            at.z
        ));
    } else if replaced.is_some() {
        how.push(format!("replaced scan is nowhere thinner than it may be by over {allowed:.4}"));
    }
    how.extend(fitting_remark(l, end));
    // What is shown is what decides: the joint, else the replaced scan.
    let shown = match (joint, replaced_least, replaced) {
        (Some(joint), ..) if replaced_held || !joint_held => Some((joint.least, joint.tightest.at)),
        (_, Some(least), Some(thinner)) if !replaced_held => Some((least.least, thinner.wall.at)),
        (joint, least, _) => joint.or(least).map(|found| (found.least, found.tightest.at)),
    };
    let is_held = joint_held && replaced_held;
    LimitResult {
        asked: Some(asked),
        measured: shown.map(|(wall, _)| wall.lo),
        bounds: shown.map(|(wall, _)| [wall.lo, wall.hi]),
        where_: shown.map(|(_, at)| at.to_array()),
        ..LimitResult::plain(
            "wall_min",
            Some(&end.name),
            if is_held { Verdict::Held } else { Verdict::Broken },
            how.join("; "),
        )
    }
}

fn measured(l: &Labelled, end: &LabelledEnd, least: Bounds) -> LimitResult {
    let mut how =
        vec!["shortest straight distance in the joint, bore to outside and back".to_owned()];
    how.extend(fitting_remark(l, end));
    let bounds = [least.lo, least.hi];
    LimitResult::at_least("wall_min", Some(&end.name), None, bounds, least.at, how.join("; "))
}

fn fitting_remark(l: &Labelled, end: &LabelledEnd) -> Option<String> {
    meshed_wall(l, end).map(|([lo, _], _)| format!("the fitting's own meshed wall is {lo:.4}"))
}

fn unjudged(end: Option<&LabelledEnd>, asked: Option<f64>, why: &str) -> LimitResult {
    let verdict = if asked.is_some() { Verdict::NotJudged } else { Verdict::NotAsked };
    let name = end.map(|end| end.name.as_str());
    LimitResult { asked, ..LimitResult::plain("wall_min", name, verdict, why) }
}
