//! The limit `kink`: the angle at the seams, sharpness at the outer border of
//! reach, and the shape of new triangles at a seam.

use spile_mesh::{DVec3, Mesh};

use crate::border::judge_border;
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
pub(crate) fn normal_angle_deg(mesh: &Mesh, a: u32, b: u32) -> Option<(f64, f64)> {
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
pub(crate) fn seams(end: &LabelledEnd) -> [(&'static str, &[u32]); 4] {
    [
        ("scan seam on the bore", &end.seam_bore),
        ("scan seam on the outside", &end.seam_outside),
        ("fitting seam on the bore", &end.fitting_seam_bore),
        ("fitting seam on the outside", &end.fitting_seam_outside),
    ]
}

/// Judges all of `kink` at one end with a fitting.
pub(crate) fn judge_kink(l: &Labelled, end: &LabelledEnd) -> Vec<LimitResult> {
    vec![seam_angle(l, end), judge_border(l, end), seam_height(l, end)]
}

fn seam_angle(l: &Labelled, end: &LabelledEnd) -> LimitResult {
    let asked = l.limits(end).kink_deg;
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
    judge_largest("kink", end, asked, all, || {
        format!(
            "largest angle at a seam edge in degrees: {}; shown only: the joint's own edges, seams \
             apart, have up to {:.3}",
            by_seam.join(", "),
            sharpest_in_joint(l, end)
        )
    })
}

/// The sharpest edge between two joint triangles of this end, in degrees. No
/// limit rests on it; a crease one row off the seam would show here.
fn sharpest_in_joint(l: &Labelled, end: &LabelledEnd) -> f64 {
    let in_joint =
        |t: u32| l.region[t as usize] == Region::Joint && l.end[t as usize] == Some(end.index);
    (0..l.part_edges.len() as u32)
        .filter_map(|e| match *l.part_edges.triangles(e) {
            [s, t] if in_joint(s) && in_joint(t) => normal_angle_deg(l.part, s, t),
            _ => None,
        })
        .map(|(angle, _)| angle)
        .fold(0.0, f64::max)
}

fn judge_largest(
    name: &str,
    end: &LabelledEnd,
    asked: Option<f64>,
    all: Largest,
    how: impl Fn() -> String,
) -> LimitResult {
    if all.flawed || all.edges == 0 {
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

/// The triangle's least height and that height as a share of its longest edge.
pub(crate) fn least_height(c: [DVec3; 3]) -> (f64, f64) {
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
    let asked = l.limits(end).kink_deg.map(|_| LEAST_HEIGHT_SHARE);
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
