//! The settled mends, each tested anew: is there such a defect in its ball,
//! and what did it give leave to change?

use std::collections::BTreeSet;

use spile_case::{Ball, Case, MendKind, Outliers};
use spile_mesh::{Bounds3, DVec3, Mesh, VertexTriangles, round_to_f32, vertex_triangles};

use crate::fitting_find::coordinate_spacing;
use crate::folds::folded;
use crate::outliers::Surroundings;
use crate::scan_view::ScanView;

/// A piece with more than this share of the scan's area is no crumb.
const LOOSE_AREA_SHARE: f64 = 0.01;

/// A fold whose ball is larger than so many times the hole limit is no small one.
const FOLD_OF_HOLE: f64 = 1.5;

/// What one true defect gives leave to.
#[derive(Debug, Clone)]
pub(crate) struct Licence {
    /// The listed ball; nothing outside it may have moved.
    listed: Ball,
    /// A ball round the defect and the triangles at it, by the proof's own measure.
    own: Ball,
    /// Scan triangles that may be gone.
    may_go: BTreeSet<u32>,
    /// Of an outlier, the scan's points round it; of other defects none.
    ring: Vec<u32>,
}

/// A listed mend for which no defect was found.
#[derive(Debug, Clone)]
pub(crate) struct Unfounded {
    /// Its place in the case's list.
    pub index: usize,
    /// Its ball's centre.
    pub at: DVec3,
}

/// All leave that the listed mends give, and those that are unfounded.
#[derive(Debug, Default)]
pub(crate) struct Licences {
    licences: Vec<Licence>,
    /// Mends without a defect.
    pub unfounded: Vec<Unfounded>,
    rounding: f64,
}

impl Licences {
    /// Tests every listed mend on the scan, in their order: what an earlier one
    /// took away, and the part does not have, is not there for a later one, so
    /// that a hole which a mend itself opened may be closed. `present` tells
    /// which scan triangles the part has.
    pub(crate) fn of(case: &Case, scan: &ScanView, present: &[bool]) -> Self {
        let mut all = Self { rounding: coordinate_spacing(&scan.mesh), ..Self::default() };
        if case.mends.is_empty() {
            return all;
        }
        let around = vertex_triangles(&scan.mesh);
        let mut gone = scan.idle.clone();
        for (index, mend) in case.mends.iter().enumerate() {
            let search = Search {
                scan,
                around: &around,
                ball: mend.ball,
                gone: &gone,
                rounding: all.rounding,
                hole_max: scan.hole_max,
                outliers: case.scan.outliers,
            };
            let found = search.defects(mend.kind);
            if found.is_empty() {
                let at = DVec3::from_array(mend.ball.at);
                all.unfounded.push(Unfounded { index, at });
            }
            for &t in found.iter().flat_map(|l| &l.may_go) {
                gone[t as usize] |= !present[t as usize];
            }
            all.licences.extend(found);
        }
        all
    }

    /// Whether a mend explains that this scan triangle is gone.
    pub(crate) fn may_go(&self, t: u32) -> bool {
        self.licences.iter().any(|l| l.may_go.contains(&t))
    }

    /// Whether it is a triangle of an outlier that was to be mended.
    pub(crate) fn is_outliers(&self, t: u32) -> bool {
        self.licences.iter().any(|l| !l.ring.is_empty() && l.may_go.contains(&t))
    }

    /// Every triangle over points round an outlier whose triangles all are
    /// `wanted`, as corners: what may stand in for the outlier's own.
    pub(crate) fn over_outliers(&self, wanted: impl Fn(u32) -> bool) -> Vec<[u32; 3]> {
        let mut all = Vec::new();
        for l in self.licences.iter().filter(|l| l.may_go.iter().all(|&t| wanted(t))) {
            for (i, &a) in l.ring.iter().enumerate() {
                for (j, &b) in l.ring.iter().enumerate().skip(i + 1) {
                    all.extend(l.ring[j + 1..].iter().map(|&c| [a, b, c]));
                }
            }
        }
        all
    }

    /// Whether a mend explains a new triangle with these corners.
    pub(crate) fn may_come(&self, corners: [DVec3; 3]) -> bool {
        self.licences.iter().any(|l| {
            corners
                .iter()
                .all(|&p| holds(l.listed, p, self.rounding) && holds(l.own, p, self.rounding))
        })
    }
}

fn holds(ball: Ball, p: DVec3, rounding: f64) -> bool {
    let slack = 4.0 * rounding + 1e-9 * ball.radius;
    (p - DVec3::from_array(ball.at)).length() <= ball.radius + slack
}

struct Search<'a> {
    scan: &'a ScanView,
    around: &'a VertexTriangles,
    ball: Ball,
    /// Idle, or taken away by an earlier mend.
    gone: &'a [bool],
    rounding: f64,
    hole_max: f64,
    outliers: Outliers,
}

impl Search<'_> {
    fn mesh(&self) -> &Mesh {
        &self.scan.mesh
    }

    fn in_ball(&self, p: u32) -> bool {
        holds(self.ball, self.mesh().points()[p as usize], self.rounding)
    }

    fn triangles_in_ball(&self) -> impl Iterator<Item = u32> + '_ {
        (0..self.mesh().triangles().len() as u32)
            .filter(|&t| self.mesh().triangles()[t as usize].into_iter().all(|p| self.in_ball(p)))
    }

    fn live(&self, e: u32) -> usize {
        let at = self.scan.edges.triangles(e);
        at.iter().filter(|&&t| !self.gone[t as usize]).count()
    }

    /// Every defect of this kind that lies in the ball.
    fn defects(&self, kind: MendKind) -> Vec<Licence> {
        match kind {
            MendKind::Duplicate => self
                .triangles_in_ball()
                .filter(|&t| self.scan.idle[t as usize] && self.is_copied(t))
                .map(|t| self.licence(&self.mesh().triangles()[t as usize], [t]))
                .collect(),
            MendKind::Degenerate => self
                .triangles_in_ball()
                .filter(|&t| self.is_degenerate(t))
                .map(|t| self.ring_licence(&self.mesh().triangles()[t as usize]))
                .collect(),
            MendKind::Flipped => self.edges_where(|e| self.is_turned(e), false),
            MendKind::NonManifoldEdge => self.edges_where(|e| self.live(e) > 2, true),
            MendKind::NonManifoldVertex => (0..self.mesh().points().len() as u32)
                .filter(|&p| self.in_ball(p) && self.fans(p) > 1)
                .map(|p| self.ring_licence(&[p]))
                .collect(),
            MendKind::Hole => self.holes(),
            MendKind::LoosePiece => self.loose_pieces(),
            MendKind::SelfIntersection => self.folds(),
            MendKind::Outlier => self.outliers(),
        }
    }

    fn edges_where(&self, wanted: impl Fn(u32) -> bool, may_go: bool) -> Vec<Licence> {
        let edges = &self.scan.edges;
        (0..edges.len() as u32)
            .filter(|&e| edges.points(e).into_iter().all(|p| self.in_ball(p)) && wanted(e))
            .map(|e| {
                let ends = edges.points(e);
                if may_go { self.ring_licence(&ends) } else { self.licence(&ends, []) }
            })
            .collect()
    }

    fn is_copied(&self, t: u32) -> bool {
        let key = |t: u32| {
            let mut k = self.mesh().triangles()[t as usize];
            k.sort_unstable();
            k
        };
        let corner = self.mesh().triangles()[t as usize][0];
        self.around.of(corner).iter().any(|&n| n != t && key(n) == key(t))
    }

    /// No higher than the rounding of coordinates can tell from nothing.
    fn is_degenerate(&self, t: u32) -> bool {
        let [a, b, c] = self.mesh().corners(t as usize).map(round_to_f32);
        let longest = (b - a).length().max((c - b).length()).max((a - c).length());
        (b - a).cross(c - a).length() <= 4.0 * self.rounding * longest
    }

    /// Two triangles run along the edge the same way.
    fn is_turned(&self, e: u32) -> bool {
        let [a, b] = self.scan.edges.points(e);
        let forward = |t: u32| {
            let c = self.mesh().triangles()[t as usize];
            (0..3).any(|k| c[k] == a && c[(k + 1) % 3] == b)
        };
        match self.scan.edges.triangles(e) {
            &[s, t] => forward(s) == forward(t),
            _ => false,
        }
    }

    /// Into how many fans the triangles at a point fall.
    fn fans(&self, p: u32) -> usize {
        let live = |&t: &u32| !self.gone[t as usize];
        let mut open: BTreeSet<u32> = self.around.of(p).iter().copied().filter(live).collect();
        let mut fans = 0;
        while let Some(t) = open.pop_first() {
            fans += 1;
            let mut stack = vec![t];
            while let Some(t) = stack.pop() {
                for (e, n) in self.scan.edges.neighbours(t) {
                    if self.scan.edges.points(e).contains(&p) && open.remove(&n) {
                        stack.push(n);
                    }
                }
            }
        }
        fans
    }

    /// The loops of open edges that lie in the ball. Each is followed along the fans
    /// of triangles beside it; one that comes by a point again is parted there, so
    /// that holes which touch stay apart.
    fn open_loops(&self) -> Vec<Vec<u32>> {
        let edges = &self.scan.edges;
        let mut seen = BTreeSet::new();
        let mut loops = Vec::new();
        for e in 0..edges.len() as u32 {
            let lies_in = edges.points(e).into_iter().all(|p| self.in_ball(p));
            if lies_in && self.live(e) == 1 && !seen.contains(&e) {
                loops.extend(self.walk_round(e, &mut seen));
            }
        }
        loops.retain(|l| l.len() >= 3 && l.iter().all(|&p| self.in_ball(p)));
        loops
    }

    /// The simple loops that the open edges from `start` on make up.
    fn walk_round(&self, start: u32, seen: &mut BTreeSet<u32>) -> Vec<Vec<u32>> {
        let [from, mut p] = self.scan.edges.points(start);
        let mut way = vec![from];
        let mut loops = Vec::new();
        let mut e = start;
        while seen.insert(e) {
            if let Some(before) = way.iter().position(|&q| q == p) {
                loops.push(way.split_off(before));
            }
            way.push(p);
            let Some(next) = self.next_open(e, p) else { break };
            e = next;
            let [a, b] = self.scan.edges.points(e);
            p = if a == p { b } else { a };
        }
        loops
    }

    /// The open edge at `p` on the far side of the fan that open edge `e` ends.
    fn next_open(&self, mut e: u32, p: u32) -> Option<u32> {
        let edges = &self.scan.edges;
        let live = |e: u32, but: Option<u32>| {
            let at = edges.triangles(e).iter().copied();
            at.filter(|&t| !self.gone[t as usize] && Some(t) != but).collect::<Vec<_>>()
        };
        let mut t = *live(e, None).first()?;
        for _ in 0..self.around.of(p).len() {
            e = edges
                .of_triangle(t)
                .into_iter()
                .find(|&f| f != e && edges.points(f).contains(&p))?;
            match live(e, Some(t)).as_slice() {
                [] => return Some(e),
                &[next] => t = next,
                _ => return None,
            }
        }
        None
    }

    fn holes(&self) -> Vec<Licence> {
        self.open_loops()
            .into_iter()
            .filter(|l| {
                let points: Vec<DVec3> =
                    l.iter().map(|&p| self.mesh().points()[p as usize]).collect();
                self.is_smaller_than_a_hole(&points)
            })
            .map(|l| self.licence(&l, []))
            .collect()
    }

    /// Smaller across than `hole_max`: the largest distance between two of the
    /// points, as far as rounding of coordinates can tell.
    fn is_smaller_than_a_hole(&self, points: &[DVec3]) -> bool {
        let most = self.hole_max + 4.0 * self.rounding;
        let bounds = Bounds3::of(points.iter().copied());
        // The widest extent is a lower bound, and spares large loops the pairs.
        if (bounds.max - bounds.min).max_element() > most {
            return false;
        }
        let far = |(i, a): (usize, &DVec3)| points[..i].iter().any(|b| a.distance(*b) > most);
        !points.iter().enumerate().any(far)
    }

    /// Whole pieces in the ball, no larger across than a hole and with no more
    /// than a small share of the area, that no end's loop runs through. What an
    /// earlier mend took away holds nothing together any more.
    fn loose_pieces(&self) -> Vec<Licence> {
        let is_there = |t: u32| !self.gone[t as usize];
        let (pieces, _) = self.scan.edges.pieces(is_there, |_| true);
        let needed: BTreeSet<u32> = self
            .scan
            .ends
            .iter()
            .flat_map(|e| e.bore.triangles.iter().chain(&e.outside.triangles))
            .map(|&t| pieces[t as usize])
            .collect();
        let inside: BTreeSet<u32> = self.triangles_in_ball().filter(|&t| is_there(t)).collect();
        let mut whole: BTreeSet<u32> =
            inside.iter().map(|&t| pieces[t as usize]).filter(|p| !needed.contains(p)).collect();
        for t in 0..pieces.len() as u32 {
            if is_there(t) && !inside.contains(&t) {
                whole.remove(&pieces[t as usize]);
            }
        }
        let of_size = |piece: &u32| {
            let inside = inside.iter().filter(|&&t| pieces[t as usize] == *piece);
            let area = |t: u32| 0.5 * self.mesh().area_normal(t as usize).length();
            let share = inside.clone().map(|&t| area(t)).sum::<f64>() / self.mesh().area();
            let corners: Vec<DVec3> =
                inside.flat_map(|&t| self.mesh().corners(t as usize)).collect();
            self.is_smaller_than_a_hole(&corners) && share <= LOOSE_AREA_SHARE
        };
        whole
            .into_iter()
            .filter(of_size)
            .map(|piece| {
                let of: Vec<u32> =
                    (0..pieces.len() as u32).filter(|&t| pieces[t as usize] == piece).collect();
                // Nothing comes in its place.
                let own = Ball { at: self.ball.at, radius: 0.0 };
                let may_go = of.into_iter().collect();
                Licence { listed: self.ball, own, may_go, ring: Vec::new() }
            })
            .collect()
    }

    /// The triangles that meet others in the ball, and those round them, if the ball
    /// is small.
    fn folds(&self) -> Vec<Licence> {
        // `hole_max` may be the median edge's of coordinates as they were read.
        if self.ball.radius > FOLD_OF_HOLE * self.hole_max * (1.0 + 1e-9) + 4.0 * self.rounding {
            return Vec::new();
        }
        let inside: Vec<u32> = self.triangles_in_ball().collect();
        let folded = folded(self.mesh(), &self.scan.edges, self.around, &inside);
        let points: BTreeSet<u32> =
            folded.into_iter().flat_map(|t| self.mesh().triangles()[t as usize]).collect();
        let points: Vec<u32> = points.into_iter().collect();
        if points.is_empty() { Vec::new() } else { vec![self.ring_licence(&points)] }
    }

    /// Points that stand out, whose triangles all lie in the ball; none unless the
    /// case asks for outliers to be mended.
    fn outliers(&self) -> Vec<Licence> {
        if self.outliers == Outliers::Keep {
            return Vec::new();
        }
        let in_ball =
            |t: &u32| self.mesh().triangles()[*t as usize].into_iter().all(|p| self.in_ball(p));
        (0..self.mesh().points().len() as u32)
            .filter(|&p| self.in_ball(p) && self.around.of(p).iter().all(in_ball))
            .filter_map(|p| {
                let ring = Surroundings {
                    mesh: self.mesh(),
                    edges: &self.scan.edges,
                    around: self.around,
                    gone: self.gone,
                }
                .ring_of_outlier(p)?;
                Some(Licence { ring, ..self.ring_licence(&[p]) })
            })
            .collect()
    }

    /// Those triangles at these points that lie in the ball may go.
    fn ring_licence(&self, points: &[u32]) -> Licence {
        let ring: BTreeSet<u32> =
            points.iter().flat_map(|&p| self.around.of(p).iter().copied()).collect();
        let in_ball =
            |&t: &u32| self.mesh().triangles()[t as usize].into_iter().all(|p| self.in_ball(p));
        self.licence(points, ring.into_iter().filter(in_ball))
    }

    fn licence(&self, points: &[u32], may_go: impl IntoIterator<Item = u32>) -> Licence {
        let place = |p: u32| self.mesh().points()[p as usize];
        let at = points.iter().map(|&p| place(p)).sum::<DVec3>() / points.len().max(1) as f64;
        let radius = points
            .iter()
            .flat_map(|&p| self.around.of(p))
            .flat_map(|&t| self.mesh().corners(t as usize))
            .map(|q| (q - at).length())
            .fold(0.0, f64::max);
        let may_go = may_go.into_iter().collect();
        let own = Ball { at: at.to_array(), radius };
        Licence { listed: self.ball, own, may_go, ring: Vec::new() }
    }
}

/// A mend's kind as a word.
pub(crate) fn kind_name(kind: MendKind) -> &'static str {
    match kind {
        MendKind::Duplicate => "duplicate",
        MendKind::Degenerate => "degenerate",
        MendKind::Flipped => "flipped",
        MendKind::Hole => "hole",
        MendKind::NonManifoldEdge => "non-manifold edge",
        MendKind::NonManifoldVertex => "non-manifold vertex",
        MendKind::LoosePiece => "loose piece",
        MendKind::SelfIntersection => "self-intersection",
        MendKind::Outlier => "outlier",
    }
}
