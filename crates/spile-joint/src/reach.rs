//! The triangles within reach of an end, and the band lifted out there.

use std::collections::{BTreeMap, BTreeSet};

use spile_case::Keep;
use spile_mesh::{Bvh, DVec3, Mesh, NONE, SectionLoop, are_within};

use crate::cut::CutSide;
use crate::surface::Scan;

/// The triangles within reach of `cut_loop`: all corners nearer than `reach`
/// to it, and connected to it through triangles that are. Sorted.
pub fn within_reach(scan: &Scan, cut_loop: &SectionLoop, reach: f64) -> Vec<u32> {
    let outline = outline_index(&cut_loop.points);
    // Of a point: not asked yet, near, or not.
    let mut known: Vec<Option<bool>> = vec![None; scan.mesh.points().len()];
    let mut all_near = |t: u32| {
        scan.mesh.triangles()[t as usize].iter().all(|&v| {
            let is_near = || outline.is_within(scan.mesh.points()[v as usize], reach);
            *known[v as usize].get_or_insert_with(is_near)
        })
    };
    let mut is_found = vec![false; scan.mesh.triangles().len()];
    let mut found: Vec<u32> = Vec::new();
    for &t in &cut_loop.triangles {
        if !is_found[t as usize] && all_near(t) {
            is_found[t as usize] = true;
            found.push(t);
        }
    }
    let mut next = 0;
    while let Some(&t) = found.get(next) {
        next += 1;
        for k in 0..3 {
            let twin = scan.topology.twin(3 * t + k);
            if twin != NONE && !is_found[(twin / 3) as usize] && all_near(twin / 3) {
                is_found[(twin / 3) as usize] = true;
                found.push(twin / 3);
            }
        }
    }
    found.sort_unstable();
    found
}

/// Those of `whole` that are connected to `crossed` through triangles of `whole`.
pub fn reached_from(scan: &Scan, crossed: &[u32], whole: &[u32]) -> Vec<u32> {
    let mut found = BTreeSet::new();
    let mut queue: Vec<u32> = crossed.to_vec();
    while let Some(t) = queue.pop() {
        for k in 0..3 {
            let twin = scan.topology.twin(3 * t + k);
            if twin == NONE {
                continue;
            }
            let other = twin / 3;
            if whole.binary_search(&other).is_ok() && found.insert(other) {
                queue.push(other);
            }
        }
    }
    found.into_iter().collect()
}

/// How far from the rim of an end the steps need the scan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depths {
    /// Up to here fairing may move points fully, from twice this on not at all.
    pub faired: f64,
    /// Up to this distance from the untouched scan fairing may move points a little, from
    /// twice this on for that border's sake not at all.
    pub border: f64,
    /// What lies deeper stays as it is: nothing there would be done but to remesh it.
    pub band: f64,
}

impl Depths {
    /// For what may be changed up to `reach`, the scan's edges there being about
    /// `of_scan` long and the joint's `of_joint`, from which on edges may grow by
    /// `grading` a length of way.
    pub fn new(reach: f64, (of_scan, of_joint): (f64, f64), grading: f64) -> Self {
        let faired =
            (FAIRED_SHARE * reach).min((FAIRED_EDGES.0 * of_scan).max(FAIRED_EDGES.1 * of_joint));
        let border = BORDER_EDGES * of_scan;
        let graded = 2.0 * of_joint + (of_scan - of_joint).max(0.0) / grading;
        // Triangles end here and there, so one edge of each kind more.
        let band = (2.0 * faired + 2.0 * border).max(graded) + of_scan + of_joint;
        Self { faired, border, band: band.min(reach) }
    }
}

/// The most of the reach that is faired fully: as much again fades out, and the rest
/// leads back to the untouched scan.
const FAIRED_SHARE: f64 = 0.25;
/// Fairing takes out waves of up to three of the scan's edges, and the joint tells the
/// rim's slope over four of its own: so many of both are enough.
const FAIRED_EDGES: (f64, f64) = (6.0, 3.0);
/// In the scan's edges.
const BORDER_EDGES: f64 = 3.5;

/// An index over the segments of a closed line, for distances from it.
pub fn outline_index(points: &[DVec3]) -> Bvh {
    let n = points.len() as u32;
    let triangles = (0..n).map(|i| [i, (i + 1) % n, (i + 1) % n]).collect();
    Bvh::build(&Mesh::new(points.to_vec(), triangles).unwrap_or_default())
}

/// Whether the triangle touches the keep.
pub fn touches(keep: &Keep, t: u32, corners: [DVec3; 3]) -> bool {
    match keep {
        Keep::Ball(ball) => {
            let mesh = Mesh::new(corners.to_vec(), vec![[0, 1, 2]]).unwrap_or_default();
            Bvh::build(&mesh)
                .closest_within(DVec3::from(ball.at), ball.radius * (1.0 + 1e-9))
                .is_some()
        }
        Keep::Box { min, max } => box_touches(DVec3::from(*min), DVec3::from(*max), corners),
        Keep::Triangles { triangles, .. } => triangles.contains(&t),
    }
}

/// Whether a triangle meets a box: the triangle is clipped to each of the
/// box's six half-spaces in turn; something is left exactly if they meet.
fn box_touches(min: DVec3, max: DVec3, corners: [DVec3; 3]) -> bool {
    let mut polygon = corners.to_vec();
    for axis in 0..3 {
        for (limit, sign) in [(min[axis], 1.0), (max[axis], -1.0)] {
            let inside = |p: &DVec3| sign * (p[axis] - limit);
            let mut next = Vec::with_capacity(polygon.len() + 1);
            for i in 0..polygon.len() {
                let (p, q) = (polygon[i], polygon[(i + 1) % polygon.len()]);
                let (a, b) = (inside(&p), inside(&q));
                if a >= 0.0 {
                    next.push(p);
                }
                if (a >= 0.0) != (b >= 0.0) {
                    next.push(p + (q - p) * (a / (a - b)));
                }
            }
            polygon = next;
        }
    }
    !polygon.is_empty()
}

/// The surface of one side between the rim and what stays untouched.
#[derive(Debug, Clone, Default)]
pub struct Band {
    /// The band; its first points are those shared with untouched triangles.
    pub mesh: Mesh,
    /// How many points are shared with untouched triangles.
    pub shared: usize,
    /// The scan's index of each shared point.
    pub scan_points: Vec<u32>,
    /// The rim, as indices into the band's points, in the band's direction.
    pub rim: Vec<u32>,
    /// The scan triangles that the band replaces, wholly or (crossed ones) in part. Sorted.
    pub replaces: Vec<u32>,
    /// A bound of how far the band and the surface that was scanned lie from each
    /// other, known without measuring: infinite where it is not.
    pub off: f64,
}

impl Band {
    /// The band with its points elsewhere, its triangles as they are. A point between
    /// corners moves no further than one of them, and so much further off may it be.
    pub fn moved(&self, points: Vec<DVec3>) -> Band {
        let moves = self.mesh.points().iter().zip(&points).map(|(a, b)| a.distance(*b));
        let off = self.off + moves.fold(0.0, f64::max);
        let mesh = Mesh::new(points, self.mesh.triangles().to_vec()).unwrap_or_default();
        Band { mesh, off, ..self.clone() }
    }

    /// Whether the band and the surface as it was scanned lie within `limit` of each
    /// other, certified: it is measured only where what is known does not tell.
    pub fn is_near(&self, scanned: &Mesh, limit: f64) -> bool {
        self.off <= limit * (1.0 - ROUNDING) || are_within(scanned, &self.mesh, limit)
    }

    /// The length of the way round the rim.
    pub fn rim_length(&self) -> f64 {
        let at = |k: usize| self.mesh.points()[self.rim[k % self.rim.len()] as usize];
        (0..self.rim.len()).map(|k| at(k).distance(at(k + 1))).sum()
    }

    /// Turns every triangle round.
    pub fn turn_round(&mut self) {
        let triangles = self.mesh.triangles().iter().map(|t| [t[0], t[2], t[1]]).collect();
        self.mesh = Mesh::new(self.mesh.points().to_vec(), triangles).unwrap_or_default();
        self.rim.reverse();
    }

    /// The band and the triangles `beside` it, over the points of `mesh`: first
    /// the band's own points and triangles, then what those add.
    pub fn with_beside(&self, mesh: &Mesh, beside: &[[u32; 3]]) -> (Vec<DVec3>, Vec<[u32; 3]>) {
        let mut points = self.mesh.points().to_vec();
        let mut triangles = self.mesh.triangles().to_vec();
        let mut place: BTreeMap<u32, u32> =
            self.scan_points.iter().enumerate().map(|(i, &v)| (v, i as u32)).collect();
        for t in beside {
            triangles.push(t.map(|v| {
                *place.entry(v).or_insert_with(|| {
                    points.push(mesh.points()[v as usize]);
                    points.len() as u32 - 1
                })
            }));
        }
        (points, triangles)
    }
}

/// More than rounding takes of a sum of a few moves, as a share.
const ROUNDING: f64 = 1e-9;

/// Lifts the band: the whole triangles `whole` and the pieces of crossed ones.
pub fn lift_band(scan: &Scan, cut: &CutSide, whole: &[u32]) -> Band {
    let scan_count = scan.mesh.points().len();
    let mut is_lifted = vec![false; scan.mesh.triangles().len()];
    whole
        .iter()
        .chain(&cut.crossed)
        .chain(&cut.removed)
        .for_each(|&t| is_lifted[t as usize] = true);
    let triangles: Vec<[u32; 3]> = whole
        .iter()
        .map(|&t| scan.mesh.triangles()[t as usize])
        .chain(cut.pieces.iter().copied())
        .collect();
    let mut used: Vec<u32> = triangles.iter().flatten().copied().collect();
    used.sort_unstable();
    used.dedup();
    let is_shared = |v: u32| {
        (v as usize) < scan_count && scan.fans.of(v).iter().any(|&t| !is_lifted[t as usize])
    };
    let (shared, own): (Vec<u32>, Vec<u32>) = used.iter().partition(|&&v| is_shared(v));
    let order: Vec<u32> = shared.iter().chain(&own).copied().collect();
    // Both lists rise.
    let place = |v: u32| match shared.binary_search(&v) {
        Ok(at) => Some(at as u32),
        Err(_) => own.binary_search(&v).ok().map(|at| (shared.len() + at) as u32),
    };
    let at = |v: u32| match (v as usize).checked_sub(scan_count) {
        Some(k) => cut.new_points[k],
        None => scan.mesh.points()[v as usize],
    };
    let points = order.iter().map(|&v| at(v)).collect();
    let local = triangles.iter().map(|t| t.map(|v| place(v).unwrap_or(NONE))).collect();
    let mut replaces: Vec<u32> = whole.iter().chain(&cut.crossed).copied().collect();
    replaces.sort_unstable();
    Band {
        mesh: Mesh::new(points, local).unwrap_or_default(),
        shared: shared.len(),
        rim: cut.rim.iter().filter_map(|&v| place(v)).collect(),
        scan_points: shared,
        replaces,
        off: 0.0,
    }
}
