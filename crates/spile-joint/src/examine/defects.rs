//! The defects of a scan, one list a kind.

use spile_mesh::{
    Bounds3, DVec3, Mesh, Topology, VertexTriangles, pinched_points, shells, topology,
};

use super::outliers::outliers;
use super::rims::Rims;
use super::{FindingKind, Spot, Trace};
use crate::mend::{CRUMB_AREA_SHARE, on_a_line, second_copies};

/// A triangle lower than its longest edge over this is a needle or a cap.
const SLIM: f64 = 100.0;
/// A slim triangle whose shortest edge is less than this share of the longest
/// is a needle, else a cap.
const NEEDLE_EDGE_SHARE: f64 = 0.1;

/// How far, in the middle of all points by that measure, a point stands off the
/// mean of its neighbours; zero for a mesh without points.
pub(super) fn noise(mesh: &Mesh, around: &VertexTriangles) -> f64 {
    let mut row: Vec<u32> = Vec::new();
    let mut height = |v: u32| {
        row.clear();
        row.extend(around.of(v).iter().flat_map(|&t| mesh.triangles()[t as usize]));
        row.sort_unstable();
        row.dedup();
        row.retain(|&n| n != v);
        let at = |v: u32| mesh.points()[v as usize];
        let mean = row.iter().map(|&n| at(n)).sum::<DVec3>() / row.len().max(1) as f64;
        if row.is_empty() { 0.0 } else { mean.distance(at(v)) }
    };
    let mut heights: Vec<f64> = (0..mesh.points().len() as u32).map(&mut height).collect();
    let half = heights.len() / 2;
    if heights.is_empty() { 0.0 } else { *heights.select_nth_unstable_by(half, f64::total_cmp).1 }
}

pub(super) fn all(
    mesh: &Mesh,
    connectivity: &Topology,
    rims: &Rims,
    around: &VertexTriangles,
    hole_max: f64,
    meeting: &[(u32, u32)],
) -> Vec<(FindingKind, Vec<Spot>)> {
    let edge = |h: u32| {
        let ends = topology::ends(mesh, h);
        let [a, b] = ends.map(|v| mesh.points()[v as usize]);
        Spot { at: 0.5 * (a + b), size: a.distance(b), trace: Trace::Edge(ends) }
    };
    let point =
        |v: u32, size: f64| Spot { at: mesh.points()[v as usize], size, trace: Trace::Point(v) };
    let shared = connectivity.nonmanifold_edges().iter().map(|e| edge(e.half_edges[0]));
    let pinches = pinched_points(mesh, connectivity, around);
    let copies = second_copies(mesh, around).into_iter();
    let outliers = outliers(mesh, connectivity, around).into_iter();
    let mut all = vec![
        (FindingKind::Hole, rims.holes.clone()),
        (FindingKind::OpenRim, rims.others.clone()),
        (FindingKind::NonManifoldEdge, shared.collect()),
        (FindingKind::NonManifoldVertex, pinches.iter().map(|&v| point(v, 0.0)).collect()),
        (
            FindingKind::Flipped,
            connectivity.misoriented_edges().iter().map(|pair| edge(pair[0])).collect(),
        ),
        (FindingKind::Duplicate, copies.map(|t| spot(mesh, t as usize)).collect()),
        (
            FindingKind::SelfIntersection,
            meeting.iter().map(|&(a, b)| meeting_spot(mesh, a, b)).collect(),
        ),
        (FindingKind::Outlier, outliers.map(|o| point(o.point, o.height)).collect()),
        (FindingKind::LoosePiece, crumbs(mesh, connectivity, hole_max)),
    ];
    all.extend(shapes(mesh));
    all
}

fn lengths([a, b, c]: [DVec3; 3]) -> [f64; 3] {
    [a.distance(b), b.distance(c), c.distance(a)]
}

/// A triangle's middle and longest edge.
fn spot(mesh: &Mesh, t: usize) -> Spot {
    let corners = mesh.corners(t);
    let size = lengths(corners).into_iter().fold(0.0, f64::max);
    let at = (corners[0] + corners[1] + corners[2]) / 3.0;
    Spot { at, size, trace: Trace::Triangles(vec![t as u32]) }
}

/// Two triangles that meet, at the first of them.
fn meeting_spot(mesh: &Mesh, a: u32, b: u32) -> Spot {
    Spot { trace: Trace::Triangles(vec![a, b]), ..spot(mesh, a as usize) }
}

/// Triangles without area, needles and caps.
fn shapes(mesh: &Mesh) -> [(FindingKind, Vec<Spot>); 3] {
    let (mut flat, mut needles, mut caps) = (Vec::new(), Vec::new(), Vec::new());
    for t in 0..mesh.triangles().len() {
        let corners = mesh.corners(t);
        let spot = spot(mesh, t);
        if on_a_line(corners) {
            flat.push(spot);
        } else if mesh.area_normal(t).length() * SLIM < spot.size * spot.size {
            let shortest = lengths(corners).into_iter().fold(f64::INFINITY, f64::min);
            if shortest < NEEDLE_EDGE_SHARE * spot.size {
                needles.push(spot)
            } else {
                caps.push(spot)
            }
        }
    }
    [(FindingKind::Degenerate, flat), (FindingKind::Needle, needles), (FindingKind::Cap, caps)]
}

fn crumbs(mesh: &Mesh, connectivity: &Topology, hole_max: f64) -> Vec<Spot> {
    let pieces = shells(mesh, connectivity);
    let mut boxes = vec![Bounds3::EMPTY; pieces.count];
    let mut areas = vec![0.0; pieces.count];
    let mut members = vec![Vec::new(); pieces.count];
    for (t, &piece) in pieces.label.iter().enumerate() {
        boxes[piece as usize] = boxes[piece as usize].union(Bounds3::of(mesh.corners(t)));
        members[piece as usize].push(t as u32);
        areas[piece as usize] += 0.5 * mesh.area_normal(t).length();
    }
    let mut open = vec![false; pieces.count];
    for &h in connectivity.boundary() {
        open[pieces.label[h as usize / 3] as usize] = true;
    }
    let whole: f64 = areas.iter().sum();
    (0..pieces.count)
        .filter(|&p| {
            open[p] && boxes[p].diagonal() < hole_max && areas[p] < CRUMB_AREA_SHARE * whole
        })
        .map(|p| {
            let trace = Trace::Triangles(std::mem::take(&mut members[p]));
            Spot { at: boxes[p].middle(), size: boxes[p].diagonal(), trace }
        })
        .collect()
}
