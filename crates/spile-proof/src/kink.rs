//! The limit `kink`: the angle at the seams, sharpness at the outer border of
//! reach, and the shape of new triangles at a seam.

use spile_mesh::{DVec3, Mesh};

use crate::fitting_find::coordinate_spacing;
use crate::labels::{Labelled, LabelledEnd, Region};
use crate::proof::{LimitResult, Verdict};

/// Least height of a new triangle at a seam, as a share of its longest edge.
const LEAST_HEIGHT_SHARE: f64 = 0.1;

/// Angle between the normals of two triangles in degrees, with a bound on the
/// error of computing it; `None` if one of them has no area.
///
/// The corners are `f32` values, so edge vectors are all but exact and the
/// cross product errs by a few units in the last place of |a||b|; the angle
/// errs by that over the area.
fn normal_angle_deg(mesh: &Mesh, a: u32, b: u32) -> Option<(f64, f64)> {
    let parts = [a, b].map(|t| {
        let c = mesh.corners(t as usize);
        let (u, v) = (c[1] - c[0], c[2] - c[0]);
        let n = u.cross(v);
        (n, 16.0 * f64::EPSILON * u.length() * v.length() / n.length())
    });
    let [(m, em), (n, en)] = parts;
    let angle = m.cross(n).length().atan2(m.dot(n)).to_degrees();
    let error = (em + en + 8.0 * f64::EPSILON).to_degrees();
    (angle.is_finite() && error.is_finite()).then_some((angle, error))
}

/// The largest of some angles: bounds and place.
#[derive(Clone, Copy)]
struct Largest {
    bounds: [f64; 2],
    at: DVec3,
    edges: usize,
    flawed: bool,
}

impl Largest {
    fn new() -> Self {
        Self { bounds: [0.0, 0.0], at: DVec3::ZERO, edges: 0, flawed: false }
    }

    fn add(&mut self, angle: Option<(f64, f64)>, at: DVec3) {
        self.edges += 1;
        match angle {
            Some((angle, error)) => {
                if angle - error > self.bounds[0] || self.edges == 1 {
                    self.bounds[0] = (angle - error).max(0.0);
                    self.at = at;
                }
                self.bounds[1] = self.bounds[1].max(angle + error);
            }
            None => {
                self.flawed = true;
                self.at = at;
            }
        }
    }
}

fn middle(mesh: &Mesh, a: u32, b: u32) -> DVec3 {
    0.5 * (mesh.points()[a as usize] + mesh.points()[b as usize])
}

/// The seams of an end: its loops with what they are.
fn seams(end: &LabelledEnd) -> [(&'static str, &[u32]); 4] {
    [
        ("scan seam on the bore", &end.seam_bore),
        ("scan seam on the outside", &end.seam_outside),
        ("fitting seam on the bore", &end.fitting_seam_bore),
        ("fitting seam on the outside", &end.fitting_seam_outside),
    ]
}

/// Judges all of `kink` at one end with a fitting.
pub(crate) fn judge_kink(l: &Labelled, end: &LabelledEnd) -> Vec<LimitResult> {
    vec![seam_angle(l, end), border(l, end), seam_height(l, end)]
}

fn seam_angle(l: &Labelled, end: &LabelledEnd) -> LimitResult {
    let asked = l.case.limits.kink_deg;
    let mut all = Largest::new();
    let mut by_seam = Vec::new();
    for (name, points) in seams(end) {
        let mut here = Largest::new();
        for i in 0..points.len() {
            let (a, b) = (points[i], points[(i + 1) % points.len()]);
            let at = middle(l.part, a, b);
            let angle = l.part_edges.find(a, b).and_then(|e| match *l.part_edges.triangles(e) {
                [s, t] => normal_angle_deg(l.part, s, t),
                _ => None,
            });
            here.add(angle, at);
            all.add(angle, at);
        }
        if !points.is_empty() {
            by_seam.push(format!("{name} {:.3}", here.bounds[1]));
        }
    }
    judge_largest("kink", l, end, asked, all, || {
        format!("largest angle at a seam edge in degrees: {}", by_seam.join(", "))
    })
}

fn judge_largest(
    name: &str,
    l: &Labelled,
    end: &LabelledEnd,
    asked: Option<f64>,
    all: Largest,
    how: impl Fn() -> String,
) -> LimitResult {
    let _ = l;
    if all.flawed {
        let verdict = if asked.is_some() { Verdict::NotJudged } else { Verdict::NotAsked };
        return LimitResult {
            asked,
            where_: Some(all.at.to_array()),
            ..LimitResult::plain(
                name,
                Some(&end.name),
                verdict,
                "an edge there does not lie between two triangles with an area",
            )
        };
    }
    LimitResult::at_most(name, Some(&end.name), asked, all.bounds, all.at, how())
}

/// At the outer border of reach: for each edge between kept and new surface,
/// and each new edge that ends on it, its angle over what is allowed there.
/// Reported as excess over the allowance, which must not be above 0.
fn border(l: &Labelled, end: &LabelledEnd) -> LimitResult {
    let asked = l.case.limits.kink_deg;
    let Some(kink) = asked else {
        return LimitResult::plain(
            "kink_border",
            Some(&end.name),
            Verdict::NotAsked,
            "sharpness at the outer border of reach is judged where kink is asked",
        );
    };
    let (part, edges) = (l.part, &l.part_edges);
    let spacing = coordinate_spacing(part);
    let is_new =
        |t: u32| l.region[t as usize] == Region::Replaced && l.end[t as usize] == Some(end.index);
    let is_kept = |t: u32| l.region[t as usize] == Region::Kept;
    let mut kept_beside: Vec<Option<u32>> = vec![None; part.points().len()];
    for e in 0..edges.len() as u32 {
        let at = edges.triangles(e);
        if let Some(&k) = at.iter().find(|&&t| is_kept(t))
            && at.iter().any(|&t| is_new(t))
        {
            for p in edges.points(e) {
                kept_beside[p as usize].get_or_insert(k);
            }
        }
    }
    let mut worst = Largest::new();
    let mut shown = (0.0, 0.0);
    for e in 0..edges.len() as u32 {
        let [a, b] = edges.points(e);
        let kept = kept_beside[a as usize].or(kept_beside[b as usize]);
        let &[s, t] = edges.triangles(e) else { continue };
        let Some(kept) = kept.filter(|_| is_new(s) || is_new(t)) else { continue };
        let kept = [s, t].into_iter().find(|&x| is_kept(x)).unwrap_or(kept);
        if matches!(l.region[s as usize], Region::Joint | Region::EndFace)
            || matches!(l.region[t as usize], Region::Joint | Region::EndFace)
        {
            continue; // A seam has its own line.
        }
        let at = middle(part, a, b);
        let Some((angle, error)) = normal_angle_deg(part, s, t) else {
            worst.add(None, at);
            continue;
        };
        // What the scan allows is only needed where the limit is passed.
        let allowed = if angle + error <= kink { kink } else { kink.max(sharpest_near(l, kept)) };
        let slack =
            (rounding_tilt(part, s, spacing) + rounding_tilt(part, t, spacing)).to_degrees();
        let excess = angle - allowed - slack;
        if worst.edges == 0 || excess > worst.bounds[0] {
            shown = (angle, allowed);
        }
        worst.edges += 1;
        if worst.edges == 1 || excess - error > worst.bounds[0] {
            worst.bounds[0] = excess - error;
            worst.at = at;
        }
        worst.bounds[1] =
            if worst.edges == 1 { excess + error } else { worst.bounds[1].max(excess + error) };
    }
    judge_largest("kink_border", l, end, Some(0.0), worst, || {
        format!(
            "degrees by which an edge at the outer border of reach is sharper than kink and than \
             the scan within two triangles of it; {} edges, the worst {:.3} where {:.3} is allowed",
            worst.edges, shown.0, shown.1
        )
    })
}

/// How far rounding of coordinates may turn a triangle's normal, in radians.
fn rounding_tilt(mesh: &Mesh, t: u32, spacing: f64) -> f64 {
    let height = least_height(mesh.corners(t as usize)).0;
    if height > 0.0 { 2.0 * spacing / height } else { 0.0 }
}

/// The sharpest scan edge in degrees within two triangles of a kept one.
fn sharpest_near(l: &Labelled, kept: u32) -> f64 {
    let Some(s) = l.scan_of[kept as usize] else { return 0.0 };
    let (scan, edges) = (&l.scan, &l.scan_view.edges);
    let mut ring = std::collections::BTreeSet::from([s]);
    for _ in 0..2 {
        let next: Vec<u32> =
            ring.iter().flat_map(|&t| edges.neighbours(t).map(|(_, n)| n)).collect();
        ring.extend(next);
    }
    ring.iter()
        .flat_map(|&t| edges.of_triangle(t))
        .filter_map(|e| match *edges.triangles(e) {
            [a, b] => normal_angle_deg(scan, a, b).map(|(angle, error)| angle - error),
            _ => None,
        })
        .fold(0.0, f64::max)
}

/// The triangle's least height and that height as a share of its longest edge.
fn least_height(c: [DVec3; 3]) -> (f64, f64) {
    let longest = (c[1] - c[0]).length().max((c[2] - c[1]).length()).max((c[0] - c[2]).length());
    let height = (c[1] - c[0]).cross(c[2] - c[0]).length() / longest;
    (height, height / longest)
}

fn seam_height(l: &Labelled, end: &LabelledEnd) -> LimitResult {
    let mut at_seam = vec![false; l.part.points().len()];
    for (_, points) in seams(end) {
        for &p in points {
            at_seam[p as usize] = true;
        }
    }
    let mut least = (f64::INFINITY, DVec3::ZERO);
    let mut count = 0;
    for (t, corners) in l.part.triangles().iter().enumerate() {
        let is_new = matches!(l.region[t], Region::Replaced | Region::Joint | Region::MadeWall);
        if !is_new || !corners.iter().any(|&p| at_seam[p as usize]) {
            continue;
        }
        count += 1;
        let share = least_height(l.part.corners(t)).1;
        // A triangle without area gives no number, and is the worst.
        let share = if share.is_finite() { share } else { 0.0 };
        if share < least.0 {
            least = (share, l.part.corners(t).iter().sum::<DVec3>() / 3.0);
        }
    }
    let asked = l.case.limits.kink_deg.map(|_| LEAST_HEIGHT_SHARE);
    if count == 0 {
        let verdict = if asked.is_some() { Verdict::NotJudged } else { Verdict::NotAsked };
        return LimitResult::plain(
            "seam_height",
            Some(&end.name),
            verdict,
            "no new triangle touches a seam",
        );
    }
    let slack = 64.0 * f64::EPSILON;
    LimitResult::at_least(
        "seam_height",
        Some(&end.name),
        asked,
        [least.0 - slack, least.0 + slack],
        least.1,
        format!("least height over longest edge of the {count} new triangles that touch a seam"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angle_between_two_faces_of_a_roof() {
        // Two triangles over one edge, folded by 30 degrees.
        let turn = 30.0_f64.to_radians();
        let points =
            vec![DVec3::ZERO, DVec3::X, DVec3::Y, DVec3::new(0.3, -turn.cos(), -turn.sin())];
        let mesh = Mesh::new(points, vec![[0, 1, 2], [1, 0, 3]]).unwrap();
        assert!((normal_angle_deg(&mesh, 0, 1).unwrap().0 - 30.0).abs() < 1e-12);
    }

    #[test]
    fn height_share_of_an_equilateral_triangle() {
        let c = [DVec3::ZERO, DVec3::X, DVec3::new(0.5, 0.75_f64.sqrt(), 0.0)];
        assert!((least_height(c).1 - 0.75_f64.sqrt()).abs() < 1e-15);
    }
}
