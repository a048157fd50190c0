//! The limit `clear`: regions that no joint may enter.
//!
//! The joint is a solid: its triangles, from the scan's seams to the fitting's,
//! and two strips through the material that close it there. A region is clear
//! of it if it stays off all of that surface, by certified distance, and does
//! not lie inside. A region counts with its border.

use spile_case::Clear;
use spile_mesh::{Bounds3, Bvh, DVec3, Mesh, nearest};

use crate::labels::{Labelled, LabelledEnd, Region};
use crate::proof::{LimitResult, Verdict};

/// Name of the limit in the proof.
const NAME: &str = "clear";
/// Bounds of the distance lie within this share of a region's size.
const GAP_SHARE: f64 = 1e-6;

/// Judges whether the joint of one end keeps clear of all regions; none where
/// no region is named, or at a plain end.
pub(crate) fn judge_clear(l: &Labelled, end: &LabelledEnd) -> Option<LimitResult> {
    end.fitting?;
    let name = Some(end.name.as_str());
    if l.case.clears.is_empty() {
        return None;
    }
    let Some(joint) = joint_solid(l, end) else {
        let why = "there is no joint with seams that close it";
        return Some(LimitResult {
            asked: Some(0.0),
            ..LimitResult::plain(NAME, name, Verdict::NotJudged, why)
        });
    };
    let index = Bvh::build(&joint);
    let all = l.case.clears.iter().enumerate();
    let (_, k, ([lo, hi], at)) = all
        .map(|(k, clear)| {
            let found = clearance(&joint, &index, clear);
            (found.0[0], k, found)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    let what = match l.case.clears[k] {
        Clear::Ball(ball) => format!("the ball of radius {}", ball.radius),
        Clear::Box { .. } => "the box".to_owned(),
    };
    let how = format!(
        "least distance from region {} ({what}) to the joint from the scan's seams to the fitting, \
         the material between included; negative by how far the joint reaches in; touching is not \
         clear",
        k + 1
    );
    let mut result = LimitResult::at_least(NAME, name, Some(0.0), [lo, hi], at, how);
    // A region's border belongs to it.
    result.verdict = if lo > 0.0 { Verdict::Held } else { Verdict::Broken };
    Some(result)
}

/// The closed surface of the joint's solid. Strips between the loops of bore and
/// outside close it at both ends; where the outside is made and has no seam on
/// the scan's side, there is none, and what is open there counts as inside.
fn joint_solid(l: &Labelled, end: &LabelledEnd) -> Option<Mesh> {
    let own = |t: usize| l.region[t] == Region::Joint && l.end[t] == Some(end.index);
    let mut triangles: Vec<[u32; 3]> =
        l.part_where(own).iter().map(|&t| l.part.triangles()[t as usize]).collect();
    if triangles.is_empty() {
        return None;
    }
    let outside = if end.seam_outside.is_empty() {
        rim_of(&triangles, [&end.seam_bore, &end.fitting_seam_bore, &end.fitting_seam_outside])
    } else {
        end.seam_outside.clone()
    };
    for (bore, outside) in
        [(&end.seam_bore, &outside), (&end.fitting_seam_bore, &end.fitting_seam_outside)]
    {
        triangles.extend(strip(l.part, bore, outside)?);
    }
    Mesh::of_used(l.part.points(), triangles).ok()
}

/// The loop of open edges of these triangles that touches none of the others.
fn rim_of(triangles: &[[u32; 3]], others: [&[u32]; 3]) -> Vec<u32> {
    let mut after = std::collections::BTreeMap::new();
    for t in triangles {
        for k in 0..3 {
            after.insert((t[k], t[(k + 1) % 3]), ());
        }
    }
    let open = after.keys().filter(|&&(a, b)| !after.contains_key(&(b, a)));
    let is_other = |v: &u32| others.iter().any(|o| o.contains(v));
    let next: std::collections::BTreeMap<u32, u32> =
        open.filter(|(a, b)| !is_other(a) && !is_other(b)).copied().collect();
    let Some((&first, _)) = next.first_key_value() else { return Vec::new() };
    let mut rim = vec![first];
    while let Some(&v) = rim.last().and_then(|v| next.get(v)) {
        if v == first || rim.len() > next.len() {
            break;
        }
        rim.push(v);
    }
    rim
}

/// Triangles between two loops: from the nearest pair of points on, always over
/// the shorter diagonal. Which side they face does not matter here.
fn strip(part: &Mesh, a: &[u32], b: &[u32]) -> Option<Vec<[u32; 3]>> {
    if a.len() < 3 || b.len() < 3 {
        return None;
    }
    let p = |v: u32| part.points()[v as usize];
    let turn = |l: &[u32]| -> DVec3 {
        let n = l.len();
        (1..n - 1).map(|i| (p(l[i]) - p(l[0])).cross(p(l[i + 1]) - p(l[0]))).sum()
    };
    let mut b = b.to_vec();
    if turn(a).dot(turn(&b)) < 0.0 {
        b.reverse();
    }
    let start = (0..b.len()).min_by(|&i, &j| {
        p(b[i]).distance_squared(p(a[0])).total_cmp(&p(b[j]).distance_squared(p(a[0])))
    })?;
    b.rotate_left(start);
    let (at_a, at_b) = (|i: usize| a[i % a.len()], |j: usize| b[j % b.len()]);
    let (mut i, mut j, mut made) = (0, 0, Vec::new());
    while i < a.len() || j < b.len() {
        let ahead = |x: u32, y: u32| p(x).distance_squared(p(y));
        let on_a = j == b.len()
            || (i < a.len() && ahead(at_a(i + 1), at_b(j)) <= ahead(at_a(i), at_b(j + 1)));
        if on_a {
            made.push([at_a(i), at_a(i + 1), at_b(j)]);
            i += 1;
        } else {
            made.push([at_a(i), at_b(j + 1), at_b(j)]);
            j += 1;
        }
    }
    Some(made)
}

/// Bounds of the distance between a region and the solid, negative by how far
/// the one reaches into the other, and a place of the solid.
fn clearance(joint: &Mesh, index: &Bvh, clear: &Clear) -> ([f64; 2], DVec3) {
    let (centre, size, found) = match clear {
        Clear::Ball(ball) => {
            let at = DVec3::from_array(ball.at);
            let found = to_point(joint, at).map(|([lo, hi], p)| {
                let error = f64::EPSILON * (hi + ball.radius);
                ([lo - ball.radius - error, hi - ball.radius + error], p)
            });
            (at, ball.radius, found)
        }
        Clear::Box { min, max } => {
            let room = Bounds3 { min: DVec3::from_array(*min), max: DVec3::from_array(*max) };
            (0.5 * (room.min + room.max), 0.5 * room.diagonal(), to_box(joint, index, room))
        }
    };
    let Some(([lo, hi], at)) = found else { return ([f64::NEG_INFINITY, 0.0], centre) };
    if lo > 0.0 && turns_round(index, centre) {
        // All of it lies in the material: the joint reaches through it, and on
        // to its own surface on the other side.
        return ([-(hi + 2.0 * size), -lo], centre);
    }
    ([lo, hi], at)
}

/// Bounds of the least distance of a mesh from a point.
fn to_point(mesh: &Mesh, p: DVec3) -> Option<([f64; 2], DVec3)> {
    let point = Mesh::new(vec![p], vec![[0, 0, 0]]).ok()?;
    let gap = GAP_SHARE * mesh.bounds().diagonal();
    nearest(mesh, None, &Bvh::build(&point), gap).map(|b| ([b.lo, b.hi], b.at))
}

/// The same from a box: its surface by certified distance, its inside by the
/// corners that lie in it. Where only edges or faces run in, the distance is 0.
fn to_box(mesh: &Mesh, index: &Bvh, room: Bounds3) -> Option<([f64; 2], DVec3)> {
    let depth = |p: DVec3| (p - room.min).min(room.max - p).min_element();
    let deepest =
        mesh.points().iter().map(|&p| (depth(p), p)).max_by(|a, b| a.0.total_cmp(&b.0))?;
    let half = 0.5 * (room.max - room.min).min_element();
    if deepest.0 >= 0.0 {
        return Some(([-half, -deepest.0], deepest.1));
    }
    let corner = |k: usize| {
        let of = |axis: usize| if k >> axis & 1 == 0 { room.min[axis] } else { room.max[axis] };
        DVec3::new(of(0), of(1), of(2))
    };
    let faces =
        [[0, 1, 3, 2], [4, 5, 7, 6], [0, 1, 5, 4], [2, 3, 7, 6], [0, 2, 6, 4], [1, 3, 7, 5]];
    let triangles = faces.iter().flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]]).collect();
    let surface = Mesh::new((0..8).map(corner).collect(), triangles).ok()?;
    let gap = GAP_SHARE * mesh.bounds().diagonal();
    let found = nearest(&surface, None, index, gap)?;
    if found.lo <= 0.0 {
        // It touches or runs through, by no more than half of the box's width.
        return Some(([-half, found.hi], found.at));
    }
    Some(([found.lo, found.hi], found.at))
}

/// Whether a closed surface, its triangles facing as they will, goes round `p`:
/// a ray from it meets the surface an odd number of times.
///
/// Six rays are cast, and one that says so is enough: a ray through an edge may
/// count it twice, and doubt is never taken for clear.
fn turns_round(index: &Bvh, p: DVec3) -> bool {
    let rays =
        [DVec3::new(0.6, 0.48, 0.64), DVec3::new(-0.48, 0.8, 0.36), DVec3::new(0.28, -0.6, -0.75)];
    let is_odd = |direction: DVec3| index.ray(p, direction).len() % 2 == 1;
    rays.into_iter().any(|direction| is_odd(direction) || is_odd(-direction))
}
