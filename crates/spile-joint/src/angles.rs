//! Makes edges that came out sharper than they may be flatter, with the least
//! change round them.
//!
//! Smoothing makes a surface even on the whole; what a limit on angles asks is
//! that no single edge is too sharp. So the few that are get a target of their
//! own: the bend at such an edge should become the share of itself that is
//! allowed, the bend at every other edge should stay what it is. Both are
//! linear in small moves along the normals, and weights grow on edges that
//! still are too sharp.

use std::collections::{BTreeMap, BTreeSet};

use spile_mesh::{Bvh, DVec3, Mesh, NONE, StopAsked};

use crate::fair::{Hinge, hinges};
use crate::least_squares::{LeastSquares, Line, SolveError};
use crate::reach::Band;
use crate::span::Grid;
use crate::surface::Scan;

/// The sharpest that an edge may be: its two points, smaller first, and the
/// angle between its triangles' normals in degrees.
pub type Watched = BTreeMap<[u32; 2], f64>;

/// Edges are flattened until they are within this share of what they may be.
const AIM: f64 = 0.93;
/// What is flattened aims at this share, so that it gets within [`AIM`].
const TARGET: f64 = 0.88;
/// How many rings of points round an edge may move for it.
const RINGS: usize = 5;
/// Rounds of flattening.
const ROUNDS: usize = 24;

/// One run of flattening over a surface.
struct Flatten<'a> {
    watched: &'a Watched,
    /// The points before anything moved.
    original: Vec<DVec3>,
    /// How far each may be moved.
    most: Vec<f64>,
    /// A surface that the first points stay near, how near, and their number.
    near: Option<(&'a Bvh, f64, usize)>,
    /// How much more than others an edge counts.
    weight: BTreeMap<[u32; 2], f64>,
}

impl Flatten<'_> {
    /// Moves points once; `None` when every watched edge is flat enough.
    fn step(&mut self, mesh: &Mesh, hinges: &[Hinge]) -> Result<Option<Vec<DVec3>>, SolveError> {
        let share = |h: &Hinge| {
            let most = self.watched.get(&h.edge())?;
            Some(angle_deg(mesh, h) / most)
        };
        let shares: Vec<Option<f64>> = hinges.iter().map(share).collect();
        let mut any = false;
        for (h, s) in hinges.iter().zip(&shares) {
            if s.is_some_and(|s| s > AIM) {
                any = true;
                let w = self.weight.entry(h.edge()).or_insert(4.0);
                *w = (*w * 2.0).min(1e6);
            }
        }
        if !any {
            return Ok(None);
        }
        let free = self.movable(mesh, hinges);
        let mut unknown = vec![None; mesh.points().len()];
        for (u, &v) in free.iter().enumerate() {
            unknown[v] = Some(u);
        }
        let normals = mesh.point_normals();
        let mut system = LeastSquares::new(free.len());
        let mut typical = 0.0f64;
        for (h, s) in hinges.iter().zip(&shares) {
            let keep = s.map_or(1.0, |s| (TARGET / s).min(1.0));
            let w = h.weight * self.weight.get(&h.edge()).copied().unwrap_or(1.0);
            let bend = h.bend(mesh.points());
            let mut terms = Vec::with_capacity(4);
            for (v, k) in h.corners.iter().zip(h.factors) {
                if let Some(u) = unknown[*v as usize] {
                    terms.push((u, k * normals[*v as usize]));
                    typical = typical.max(h.weight * k * k);
                }
            }
            system.add_axes(&terms, (1.0 - keep) * bend, w);
        }
        for u in 0..free.len() {
            system.add(&Line { terms: vec![(u, 1.0)], rest: 0.0 }, 1e-4 * typical);
        }
        let moves = system.solve()?;
        let mut points = mesh.points().to_vec();
        for (&v, by) in free.iter().zip(moves) {
            let moved = points[v] + normals[v] * by - self.original[v];
            points[v] = self.original[v] + moved.clamp_length_max(self.most[v]);
            if let Some((surface, most, count)) = self.near
                && v < count
                && let Some(c) = surface.closest(points[v])
            {
                points[v] = c.point + (points[v] - c.point).clamp_length_max(most);
            }
        }
        Ok(Some(points))
    }

    /// The sharpest watched edge, as a share of what it may be.
    fn sharpest(&self, mesh: &Mesh, hinges: &[Hinge]) -> f64 {
        let share = |h: &Hinge| Some(angle_deg(mesh, h) / self.watched.get(&h.edge())?);
        hinges.iter().filter_map(share).fold(0.0, f64::max)
    }

    /// The points within some rings of an edge that ever was too sharp.
    fn movable(&self, mesh: &Mesh, hinges: &[Hinge]) -> Vec<usize> {
        let mut ring_of = vec![usize::MAX; self.most.len()];
        let sharp = hinges.iter().filter(|h| self.weight.contains_key(&h.edge()));
        sharp.flat_map(|h| h.corners).for_each(|v| ring_of[v as usize] = 0);
        for ring in 1..=RINGS {
            for t in mesh.triangles() {
                if t.iter().any(|&v| ring_of[v as usize] < ring) {
                    t.iter().for_each(|&v| ring_of[v as usize] = ring_of[v as usize].min(ring));
                }
            }
        }
        (0..ring_of.len()).filter(|&v| ring_of[v] <= RINGS && self.most[v] > 0.0).collect()
    }
}

/// Angle between the normals of a hinge's two triangles, in degrees.
fn angle_deg(mesh: &Mesh, h: &Hinge) -> f64 {
    let [a, b, c, d] = h.corners.map(|v| mesh.points()[v as usize]);
    between_deg((b - a).cross(c - a), (d - a).cross(b - a))
}

/// Angle between two directions of any length, in degrees.
fn between_deg(m: DVec3, n: DVec3) -> f64 {
    m.cross(n).length().atan2(m.dot(n)).to_degrees()
}

/// The sharpest that edges at the band's border with the untouched scan may
/// be: `kink_deg`, or the sharpest edge that the scan has within two triangles.
pub fn at_border(scan: &Scan, band: &Band, beside: &[[u32; 3]], kink_deg: f64) -> Watched {
    let shared = |v: u32| (v as usize) < band.shared;
    let place: BTreeMap<u32, u32> =
        band.scan_points.iter().enumerate().map(|(i, &v)| (v, i as u32)).collect();
    let outer = beside.iter().flat_map(|t| {
        (0..3).filter_map(|k| {
            let ends = [t[k], t[(k + 1) % 3]].map(|v| place.get(&v).copied());
            Some([ends[0]?, ends[1]?])
        })
    });
    let inner = band.mesh.triangles().iter().flat_map(|t| (0..3).map(|k| [t[k], t[(k + 1) % 3]]));
    let mut watched = Watched::new();
    for [a, b] in inner.chain(outer) {
        if !shared(a) && !shared(b) {
            continue;
        }
        watched.entry([a.min(b), a.max(b)]).or_insert_with(|| {
            let near = [a, b].into_iter().filter(|&v| shared(v));
            let near: Vec<u32> = near.map(|v| band.scan_points[v as usize]).collect();
            kink_deg.max(sharpest_near(scan, &near))
        });
    }
    watched
}

/// The band with edges turned where a fold at its border could not be taken out
/// otherwise.
///
/// At a point of the border with two triangles of the band, both over border
/// edges, the angle between these is that of the border itself, nearly the same
/// however their common edge is moved. With a third triangle there the fold is
/// shared between two edges, and free.
pub fn loosened(scan: &Scan, band: &Band, beside: &[[u32; 3]], kink_deg: f64) -> Band {
    let watched = at_border(scan, band, beside, kink_deg);
    let shared = |v: u32| (v as usize) < band.shared;
    let mut mesh = band.mesh.clone();
    for h in hinges(&band.mesh) {
        let stuck = watched.get(&h.edge()).is_some_and(|most| angle_deg(&mesh, &h) > AIM * most);
        let [a, b, c, d] = h.corners;
        let (at, free) = if shared(a) { (a, b) } else { (b, a) };
        if !stuck || shared(free) || ![at, c, d].into_iter().all(shared) {
            continue;
        }
        let turned = [c, d].into_iter().filter_map(|wing| turn_edge(&mesh, [free, wing], at));
        let sharp = |mesh: &Mesh| {
            let near = hinges(mesh).into_iter().filter(|h| h.edge().contains(&at));
            near.map(|h| angle_deg(mesh, &h)).fold(0.0, f64::max)
        };
        if let Some(better) = turned.min_by(|x, y| sharp(x).total_cmp(&sharp(y))) {
            mesh = better;
        }
    }
    let off = if mesh == band.mesh { band.off } else { f64::INFINITY };
    Band { mesh, off, ..band.clone() }
}

/// A turned edge must not make angles smaller than this, in degrees.
const LEAST_TURNED_DEG: f64 = 12.0;

/// The mesh with an edge turned so that it ends at `to`, the third corner of
/// one of its triangles. None where that would fold the surface, make needles or repeat an edge.
fn turn_edge(mesh: &Mesh, edge: [u32; 2], to: u32) -> Option<Mesh> {
    let has = |t: &[u32; 3], v: u32| t.contains(&v);
    let near = |t: &&(usize, &[u32; 3])| edge.iter().all(|&v| has(t.1, v));
    let all = || mesh.triangles().iter().enumerate();
    let both: Vec<(usize, &[u32; 3])> = all().filter(|t| near(&t)).collect();
    let [one, other] = both.as_slice() else { return None };
    let (one, other) = if has(one.1, to) { (one, other) } else { (other, one) };
    let far = other.1.iter().copied().find(|v| !edge.contains(v))?;
    let repeats = all().any(|(_, t)| has(t, to) && has(t, far));
    if !has(one.1, to) || repeats {
        return None;
    }
    // The edge's points as `one` passes them.
    let k = (0..3).find(|&k| one.1[k] == to)?;
    let (p, q) = (one.1[(k + 1) % 3], one.1[(k + 2) % 3]);
    let mut triangles = mesh.triangles().to_vec();
    triangles[one.0] = [to, p, far];
    triangles[other.0] = [to, far, q];
    let facing =
        mesh.area_normal(one.0).normalize_or_zero() + mesh.area_normal(other.0).normalize_or_zero();
    let turned = Mesh::new(mesh.points().to_vec(), triangles).ok()?;
    let least = [one.0, other.0]
        .into_iter()
        .map(|t| {
            let folds = turned.area_normal(t).normalize_or_zero().dot(facing) < 1.0;
            if folds { 0.0 } else { least_angle_deg(turned.corners(t)) }
        })
        .fold(f64::INFINITY, f64::min);
    (least >= LEAST_TURNED_DEG).then_some(turned)
}

/// The least of a triangle's three angles, in degrees.
fn least_angle_deg([a, b, c]: [DVec3; 3]) -> f64 {
    between_deg(b - a, c - a).min(between_deg(c - b, a - b)).min(between_deg(a - c, b - c))
}

/// The sharpest edge, in degrees, of the triangles round some points of the
/// scan and of those next to them.
fn sharpest_near(scan: &Scan, points: &[u32]) -> f64 {
    let mut near: BTreeSet<u32> = points.iter().flat_map(|&v| scan.fans.of(v)).copied().collect();
    let star: Vec<u32> = near.iter().copied().collect();
    let half_edges = |t: u32| (0..3).map(move |k| 3 * t + k);
    let twin = |h: u32| Some(scan.topology.twin(h)).filter(|&t| t != NONE);
    near.extend(star.iter().flat_map(|&t| half_edges(t)).filter_map(twin).map(|h| h / 3));
    sharpest_of(scan, near.into_iter().flat_map(half_edges))
}

/// The sharpest edge of the triangles round a point of the scan, in degrees.
pub fn sharpest_round(scan: &Scan, point: u32) -> f64 {
    let half_edges = scan.fans.of(point).iter().flat_map(|&t| (0..3).map(move |k| 3 * t + k));
    sharpest_of(scan, half_edges)
}

/// The sharpest of some edges of the scan that have a triangle on both sides, in degrees.
fn sharpest_of(scan: &Scan, half_edges: impl Iterator<Item = u32>) -> f64 {
    half_edges
        .filter_map(|h| {
            let twin = Some(scan.topology.twin(h)).filter(|&t| t != NONE)?;
            let [m, n] = [h, twin].map(|h| scan.mesh.area_normal(h as usize / 3));
            Some(between_deg(m, n))
        })
        .fold(0.0, f64::max)
}

/// What [`hold_angles`] may do.
#[derive(Debug, Clone, Copy)]
pub struct AngleLimits {
    /// Largest angle at a seam's edge, degrees.
    pub kink_deg: f64,
    /// Furthest that a point may be moved.
    pub most: f64,
}

/// What came of [`hold_angles`].
pub struct Held {
    /// The band.
    pub band: Band,
    /// The joint that leaves from its rim.
    pub grid: Option<Grid>,
    /// The sharpest edge, as a share of what it may be.
    pub sharpest: f64,
}

/// Rows of the joint, from the seam on, whose points may move.
const ROWS: usize = 6;

/// The band and the joint that leaves from its rim, with the edges at the seam
/// and at the band's border no sharper than they may be, as far as small moves
/// can do that.
///
/// `order[j]` is the number in the band's rim of the joint's column `j`. With
/// `near`, the band's points also stay that near to that surface.
///
/// # Errors
/// [`SolveError`] when the equations have no solution, or where it is to stop.
pub fn hold_angles(
    scan: &Scan,
    band: &Band,
    beside: &[[u32; 3]],
    joint: Option<(&Grid, &[usize])>,
    limits: AngleLimits,
    near: Option<(&Bvh, f64)>,
    stop: StopAsked<'_>,
) -> Result<Held, SolveError> {
    let mut watched = at_border(scan, band, beside, limits.kink_deg);
    let band_points = band.mesh.points().len();
    let mut most = vec![limits.most; band_points];
    most[..band.shared].fill(0.0);
    // The untouched triangles beside the band stay; bends towards them count.
    let (mut points, fixed) = band.with_beside(&scan.mesh, beside);
    most.resize(points.len(), 0.0);
    let first = points.len();
    let columns = band.rim.len();
    let mut grid = joint.map(|(grid, _)| grid.clone());
    if let Some((grid, order)) = joint {
        let rim: Vec<u32> = order.iter().map(|&k| band.rim[k]).collect();
        for j in 0..columns {
            let (a, b) = (rim[j], rim[(j + 1) % columns]);
            watched.insert([a.min(b), a.max(b)], limits.kink_deg);
        }
        let rows = grid.rows.len();
        for (i, row) in grid.rows.iter().enumerate().skip(1).take(ROWS + 2) {
            points.extend_from_slice(row);
            let free = if i <= ROWS && i + 2 < rows { limits.most } else { 0.0 };
            most.resize(points.len(), free);
        }
    }
    let mut run = Flatten {
        watched: &watched,
        original: points.clone(),
        most,
        near: near.map(|(surface, most)| (surface, most, band_points)),
        weight: BTreeMap::new(),
    };
    let mut best: Option<(f64, Vec<DVec3>, Option<Grid>)> = None;
    // Few moves turn a diagonal of the joint: else the edges are those of the round before.
    let mut edges: (Vec<[u32; 3]>, Vec<[u32; 4]>) = Default::default();
    for round in 0..=ROUNDS {
        if stop() {
            return Err(SolveError::Stopped);
        }
        let mut triangles = fixed.clone();
        if let (Some(grid), Some((_, order))) = (&grid, joint) {
            let shown = Grid { rows: grid.rows.iter().take(ROWS + 3).cloned().collect() };
            let at = |v: u32| match (v as usize).checked_sub(columns) {
                Some(k) => (first + k) as u32,
                None => band.rim[order[v as usize]],
            };
            triangles.extend(shown.triangles(true).iter().map(|t| t.map(at)));
        }
        let mesh = Mesh::new(points.clone(), triangles).unwrap_or_default();
        if edges.0 != mesh.triangles() {
            let corners = hinges(&mesh).iter().map(|h| h.corners).collect();
            edges = (mesh.triangles().to_vec(), corners);
        }
        let hinges: Vec<Hinge> = edges.1.iter().map(|&c| Hinge::over(c, mesh.points())).collect();
        let sharpest = run.sharpest(&mesh, &hinges);
        if best.as_ref().is_none_or(|b| sharpest < b.0) {
            best = Some((sharpest, points.clone(), grid.clone()));
        }
        if round == ROUNDS {
            break;
        }
        let Some(moved) = run.step(&mesh, &hinges)? else { break };
        points = moved;
        if let (Some(grid), Some((_, order))) = (&mut grid, joint) {
            grid.rows[0] = order.iter().map(|&k| points[band.rim[k] as usize]).collect();
            for (row, new) in grid.rows[1..].iter_mut().zip(points[first..].chunks(columns)) {
                row.copy_from_slice(new);
            }
        }
    }
    let (sharpest, mut points, grid) = best.unwrap_or((f64::INFINITY, points, grid));
    points.truncate(band_points);
    Ok(Held { band: band.moved(points), grid, sharpest })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sheet of 13 by 13 points, bent by `fold_deg` along its middle line.
    fn folded(fold_deg: f64) -> Mesh {
        const N: u32 = 13;
        let rise = (fold_deg / 2.0).to_radians().tan();
        let points = (0..N * N)
            .map(|v| {
                let (x, y) = (f64::from(v % N) - 6.0, f64::from(v / N) - 6.0);
                DVec3::new(x, y, -rise * x.abs())
            })
            .collect();
        let cells = (0..(N - 1) * (N - 1)).map(|c| (c / (N - 1)) * N + c % (N - 1));
        let triangles = cells.flat_map(|a| [[a, a + 1, a + N + 1], [a, a + N + 1, a + N]]);
        Mesh::new(points, triangles.collect()).unwrap()
    }

    fn sharpest(mesh: &Mesh, watched: &Watched) -> f64 {
        hinges(mesh)
            .iter()
            .filter(|h| watched.contains_key(&h.edge()))
            .map(|h| angle_deg(mesh, h))
            .fold(0.0, f64::max)
    }

    #[test]
    fn a_fold_is_flattened_by_moves_within_bounds() {
        let mut mesh = folded(14.0);
        let middle = |v: &u32| v % 13 == 6;
        let watched: Watched = hinges(&mesh)
            .iter()
            .map(Hinge::edge)
            .filter(|e| e.iter().all(middle))
            .map(|e| (e, 10.0))
            .collect();
        assert_eq!(watched.len(), 12);
        assert!((sharpest(&mesh, &watched) - 14.0).abs() < 1e-9);
        let original = mesh.points().to_vec();
        let most = vec![0.15; original.len()];
        let mut run = Flatten {
            watched: &watched,
            original: original.clone(),
            most,
            near: None,
            weight: BTreeMap::new(),
        };
        for _ in 0..ROUNDS {
            let Some(points) = run.step(&mesh, &hinges(&mesh)).unwrap() else { break };
            mesh = Mesh::new(points, mesh.triangles().to_vec()).unwrap();
        }
        assert!(sharpest(&mesh, &watched) <= 9.3 + 1e-9);
        let far = |(a, b): (&DVec3, &DVec3)| a.distance(*b);
        assert!(mesh.points().iter().zip(&original).map(far).fold(0.0, f64::max) <= 0.15 + 1e-12);
    }

    #[test]
    fn what_is_flat_enough_stays() {
        let mesh = folded(9.0);
        let watched: Watched = hinges(&mesh).iter().map(|h| (h.edge(), 10.0)).collect();
        let original = mesh.points().to_vec();
        let most = vec![1.0; original.len()];
        let mut run =
            Flatten { watched: &watched, original, most, near: None, weight: BTreeMap::new() };
        assert!(run.step(&mesh, &hinges(&mesh)).unwrap().is_none());
    }

    /// Two triangles over the edge from 1 to 2, seen from 0 and from `far`.
    fn pair(far: DVec3) -> Mesh {
        let points = vec![DVec3::ZERO, DVec3::new(2.0, -1.0, 0.0), DVec3::new(2.0, 1.0, 0.0), far];
        Mesh::new(points, vec![[0, 1, 2], [3, 2, 1]]).unwrap()
    }

    #[test]
    fn an_edge_turns_where_that_leaves_two_sound_triangles() {
        let turned = turn_edge(&pair(DVec3::new(4.0, 0.0, 0.3)), [1, 2], 0).unwrap();
        assert_eq!(turned.triangles(), [[0, 1, 3], [0, 3, 2]]);
        // Reflex at point 1: the turned edge would lie outside of both.
        assert!(turn_edge(&pair(DVec3::new(4.0, -4.0, 0.0)), [1, 2], 0).is_none());
        // Nearly in line with points 0 and 2: a needle.
        assert!(turn_edge(&pair(DVec3::new(4.0, 1.8, 0.0)), [1, 2], 0).is_none());
        assert!(turn_edge(&pair(DVec3::new(4.0, 0.0, 0.0)), [0, 1], 2).is_none());
    }
}
