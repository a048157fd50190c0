//! A patch that can be changed: triangles, and for each point the triangles
//! round it.
//!
//! The lists round the points are short on any mesh worth remeshing, and no
//! partner pointer can go stale, which a half-edge structure under collapse
//! makes easy to get wrong.

use glam::DVec3;

use crate::topology::NONE;

/// What may happen to a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// It stays where it is.
    Locked,
    /// It stays where it is, as the end, the turn or the meeting of lines, but
    /// may go where that changes nothing that matters.
    Corner,
    /// It may move, and go, along the line that it lies on.
    OnLine,
    /// It may move over the surface.
    Free,
}

/// An edge that shape operations must leave an edge: part of a line.
pub(super) const LINE: u8 = 1;
/// An edge that nothing may happen to.
pub(super) const FROZEN: u8 = 2;

/// A patch under change. Triangles and points keep their numbers; removed ones
/// are marked and left out in the end.
///
/// Invariants:
/// 1. `around[v]` lists exactly the live triangles with corner `v`;
/// 2. both triangles at an edge carry the same mark for it;
/// 3. an edge of one or of more than two triangles is marked.
///
/// What changes a triangle, its witnesses or its corners' place, home or kind
/// tells [`Working::touch`], so that what was tried in vain before need not be
/// tried again.
#[derive(Debug, Clone, Default)]
pub(super) struct Working {
    pub points: Vec<DVec3>,
    pub kinds: Vec<Kind>,
    /// The wanted edge length at each point.
    pub sizes: Vec<f64>,
    /// The triangle of the original that each point lies on; [`NONE`] unknown.
    pub homes: Vec<u32>,
    pub around: Vec<Vec<u32>>,
    pub triangles: Vec<[u32; 3]>,
    /// By edge: entry `k` is that from corner `k` to the next.
    pub marks: Vec<[u8; 3]>,
    pub alive: Vec<bool>,
    /// Points of the original that must stay near each triangle.
    pub witnesses: Vec<Vec<u32>>,
    /// Counts changes.
    pub clock: u32,
    /// When a triangle at each point, or anything at its corners, last changed.
    pub changed: Vec<u32>,
}

/// The triangles at an edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Beside {
    /// No such edge.
    Nothing,
    /// The one triangle.
    One(u32),
    /// The two triangles, the one that runs along the edge as asked first.
    Two(u32, u32),
    /// More than two, or two that disagree in orientation.
    Tangle,
}

impl Working {
    pub fn corners(&self, t: u32) -> [DVec3; 3] {
        self.triangles[t as usize].map(|v| self.points[v as usize])
    }

    /// Where in triangle `t` point `v` is.
    pub fn corner_of(&self, t: u32, v: u32) -> Option<usize> {
        self.triangles[t as usize].iter().position(|&w| w == v)
    }

    /// The corner of `t` that is neither `a` nor `b`.
    pub fn opposite(&self, t: u32, a: u32, b: u32) -> u32 {
        let corners = self.triangles[t as usize];
        corners.into_iter().find(|&v| v != a && v != b).unwrap_or(NONE)
    }

    /// The triangles at the edge between `a` and `b`; the first runs a to b.
    pub fn beside(&self, a: u32, b: u32) -> Beside {
        let (mut along, mut against) = (NONE, NONE);
        for &t in &self.around[a as usize] {
            let Some(k) = self.corner_of(t, a) else { continue };
            let corners = self.triangles[t as usize];
            let slot = if corners[(k + 1) % 3] == b {
                &mut along
            } else if corners[(k + 2) % 3] == b {
                &mut against
            } else {
                continue;
            };
            if *slot != NONE {
                return Beside::Tangle;
            }
            *slot = t;
        }
        match (along, against) {
            (NONE, NONE) => Beside::Nothing,
            (t, NONE) | (NONE, t) => Beside::One(t),
            (t, u) => Beside::Two(t, u),
        }
    }

    /// The mark of the edge between `a` and `b`; frozen if there is none.
    pub fn mark(&self, a: u32, b: u32) -> u8 {
        for &t in &self.around[a as usize] {
            if let Some(k) = self.edge_of(t, a, b) {
                return self.marks[t as usize][k];
            }
        }
        FROZEN
    }

    /// Which edge of `t` runs between `a` and `b`, either way.
    pub fn edge_of(&self, t: u32, a: u32, b: u32) -> Option<usize> {
        let corners = self.triangles[t as usize];
        (0..3).find(|&k| {
            let edge = [corners[k], corners[(k + 1) % 3]];
            edge == [a, b] || edge == [b, a]
        })
    }

    /// Adds `mark` to the edge between `a` and `b` in all its triangles.
    pub fn add_mark(&mut self, a: u32, b: u32, mark: u8) {
        for i in 0..self.around[a as usize].len() {
            let t = self.around[a as usize][i];
            if let Some(k) = self.edge_of(t, a, b) {
                self.marks[t as usize][k] |= mark;
            }
        }
    }

    /// The points joined to `v` by an edge, each once, in a fixed order.
    pub fn neighbours(&self, v: u32) -> Vec<u32> {
        let mut found = Vec::with_capacity(8);
        for &t in &self.around[v as usize] {
            for &w in &self.triangles[t as usize] {
                if w != v && !found.contains(&w) {
                    found.push(w);
                }
            }
        }
        found
    }

    /// The ends of marked edges at `v`, other than `v`.
    pub fn along_line(&self, v: u32) -> Vec<u32> {
        let mut found = Vec::with_capacity(2);
        for &t in &self.around[v as usize] {
            let corners = self.triangles[t as usize];
            for k in 0..3 {
                let (a, b) = (corners[k], corners[(k + 1) % 3]);
                let other = if a == v {
                    b
                } else if b == v {
                    a
                } else {
                    continue;
                };
                if self.marks[t as usize][k] != 0 && !found.contains(&other) {
                    found.push(other);
                }
            }
        }
        found
    }

    /// Each edge of live triangles once, smaller point first, in a fixed order.
    pub fn edges(&self) -> Vec<[u32; 2]> {
        let mut edges: Vec<[u32; 2]> = Vec::with_capacity(2 * self.triangles.len());
        for (t, corners) in self.triangles.iter().enumerate().filter(|&(t, _)| self.alive[t]) {
            for k in 0..3 {
                let (a, b) = (corners[k], corners[(k + 1) % 3]);
                // An edge of two triangles that agree comes once each way.
                if a < b || self.marks[t][k] != 0 {
                    edges.push([a.min(b), a.max(b)]);
                }
            }
        }
        edges.sort_unstable();
        edges.dedup();
        edges
    }

    /// Whether point `v` lies where the surface ends, or on a tangle.
    pub fn is_at_end(&self, v: u32) -> bool {
        let ends = |w: u32| !matches!(self.beside(v, w), Beside::Two(..));
        self.along_line(v).into_iter().any(ends)
    }

    /// What may happen to `v` by the marked edges at it, which are lines: it is
    /// on a line where there are two that turn by less than the angle of cosine
    /// `turn`.
    pub fn kind_by_lines(&self, v: u32, turn: f64) -> Kind {
        let at = |w: u32| self.points[w as usize];
        match self.along_line(v)[..] {
            [] => Kind::Free,
            [a, b] => {
                let coming = (at(v) - at(a)).normalize_or_zero();
                let going = (at(b) - at(v)).normalize_or_zero();
                if coming.dot(going) > turn { Kind::OnLine } else { Kind::Corner }
            }
            _ => Kind::Corner,
        }
    }

    pub fn length(&self, a: u32, b: u32) -> f64 {
        self.points[a as usize].distance(self.points[b as usize])
    }

    /// The wanted length of an edge.
    pub fn size(&self, a: u32, b: u32) -> f64 {
        0.5 * (self.sizes[a as usize] + self.sizes[b as usize])
    }

    pub fn add_point(&mut self, at: DVec3, kind: Kind, size: f64, home: u32) -> u32 {
        self.points.push(at);
        self.kinds.push(kind);
        self.sizes.push(size);
        self.homes.push(home);
        self.around.push(Vec::with_capacity(8));
        self.changed.push(self.clock);
        (self.points.len() - 1) as u32
    }

    pub fn add_triangle(&mut self, corners: [u32; 3], marks: [u8; 3]) -> u32 {
        let t = self.triangles.len() as u32;
        self.triangles.push(corners);
        self.marks.push(marks);
        self.alive.push(true);
        self.witnesses.push(Vec::new());
        for v in corners {
            self.around[v as usize].push(t);
        }
        t
    }

    /// Notes that a triangle changes.
    pub fn touch(&mut self, t: u32) {
        self.clock += 1;
        for v in self.triangles[t as usize] {
            self.changed[v as usize] = self.clock;
        }
    }

    fn leave(&mut self, v: u32, t: u32) {
        self.around[v as usize].retain(|&u| u != t);
    }

    /// Puts point `m` into the edge between `a` and `b`; each triangle there
    /// becomes two. Gives pairs of the triangle and its new half.
    pub fn split(&mut self, a: u32, b: u32, m: u32) -> Vec<[u32; 2]> {
        let at_edge: Vec<u32> = self.around[a as usize]
            .iter()
            .copied()
            .filter(|&t| self.edge_of(t, a, b).is_some())
            .collect();
        let mut halves = Vec::with_capacity(2);
        for t in at_edge {
            let Some(k) = self.edge_of(t, a, b) else { continue };
            let corners = self.triangles[t as usize];
            let marks = self.marks[t as usize];
            let [p, q, r] = [corners[k], corners[(k + 1) % 3], corners[(k + 2) % 3]];
            let [pq, qr, rp] = [marks[k], marks[(k + 1) % 3], marks[(k + 2) % 3]];
            self.leave(q, t);
            self.triangles[t as usize] = [p, m, r];
            self.marks[t as usize] = [pq, 0, rp];
            self.around[m as usize].push(t);
            let new = self.add_triangle([m, q, r], [pq, qr, 0]);
            self.touch(t);
            self.touch(new);
            halves.push([t, new]);
        }
        halves
    }

    /// Turns the edge between triangles `t` (along a to b) and `u`: they come to
    /// share the edge between their other corners.
    pub fn flip(&mut self, a: u32, b: u32, t: u32, u: u32) {
        let (c, d) = (self.opposite(t, a, b), self.opposite(u, a, b));
        let mark = |w: &Self, t: u32, a: u32, b: u32| {
            w.edge_of(t, a, b).map_or(0, |k| w.marks[t as usize][k])
        };
        let (bc, ca) = (mark(self, t, b, c), mark(self, t, c, a));
        let (ad, db) = (mark(self, u, a, d), mark(self, u, d, b));
        self.leave(b, t);
        self.leave(a, u);
        self.triangles[t as usize] = [a, d, c];
        self.marks[t as usize] = [ad, 0, ca];
        self.triangles[u as usize] = [d, b, c];
        self.marks[u as usize] = [db, bc, 0];
        self.around[d as usize].push(t);
        self.around[c as usize].push(u);
        self.touch(t);
        self.touch(u);
    }

    /// Moves point `a` onto `b` and removes it with the triangles that had both.
    pub fn collapse(&mut self, a: u32, b: u32) {
        let ring = std::mem::take(&mut self.around[a as usize]);
        let mut joined = Vec::with_capacity(2);
        for t in ring {
            self.touch(t);
            if self.corner_of(t, b).is_some() {
                let c = self.opposite(t, a, b);
                let mark = self.edge_of(t, a, c).map_or(0, |k| self.marks[t as usize][k])
                    | self.edge_of(t, b, c).map_or(0, |k| self.marks[t as usize][k]);
                joined.push((c, mark));
                self.alive[t as usize] = false;
                self.leave(b, t);
                self.leave(c, t);
            } else {
                if let Some(k) = self.corner_of(t, a) {
                    self.triangles[t as usize][k] = b;
                }
                self.around[b as usize].push(t);
            }
        }
        for (c, mark) in joined {
            self.add_mark(b, c, mark);
        }
        for i in 0..self.around[b as usize].len() {
            self.touch(self.around[b as usize][i]);
        }
    }

    /// Tests the invariants in their order.
    #[cfg(test)]
    pub fn check(&self) -> Result<(), String> {
        for (v, ring) in self.around.iter().enumerate() {
            let mut listed = ring.clone();
            listed.sort_unstable();
            let has = |t: &usize| self.alive[*t] && self.triangles[*t].contains(&(v as u32));
            let true_ring: Vec<u32> =
                (0..self.triangles.len()).filter(has).map(|t| t as u32).collect();
            if listed != true_ring {
                return Err(format!("invariant 1 at point {v}: {listed:?} {true_ring:?}"));
            }
        }
        for (t, &[a, b, c]) in self.triangles.iter().enumerate().filter(|&(t, _)| self.alive[t]) {
            for (k, (a, b)) in [(a, b), (b, c), (c, a)].into_iter().enumerate() {
                let marks: Vec<u8> = self.around[a as usize]
                    .iter()
                    .filter_map(|&u| self.edge_of(u, a, b).map(|k| self.marks[u as usize][k]))
                    .collect();
                if marks.iter().any(|&m| m != self.marks[t][k]) {
                    return Err(format!("invariant 2 at edge {a} {b}"));
                }
                if !matches!(self.beside(a, b), Beside::Two(..)) && self.marks[t][k] == 0 {
                    return Err(format!("invariant 3 at edge {a} {b}"));
                }
            }
        }
        Ok(())
    }
}
