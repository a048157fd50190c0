//! What a plane leaves open of the bore: the flow section.
//!
//! A bore is cut thousands of times (every station, every tilt, every height
//! between two stations), so the side is lifted out of its mesh once, with its
//! connectivity, and a cut walks from triangle to triangle. A triangle is never
//! dropped for where its corners are: a fitting's triangles are as long as the
//! fitting.

use rayon::prelude::*;
use spile_mesh::{Bounds3, DVec3, Mesh, NONE, Topology};

/// A place and three axes at right angles: a cutting plane with its own two
/// directions, `u` and `v`, and its unit normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// A point of the plane; areas are summed about it, which keeps digits.
    pub origin: DVec3,
    /// Unit normal.
    pub normal: DVec3,
    u: DVec3,
    v: DVec3,
}

impl Frame {
    /// The plane through `origin` square to `normal` (made a unit vector;
    /// the z axis if it has no direction).
    pub fn new(origin: DVec3, normal: DVec3) -> Self {
        let normal = normal.try_normalize().unwrap_or(DVec3::Z);
        let (u, v) = normal.any_orthonormal_pair();
        Self { origin, normal, u, v }
    }

    /// The plane through the same point, its normal turned by `x` radians
    /// toward `u` and `y` radians toward `v`.
    pub fn tilted(&self, [x, y]: [f64; 2]) -> Self {
        let angle = x.hypot(y);
        if angle == 0.0 {
            return *self;
        }
        let toward = (x * self.u + y * self.v) / angle;
        Self::new(self.origin, angle.cos() * self.normal + angle.sin() * toward)
    }

    /// The tilt that turns this plane's normal into `normal`.
    pub fn tilt_to(&self, normal: DVec3) -> [f64; 2] {
        let (x, y, z) = (normal.dot(self.u), normal.dot(self.v), normal.dot(self.normal));
        let sine = x.hypot(y);
        if sine == 0.0 {
            return [0.0, 0.0];
        }
        let angle = sine.atan2(z);
        [angle * x / sine, angle * y / sine]
    }

    /// The parallel plane through `origin`.
    pub fn moved_to(&self, origin: DVec3) -> Self {
        Self { origin, ..*self }
    }

    /// Height of `p` over the plane.
    pub fn height(&self, p: DVec3) -> f64 {
        (p - self.origin).dot(self.normal)
    }

    /// `p` in the plane's own two directions.
    pub fn flat(&self, p: DVec3) -> [f64; 2] {
        let d = p - self.origin;
        [d.dot(self.u), d.dot(self.v)]
    }

    /// The point of the plane with these two coordinates.
    pub fn in_space(&self, [x, y]: [f64; 2]) -> DVec3 {
        self.origin + x * self.u + y * self.v
    }
}

/// One closed loop in which a plane cuts the bore.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FlowLoop {
    /// The cut triangles in order, as indices into the [`BoreSurface`].
    pub cut: Vec<u32>,
}

/// A section of the bore: the loop round the station and the islands in it.
#[derive(Debug, Clone, PartialEq)]
pub struct FlowSection {
    /// The loop that bounds the section.
    pub outer: FlowLoop,
    /// Loops directly inside it: material that stands in the flow.
    pub islands: Vec<FlowLoop>,
    /// Open area: the outer loop's without the islands'.
    pub area: f64,
    /// 1 where the outer loop runs counter-clockwise, else -1.
    pub winding: f64,
}

/// The bore side of a mesh, or the part of it near an end.
#[derive(Debug, Clone)]
pub struct BoreSurface {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    ids: Vec<u32>,
    next: Vec<[u32; 3]>,
    /// A ball round each triangle.
    balls: Vec<(DVec3, f64)>,
    /// A box round the balls of each run of [`RUN`] triangles.
    runs: Vec<Bounds3>,
}

/// Triangles that come one after the other in a scan mostly lie together, so a
/// query passes over so many of them at once.
const RUN: usize = 64;
/// What rounding can do to a box's distance or height, as a share of the lengths
/// that go into it, and much more.
const RUN_SLACK_SHARE: f64 = 1e-9;

/// Marks and lists that a walk reuses; one a thread.
#[derive(Debug, Default)]
pub struct Walker {
    seen: Vec<u32>,
    /// Heights over the plane of this round, where `known` says so.
    heights: Vec<f64>,
    known: Vec<u32>,
    round: u32,
}

impl Walker {
    fn start(&mut self, bore: &BoreSurface) {
        let (triangles, points) = (bore.triangles.len(), bore.points.len());
        if self.seen.len() != triangles || self.known.len() != points || self.round == u32::MAX {
            *self = Self {
                seen: vec![0; triangles],
                heights: vec![0.0; points],
                known: vec![0; points],
                round: 0,
            };
        }
        self.round += 1;
    }

    fn height(&mut self, bore: &BoreSurface, frame: &Frame, point: u32) -> f64 {
        let p = point as usize;
        if self.known[p] != self.round {
            self.known[p] = self.round;
            self.heights[p] = frame.height(bore.points[p]);
        }
        self.heights[p]
    }

    fn mark(&mut self, t: u32) -> bool {
        let new = self.seen[t as usize] != self.round;
        self.seen[t as usize] = self.round;
        new
    }

    fn is_marked(&self, t: u32) -> bool {
        self.seen[t as usize] == self.round
    }
}

impl BoreSurface {
    /// The side made of these triangles of `mesh`. Triangles of which two
    /// corners are one point are left out: no plane cuts them in a length.
    pub fn of(mesh: &Mesh, triangles: &[u32]) -> Self {
        Self::chosen(mesh, triangles, |_| true)
    }

    /// Those of the triangles whose box touches the ball: all of a bore that
    /// planes through the ball's inner half can need.
    pub fn near(mesh: &Mesh, triangles: &[u32], centre: DVec3, radius: f64) -> Self {
        Self::chosen(mesh, triangles, |corners| {
            Bounds3::of(corners).distance_sq(centre) <= radius * radius
        })
    }

    fn chosen(mesh: &Mesh, triangles: &[u32], wanted: impl Fn([DVec3; 3]) -> bool) -> Self {
        let ids: Vec<u32> = (triangles.iter().copied())
            .filter(|&t| {
                let [a, b, c] = mesh.triangles()[t as usize];
                a != b && b != c && c != a && wanted(mesh.corners(t as usize))
            })
            .collect();
        let (points, triangles) = lifted(mesh, &ids);
        let next = neighbours(&points, &triangles);
        let ball = |t: &[u32; 3]| {
            let corners = t.map(|p| points[p as usize]);
            let middle = (corners[0] + corners[1] + corners[2]) / 3.0;
            (middle, corners.iter().map(|p| p.distance(middle)).fold(0.0, f64::max))
        };
        let balls: Vec<(DVec3, f64)> = triangles.par_iter().map(ball).collect();
        let box_of = |balls: &[(DVec3, f64)]| {
            Bounds3::of(balls.iter().flat_map(|&(middle, own)| [middle - own, middle + own]))
        };
        let runs = balls.chunks(RUN).map(box_of).collect();
        Self { points, triangles, ids, next, balls, runs }
    }

    /// How many triangles it has.
    pub fn len(&self) -> usize {
        self.triangles.len()
    }

    /// Whether it has no triangle.
    pub fn is_empty(&self) -> bool {
        self.triangles.is_empty()
    }

    /// The triangle's index in the mesh that the side was taken from.
    pub fn id(&self, t: u32) -> u32 {
        self.ids[t as usize]
    }

    /// The corners of triangle `t` of this side.
    pub fn corners(&self, t: u32) -> [DVec3; 3] {
        self.triangles[t as usize].map(|p| self.points[p as usize])
    }

    /// The corners of triangle `t` as point numbers of this side.
    pub fn corner_points(&self, t: u32) -> [u32; 3] {
        self.triangles[t as usize]
    }

    /// All points of the side.
    pub fn points(&self) -> &[DVec3] {
        &self.points
    }

    /// The triangles of those runs whose box passes, rising.
    fn in_runs(&self, passes: impl Fn(&Bounds3) -> bool) -> impl Iterator<Item = u32> {
        let count = self.triangles.len();
        let passing = self.runs.iter().enumerate().filter(move |(_, run)| passes(run));
        passing.flat_map(move |(k, _)| (k * RUN) as u32..((k + 1) * RUN).min(count) as u32)
    }

    /// All triangles that touch the ball, and some near it, rising.
    pub fn touching(&self, centre: DVec3, radius: f64) -> Vec<u32> {
        let near = |run: &Bounds3| is_run_near(run, centre, radius);
        self.in_runs(near).filter(|&t| self.is_near(t, centre, radius)).collect()
    }

    /// Those of [`BoreSurface::touching`], round the frame's origin, that its plane crosses.
    pub fn crossing(&self, frame: &Frame, radius: f64) -> Vec<u32> {
        let centre = frame.origin;
        let passes =
            |run: &Bounds3| meets_run(run, frame, 0.0, 0.0) && is_run_near(run, centre, radius);
        let is_crossed = |t: u32| {
            let [lowest, highest] = self.heights(t, frame);
            lowest <= 0.0 && highest >= 0.0
        };
        self.in_runs(passes).filter(|&t| is_crossed(t) && self.is_near(t, centre, radius)).collect()
    }

    fn is_near(&self, t: u32, centre: DVec3, radius: f64) -> bool {
        let (middle, own) = self.balls[t as usize];
        // The slack is for rounding alone.
        let room = (radius + own) * (1.0 + RUN_SLACK_SHARE);
        middle.distance_squared(centre) <= room * room
    }

    /// Those of `among` that touch the half-plane which ends at the frame's
    /// normal through its origin and holds its first direction.
    ///
    /// A loop round the origin in a plane turned by less than a quarter of a turn
    /// crosses that half-plane, so these few triangles find it.
    pub fn beside(&self, frame: &Frame, among: &[u32]) -> Vec<u32> {
        (among.iter().copied())
            .filter(|&t| {
                let flat = self.corners(t).map(|p| frame.flat(p));
                flat.iter().any(|p| p[0] >= 0.0)
                    && flat.iter().any(|p| p[1] >= 0.0)
                    && flat.iter().any(|p| p[1] <= 0.0)
            })
            .collect()
    }

    /// The triangles that some plane between these heights over `frame` crosses.
    pub fn between(&self, frame: &Frame, low: f64, high: f64) -> Vec<u32> {
        self.in_runs(|run| meets_run(run, frame, low, high))
            .filter(|&t| {
                let [lowest, highest] = self.heights(t, frame);
                lowest <= high && highest >= low
            })
            .collect()
    }

    /// Least and greatest height of triangle `t` over the plane.
    pub fn heights(&self, t: u32, frame: &Frame) -> [f64; 2] {
        let [a, b, c] = self.corners(t).map(|p| frame.height(p));
        [a.min(b).min(c), a.max(b).max(c)]
    }

    /// The section of the plane at `height` over `frame` that is meant by
    /// `station`: the smallest loop round it, else the nearest closed loop that is
    /// no further away than its own radius (a crescent's centre may lie outside
    /// it; another branch must not stand in). Only loops through some of `among` are seen. None: no loop closes.
    pub fn section(
        &self,
        frame: &Frame,
        height: f64,
        station: DVec3,
        among: &[u32],
        walker: &mut Walker,
    ) -> Option<FlowSection> {
        let loops = self.loops(frame, height, among, walker);
        let centre = frame.flat(station);
        let flats: Vec<Vec<[f64; 2]>> =
            loops.iter().map(|l| self.outline(l, frame, height)).collect();
        let areas: Vec<f64> = flats.iter().map(|f| signed_area(f)).collect();
        let rank = |i: usize| {
            if is_inside(centre, &flats[i]) {
                (0.0, areas[i].abs())
            } else {
                (distance_to_outline(centre, &flats[i]), areas[i].abs())
            }
        };
        let is_meant = |i: usize| {
            let radius = (areas[i].abs() / std::f64::consts::PI).sqrt();
            areas[i] != 0.0 && rank(i).0 <= radius
        };
        let outer = (0..loops.len()).filter(|&i| is_meant(i)).min_by(|&i, &j| {
            let (a, b) = (rank(i), rank(j));
            a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1))
        })?;
        let inside = |i: usize| {
            i != outer
                && areas[i] * areas[outer] < 0.0
                && areas[i].abs() < areas[outer].abs()
                && is_inside(flats[i][0], &flats[outer])
        };
        let islands: Vec<usize> = (0..loops.len()).filter(|&i| inside(i)).collect();
        let taken: f64 = islands.iter().map(|&i| areas[i].abs()).sum();
        let area = areas[outer].abs() - taken;
        let pick = |i: usize| loops[i].clone();
        Some(FlowSection {
            outer: pick(outer),
            islands: islands.into_iter().map(pick).collect(),
            area,
            winding: areas[outer].signum(),
        })
    }

    /// The loop's points at `height` over the plane, in the plane's directions.
    pub fn outline(&self, flow: &FlowLoop, frame: &Frame, height: f64) -> Vec<[f64; 2]> {
        flow.cut.iter().map(|&t| frame.flat(self.entry(t, frame, height))).collect()
    }

    /// The loop's points at `height` over the plane, in space.
    pub fn outline_points(&self, flow: &FlowLoop, frame: &Frame, height: f64) -> Vec<DVec3> {
        flow.cut.iter().map(|&t| self.entry(t, frame, height)).collect()
    }

    /// All closed loops of the plane of `frame` through some of `among`.
    pub fn closed_loops(&self, frame: &Frame, among: &[u32], walker: &mut Walker) -> Vec<FlowLoop> {
        self.loops(frame, 0.0, among, walker)
    }

    /// All closed loops through some of `among`. Points at exactly the height
    /// count as above it.
    fn loops(
        &self,
        frame: &Frame,
        height: f64,
        among: &[u32],
        walker: &mut Walker,
    ) -> Vec<FlowLoop> {
        walker.start(self);
        let mut loops = Vec::new();
        for &seed in among {
            if walker.is_marked(seed) || self.exit(seed, frame, height, walker).is_none() {
                continue;
            }
            let mut cut = Vec::new();
            let mut t = seed;
            while t != NONE && walker.mark(t) {
                cut.push(t);
                t = self.exit(t, frame, height, walker).map_or(NONE, |k| self.next[t as usize][k]);
            }
            if t == seed {
                loops.push(FlowLoop { cut });
            }
        }
        loops
    }

    /// The half-edge of `t` that runs down through the plane.
    fn exit(&self, t: u32, frame: &Frame, height: f64, walker: &mut Walker) -> Option<usize> {
        let corners = self.triangles[t as usize];
        let above = corners.map(|p| walker.height(self, frame, p) >= height);
        (0..3).find(|&k| above[k] && !above[(k + 1) % 3])
    }

    /// Where the half-edge of `t` that runs up through the plane meets it.
    fn entry(&self, t: u32, frame: &Frame, height: f64) -> DVec3 {
        let corners = self.corners(t);
        let h = corners.map(|p| frame.height(p));
        let k = (0..3).find(|&k| h[k] < height && h[(k + 1) % 3] >= height).unwrap_or(0);
        let (a, b) = (corners[k], corners[(k + 1) % 3]);
        let (ha, hb) = (h[k], h[(k + 1) % 3]);
        let share = if hb > ha { ((height - ha) / (hb - ha)).clamp(0.0, 1.0) } else { 0.0 };
        a + share * (b - a)
    }
}

/// Whether a run's box comes near the ball, or could but for rounding.
fn is_run_near(run: &Bounds3, centre: DVec3, radius: f64) -> bool {
    let room = radius + 4.0 * RUN_SLACK_SHARE * (radius + run.diagonal());
    run.distance_sq(centre) <= room * room
}

/// Whether some plane between these heights can cross a run's box.
fn meets_run(run: &Bounds3, frame: &Frame, low: f64, high: f64) -> bool {
    let middle = frame.height(run.middle());
    let half = 0.5 * (run.max - run.min);
    let slack = RUN_SLACK_SHARE * (half.length() + run.middle().distance(frame.origin));
    let half_height = half.dot(frame.normal.abs()) + slack;
    middle - half_height <= high && middle + half_height >= low
}

/// The triangles `ids` of a mesh with the points that they name, in the mesh's order.
fn lifted(mesh: &Mesh, ids: &[u32]) -> (Vec<DVec3>, Vec<[u32; 3]>) {
    let mut place = vec![NONE; mesh.points().len()];
    for p in ids.iter().flat_map(|&t| mesh.triangles()[t as usize]) {
        place[p as usize] = 0;
    }
    let mut points = Vec::new();
    for (place, point) in place.iter_mut().zip(mesh.points()).filter(|(place, _)| **place == 0) {
        *place = points.len() as u32;
        points.push(*point);
    }
    let triangle = |&t: &u32| mesh.triangles()[t as usize].map(|p| place[p as usize]);
    (points, ids.iter().map(triangle).collect())
}

/// For each half-edge the triangle beyond it.
fn neighbours(points: &[DVec3], triangles: &[[u32; 3]]) -> Vec<[u32; 3]> {
    let Ok(mesh) = Mesh::new(points.to_vec(), triangles.to_vec()) else {
        return vec![[NONE; 3]; triangles.len()];
    };
    let topology = Topology::of(&mesh);
    (0..triangles.len() as u32)
        .map(|t| {
            [0, 1, 2].map(|k| match topology.twin(3 * t + k) {
                NONE => NONE,
                h => h / 3,
            })
        })
        .collect()
}

/// Signed area of a closed outline, positive counter-clockwise.
pub fn signed_area(outline: &[[f64; 2]]) -> f64 {
    0.5 * sides(outline).map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum::<f64>()
}

/// Length round a closed outline.
pub fn perimeter(outline: &[[f64; 2]]) -> f64 {
    sides(outline).map(|(a, b)| (b[0] - a[0]).hypot(b[1] - a[1])).sum()
}

/// Whether `p` lies inside the closed outline (even-odd).
pub fn is_inside(p: [f64; 2], outline: &[[f64; 2]]) -> bool {
    sides(outline).fold(false, |inside, (a, b)| {
        let crosses = (a[1] > p[1]) != (b[1] > p[1])
            && p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
        inside != crosses
    })
}

/// Distance from `p` to the closed outline; infinite for an empty one.
pub fn distance_to_outline(p: [f64; 2], outline: &[[f64; 2]]) -> f64 {
    sides(outline)
        .map(|(a, b)| {
            let (d, q) = ([b[0] - a[0], b[1] - a[1]], [p[0] - a[0], p[1] - a[1]]);
            let length_sq = d[0] * d[0] + d[1] * d[1];
            let along = q[0] * d[0] + q[1] * d[1];
            let share = if length_sq > 0.0 { (along / length_sq).clamp(0.0, 1.0) } else { 0.0 };
            let (x, y) = (q[0] - share * d[0], q[1] - share * d[1]);
            x * x + y * y
        })
        .fold(f64::INFINITY, f64::min)
        .sqrt()
}

/// The outline's sides, from each point to the next, the last to the first.
fn sides(outline: &[[f64; 2]]) -> impl Iterator<Item = ([f64; 2], [f64; 2])> + '_ {
    let from_last = outline.last().into_iter().chain(outline);
    from_last.copied().zip(outline.iter().copied())
}

#[cfg(test)]
mod tests;
