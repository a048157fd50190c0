//! The outer border of reach: no new edge there is sharper than `kink` or than
//! the scan beside it.

use std::collections::{BTreeMap, BTreeSet};

use spile_mesh::{DVec3, Mesh, VertexTriangles, round_to_f32, vertex_triangles};

use crate::fitting_find::coordinate_spacing;
use crate::kink::{least_height, normal_angle_deg};
use crate::labels::{Labelled, LabelledEnd, Region};
use crate::proof::{LimitResult, Verdict};

/// Name of the limit in the proof.
const NAME: &str = "kink_border";

/// Judges the edges between kept and new surface, and the new edges that end on
/// that border.
///
/// What is measured is by how many degrees an edge is sharper than the larger
/// of `kink` and the sharpest scan edge within two triangles: those round the
/// edge's points on the border, and those beside them. More than rounding of
/// coordinates explains must not be left.
pub(crate) fn judge_border(l: &Labelled, end: &LabelledEnd) -> LimitResult {
    let Some(kink) = l.limits(end).kink_deg else {
        let text = "sharpness at the outer border of reach is judged where kink is asked";
        return LimitResult::plain(NAME, Some(&end.name), Verdict::NotAsked, text);
    };
    let border = Border::of(l, end);
    let spacing = coordinate_spacing(l.part);
    let around = vertex_triangles(&l.scan);
    let mut worst: Option<Sharp> = None;
    let mut count = 0;
    for e in 0..l.part_edges.len() as u32 {
        let Some([s, t]) = border.at_edge(l, end, e) else { continue };
        count += 1;
        let ends = l.part_edges.points(e);
        let at = 0.5 * (l.part.points()[ends[0] as usize] + l.part.points()[ends[1] as usize]);
        let Some((angle, error)) = normal_angle_deg(l.part, s, t) else {
            return LimitResult {
                asked: Some(0.0),
                where_: Some(at.to_array()),
                ..LimitResult::plain(
                    NAME,
                    Some(&end.name),
                    Verdict::NotJudged,
                    "a triangle at the outer border of reach has no area",
                )
            };
        };
        let slack = [s, t].map(|t| rounding_tilt(l.part, t, spacing)).iter().sum::<f64>();
        let slack = slack.to_degrees();
        let near: Vec<u32> = ends.into_iter().filter_map(|p| border.scan_point(p)).collect();
        // The scan is only asked where `kink` itself is passed.
        let allowed =
            if angle + error <= kink { kink } else { kink.max(sharpest_near(l, &around, &near)) };
        let excess = angle - allowed - slack;
        if worst.is_none_or(|w| excess > w.excess) {
            worst = Some(Sharp { excess, error, angle, allowed, at });
        }
    }
    let Some(w) = worst else {
        let text = "reach has no outer border here: no new triangle meets a kept one";
        return LimitResult::plain(NAME, Some(&end.name), Verdict::Held, text);
    };
    LimitResult::at_most(
        NAME,
        Some(&end.name),
        Some(0.0),
        [w.excess - w.error, w.excess + w.error],
        w.at,
        format!(
            "degrees by which an edge at the outer border of reach is sharper than kink and than \
             the scan within two triangles; of {count} edges the worst has {:.3} where {:.3} is \
             allowed",
            w.angle, w.allowed
        ),
    )
}

#[derive(Clone, Copy)]
struct Sharp {
    excess: f64,
    error: f64,
    angle: f64,
    allowed: f64,
    at: DVec3,
}

/// The border's points: of the part, each with the scan's point there.
struct Border(BTreeMap<u32, u32>);

impl Border {
    fn of(l: &Labelled, end: &LabelledEnd) -> Self {
        let mut points = BTreeMap::new();
        for e in 0..l.part_edges.len() as u32 {
            let at = l.part_edges.triangles(e);
            let kept = at.iter().find_map(|&t| l.scan_of[t as usize]);
            let Some(kept) = kept.filter(|_| at.iter().any(|&t| is_new(l, end, t))) else {
                continue;
            };
            for p in l.part_edges.points(e) {
                let place = l.part.points()[p as usize];
                let corners = l.scan.triangles()[kept as usize];
                let here = |&c: &u32| round_to_f32(l.scan.points()[c as usize]) == place;
                if let Some(c) = corners.into_iter().find(here) {
                    points.entry(p).or_insert(c);
                }
            }
        }
        Self(points)
    }

    fn scan_point(&self, p: u32) -> Option<u32> {
        self.0.get(&p).copied()
    }

    /// The two triangles at an edge that is judged: at least one of them new,
    /// at least one end on the border. Edges on a seam have their own rule.
    fn at_edge(&self, l: &Labelled, end: &LabelledEnd, e: u32) -> Option<[u32; 2]> {
        let &[s, t] = l.part_edges.triangles(e) else { return None };
        if !is_new(l, end, s) && !is_new(l, end, t) {
            return None;
        }
        let touches = l.part_edges.points(e).iter().any(|p| self.0.contains_key(p));
        let on_scan =
            [s, t].iter().all(|&t| matches!(l.region[t as usize], Region::Kept | Region::Replaced));
        (touches && on_scan).then_some([s, t])
    }
}

fn is_new(l: &Labelled, end: &LabelledEnd, t: u32) -> bool {
    l.region[t as usize] == Region::Replaced && l.end[t as usize] == Some(end.index)
}

/// How far rounding of coordinates may turn a triangle's normal, in radians.
fn rounding_tilt(mesh: &Mesh, t: u32, spacing: f64) -> f64 {
    let height = least_height(mesh.corners(t as usize)).0;
    if height > 0.0 { 2.0 * spacing / height } else { 0.0 }
}

/// The sharpest scan edge, in degrees, of the triangles round these points and
/// of those beside them.
fn sharpest_near(l: &Labelled, around: &VertexTriangles, points: &[u32]) -> f64 {
    let edges = &l.scan_view.edges;
    let star: BTreeSet<u32> = points.iter().flat_map(|&p| around.of(p).iter().copied()).collect();
    let mut near = star.clone();
    near.extend(star.iter().flat_map(|&t| edges.neighbours(t).map(|(_, n)| n)));
    near.iter()
        .flat_map(|&t| edges.of_triangle(t))
        .filter_map(|e| match *edges.triangles(e) {
            [a, b] => normal_angle_deg(&l.scan, a, b).map(|(angle, error)| angle - error),
            _ => None,
        })
        .fold(0.0, f64::max)
}
