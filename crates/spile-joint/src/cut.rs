//! `cut`: trims one branch of the scan at a plane.
//!
//! Only the branch whose section loops are chosen is cut; the plane may cross
//! other branches, which stay whole. What is removed is found by walking the
//! surface from the chosen loops on the plane's far side, so its cost follows
//! what is removed and not the scan. All loops of an end bar the way together:
//! walls that are joined beyond the cut by a cap or a rounded rim go with it.
//!
//! A point on the plane counts as above it, as in a section. Points that close
//! to the plane would leave slivers: where the one above an edge's crossing is
//! so close, the rim runs through that point; where the one below is, the rim
//! is lifted off it a little, within what a seam may lie off its plane. If the
//! rim still touches itself at such a point, the plane is raised a little. Points
//! of the rim that rounding to `f32` could put past each other become one.

use spile_mesh::topology::{ends, previous};
use spile_mesh::{DVec3, NONE, Plane, SectionLoop};
use std::collections::{BTreeMap, BTreeSet};

use crate::surface::Scan;
use crate::walls::WallSide;

/// The chosen loops of one end: where its plane crosses the two sides of the wall.
#[derive(Debug, Clone)]
pub struct EndLoops {
    /// The cutting plane; its normal points off the scan.
    pub plane: Plane,
    /// The bore's loop; without triangles where the surface is the outside alone.
    pub bore: SectionLoop,
    /// The outside's loop; none where the scan is the bore alone.
    pub outside: Option<SectionLoop>,
}

/// One side of the wall at one end after the cut.
#[derive(Debug, Clone, Default)]
pub struct CutSide {
    /// Scan triangles that the plane crosses on this side. Sorted.
    pub crossed: Vec<u32>,
    /// Scan triangles that go wholly, of both sides. Sorted.
    pub removed: Vec<u32>,
    /// New points on the plane; point `k` has index `scan points + first + k`.
    pub new_points: Vec<DVec3>,
    /// Pieces of crossed triangles that stay; indices below the scan's point
    /// count are the scan's, others are `new_points` counted on from there.
    pub pieces: Vec<[u32; 3]>,
    /// The rim: directed edges from piece corner to piece corner with the
    /// surface on their left, as one closed loop of point indices.
    pub rim: Vec<u32>,
}

/// Lengths that decide how the cut meets points close to the plane.
#[derive(Debug, Clone, Copy)]
pub struct CutLengths {
    /// A point nearer to the plane than this is close to it.
    pub close: f64,
    /// How far the rim may be lifted off the plane.
    pub lift: f64,
}

impl CutLengths {
    /// Small beside an edge of this length, and beside what a seam may lie off
    /// its plane.
    pub fn of(edge: f64, deviation: f64) -> Self {
        Self {
            close: (1e-3 * edge).min(0.05 * deviation),
            lift: (0.02 * edge).min(0.25 * deviation),
        }
    }

    /// The same at a plain end: its face is flat only as far as its rims are,
    /// and no seam asks for triangles of a good shape there, so the rim is
    /// lifted no further than keeps points apart.
    pub fn flat(self) -> Self {
        Self { lift: self.lift.min(2.0 * self.close), ..self }
    }
}

/// Why a branch cannot be cut.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CutError {
    /// Walking the far side led back to the near side.
    #[error(
        "the cut does not part the scan: the surface beyond it joins the kept side near ({0:.2}, {1:.2}, {2:.2})"
    )]
    NotParted(f64, f64, f64),
    /// The loop of the cut touches itself.
    #[error("the cut's loop is not a simple one near ({0:.2}, {1:.2}, {2:.2})")]
    RimNotSimple(f64, f64, f64),
}

/// How often the plane is raised where its loop touches itself.
const RAISES: usize = 8;

/// Cuts one side of the wall at an end.
///
/// New points are indexed from `first_new` on.
///
/// # Errors
/// See [`CutError`].
pub fn cut_side(
    scan: &Scan,
    loops: &EndLoops,
    side: WallSide,
    lengths: CutLengths,
    first_new: u32,
) -> Result<CutSide, CutError> {
    let step = lengths.lift / RAISES as f64;
    let mut answer = Err(near(loops.plane.point));
    for raise in 0..RAISES {
        let normal = loops.plane.normal;
        let plane = Plane { point: loops.plane.point + normal * (step * raise as f64), normal };
        answer = Cut { scan, plane, lengths, first_new }.side(loops, side);
        if !matches!(answer, Err(CutError::RimNotSimple(..))) {
            break;
        }
    }
    answer
}

fn near(p: DVec3) -> CutError {
    CutError::RimNotSimple(p.x, p.y, p.z)
}

/// One plane through the scan.
struct Cut<'a> {
    scan: &'a Scan,
    plane: Plane,
    lengths: CutLengths,
    first_new: u32,
}

impl Cut<'_> {
    fn at(&self, v: u32) -> DVec3 {
        self.scan.mesh.points()[v as usize]
    }

    fn corners(&self, t: u32) -> [u32; 3] {
        self.scan.mesh.triangles()[t as usize]
    }

    fn height(&self, v: u32) -> f64 {
        self.plane.height(self.at(v))
    }

    fn is_above(&self, v: u32) -> bool {
        self.height(v) >= 0.0
    }

    fn side(&self, loops: &EndLoops, side: WallSide) -> Result<CutSide, CutError> {
        let (mut wanted, mut barred) = (Vec::new(), BTreeSet::new());
        for (of, chosen) in std::iter::once((WallSide::Bore, &loops.bore))
            .chain(loops.outside.iter().map(|l| (WallSide::Outside, l)))
            .filter(|(_, l)| !l.triangles.is_empty())
        {
            let curve = self.curve_along(chosen)?;
            barred.extend(curve.iter().copied());
            if of == side {
                wanted = curve;
            }
        }
        let removed = self.removed_beyond(&barred)?;
        let mut pieces = self.pieces_of(&wanted);
        pieces.removed = removed;
        if let Some(v) = repeated(&pieces.rim) {
            let new = v.checked_sub(self.first_new).map(|k| pieces.new_points[k as usize]);
            return Err(near(new.unwrap_or_else(|| self.at(v))));
        }
        if pieces.rim.len() < 3 {
            return Err(near(self.plane.point));
        }
        Ok(pieces)
    }

    /// The triangles of the closed curve in which the plane cuts the scan along
    /// `chosen`, in order.
    fn curve_along(&self, chosen: &SectionLoop) -> Result<Vec<u32>, CutError> {
        let of_loop: BTreeSet<u32> = chosen.triangles.iter().copied().collect();
        let mut seen: BTreeSet<u32> = BTreeSet::new();
        let mut best: (usize, Vec<u32>) = (0, Vec::new());
        for &seed in &of_loop {
            if seen.contains(&seed) {
                continue;
            }
            let Some(curve) = self.curve(seed) else { continue };
            seen.extend(curve.iter().copied());
            let shared = curve.iter().filter(|t| of_loop.contains(t)).count();
            if shared > best.0 {
                best = (shared, curve);
            }
        }
        match chosen.points.first() {
            Some(&p) if best.1.is_empty() => Err(near(p)),
            _ => Ok(best.1),
        }
    }

    /// The closed curve through `seed`; none where it does not cross or close.
    fn curve(&self, seed: u32) -> Option<Vec<u32>> {
        let mut curve = vec![seed];
        let mut at = self.over(seed)?;
        while at != seed {
            curve.push(at);
            at = self.over(at)?;
        }
        Some(curve)
    }

    /// The half-edges of a crossed triangle that run up and down through the plane.
    fn up_down(&self, t: u32) -> Option<[u32; 2]> {
        let above = self.corners(t).map(|v| self.is_above(v));
        let alone =
            (0..3).find(|&k| above[k] != above[(k + 1) % 3] && above[k] != above[(k + 2) % 3])?;
        let (leaving, arriving) = (3 * t + alone as u32, previous(3 * t + alone as u32));
        Some(if above[alone] { [arriving, leaving] } else { [leaving, arriving] })
    }

    /// The triangle across the half-edge that runs up.
    fn over(&self, t: u32) -> Option<u32> {
        let twin = self.scan.topology.twin(self.up_down(t)?[0]);
        (twin != NONE).then_some(twin / 3)
    }

    /// The triangles wholly beyond the curves `barred`. Sorted.
    fn removed_beyond(&self, barred: &BTreeSet<u32>) -> Result<Vec<u32>, CutError> {
        let mut is_reached = vec![false; self.scan.mesh.points().len()];
        let mut is_removed = vec![false; self.scan.mesh.triangles().len()];
        // Whether it was not marked before.
        let mark = |marks: &mut [bool], k: u32| !std::mem::replace(&mut marks[k as usize], true);
        let mut todo: Vec<u32> = Vec::new();
        for v in barred.iter().flat_map(|&t| self.corners(t)) {
            if self.is_above(v) && mark(&mut is_reached, v) {
                todo.push(v);
            }
        }
        let mut removed: Vec<u32> = Vec::new();
        while let Some(v) = todo.pop() {
            for &t in self.scan.fans.of(v) {
                let crosses = barred.contains(&t);
                if !crosses {
                    if !mark(&mut is_removed, t) {
                        continue;
                    }
                    removed.push(t);
                }
                for w in self.corners(t) {
                    if (!crosses || self.is_above(w)) && mark(&mut is_reached, w) {
                        todo.push(w);
                    }
                }
            }
        }
        for v in barred.iter().flat_map(|&t| self.corners(t)) {
            if !self.is_above(v) && is_reached[v as usize] {
                let p = self.at(v);
                return Err(CutError::NotParted(p.x, p.y, p.z));
            }
        }
        removed.sort_unstable();
        Ok(removed)
    }

    /// What stays of the triangles along a curve, and the rim.
    fn pieces_of(&self, curve: &[u32]) -> CutSide {
        let mut crossed = curve.to_vec();
        crossed.sort_unstable();
        let mut side = CutSide { crossed, ..CutSide::default() };
        let mut on_edge: BTreeMap<[u32; 2], u32> = BTreeMap::new();
        for &t in &side.crossed {
            let corners = self.corners(t);
            let mut polygon: Vec<u32> = Vec::with_capacity(4);
            for k in 0..3 {
                let (a, b) = (corners[k], corners[(k + 1) % 3]);
                if !self.is_above(a) {
                    polygon.push(a);
                }
                if self.is_above(a) != self.is_above(b) {
                    let key = [a.min(b), a.max(b)];
                    polygon.push(*on_edge.entry(key).or_insert_with(|| {
                        self.meets(key).unwrap_or_else(|p| {
                            side.new_points.push(p);
                            self.first_new + side.new_points.len() as u32 - 1
                        })
                    }));
                }
            }
            // Two corners on the plane, or one with the rim passing by it.
            polygon.dedup();
            if polygon.len() > 1 && polygon.first() == polygon.last() {
                polygon.pop();
            }
            side.pieces
                .extend((2..polygon.len()).map(|k| [polygon[0], polygon[k - 1], polygon[k]]));
        }
        // The curve goes on over edges that run up; the rim, with the surface
        // on its left, the other way.
        let up =
            curve.iter().rev().filter_map(|&t| Some(ends(&self.scan.mesh, self.up_down(t)?[0])));
        side.rim = up.filter_map(|[a, b]| on_edge.get(&[a.min(b), a.max(b)]).copied()).collect();
        side.rim.dedup();
        if side.rim.len() > 1 && side.rim.first() == side.rim.last() {
            side.rim.pop();
        }
        self.merge_twins(&mut side);
        let least = (0..side.rim.len()).min_by_key(|&i| side.rim[i]).unwrap_or(0);
        side.rim.rotate_left(least);
        side
    }

    /// Makes one of neighbours on the rim that rounding to `f32` could put past
    /// each other, as where the plane runs just above a point of the scan.
    fn merge_twins(&self, side: &mut CutSide) {
        let new = |v: u32| v.checked_sub(self.first_new).map(|k| side.new_points[k as usize]);
        let n = side.rim.len();
        let mut stands_for: BTreeMap<u32, u32> = BTreeMap::new();
        for i in 1..n {
            let (a, b) = (side.rim[i - 1], side.rim[i]);
            if let (Some(p), Some(q)) = (new(a), new(b))
                && p.distance(q) < 2.0 * coordinate_spacing(p)
            {
                let a = stands_for.get(&a).copied().unwrap_or(a);
                stands_for.insert(b, a);
            }
        }
        if stands_for.is_empty() {
            return;
        }
        let one = |v: u32| stands_for.get(&v).copied().unwrap_or(v);
        side.rim = side.rim.iter().map(|&v| one(v)).collect();
        side.rim.dedup();
        if side.rim.len() > 1 && side.rim.first() == side.rim.last() {
            side.rim.pop();
        }
        side.pieces = side.pieces.iter().map(|t| t.map(one)).collect();
        side.pieces.retain(|t| t[0] != t[1] && t[1] != t[2] && t[2] != t[0]);
    }

    /// Where the rim meets an edge that the plane crosses: at its upper point,
    /// or at a new one. Computed from the edge's own order, so that both
    /// triangles at the edge get the very same point.
    fn meets(&self, [p, q]: [u32; 2]) -> Result<u32, DVec3> {
        let upper = if self.is_above(p) { p } else { q };
        let lower = if upper == p { q } else { p };
        if self.height(upper) <= self.lengths.close {
            return Ok(upper);
        }
        let is_close = self.height(lower) >= -self.lengths.close;
        let lift = if is_close { self.lengths.lift.min(0.5 * self.height(upper)) } else { 0.0 };
        let (hp, hq) = (self.height(p) - lift, self.height(q) - lift);
        let (p, q) = (self.at(p), self.at(q));
        Err(p + (q - p) * (hp / (hp - hq)))
    }
}

/// Distance of neighbouring `f32` values at the largest coordinate of `p`.
fn coordinate_spacing(p: DVec3) -> f64 {
    let largest = p.abs().max_element() as f32;
    f64::from(f32::from_bits(largest.to_bits() + 1)) - f64::from(largest)
}

/// A point that comes up twice.
fn repeated(rim: &[u32]) -> Option<u32> {
    let mut sorted = rim.to_vec();
    sorted.sort_unstable();
    sorted.windows(2).find(|pair| pair[0] == pair[1]).map(|pair| pair[0])
}

#[cfg(test)]
mod tests;
