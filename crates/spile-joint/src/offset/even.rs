//! Evening out the made wall and lifting it until no point of it is too near.

use rayon::prelude::*;
use spile_mesh::{Bounds3, DVec3, Mesh, round_to_f32};

use super::field::{Distance, Level};
use super::surface::{EdgeLengths, Surface};
use super::triangle_gap::triangle_gap;

/// Share of the way toward its neighbours' middle that a vertex goes a round.
const STRIDE_SHARE: f64 = 0.6;

/// Turns the raw lattice surface of a level into even triangles of about `aim`.
pub(super) fn even_out(surface: &mut Surface, level: &impl Level, aim: f64) {
    let lengths = EdgeLengths::about(aim);
    surface.collapse_short(EdgeLengths { longest: lengths.longest, shortest: 0.5 * aim });
    for _ in 0..4 {
        surface.split_long(lengths);
        surface.collapse_short(lengths);
        surface.flip(4);
        relax(surface, level);
        relax(surface, level);
    }
    for _ in 0..2 {
        surface.flip(4);
        relax(surface, level);
    }
}

/// Moves every vertex some way toward the middle of its neighbours, in the
/// surface's tangent plane, and back to the level.
fn relax(surface: &mut Surface, level: &impl Level) {
    let s = &*surface;
    let relaxed = |v: u32| {
        let p = s.points[v as usize];
        if s.around[v as usize].is_empty() {
            return p;
        }
        let normal = s.normal(v).normalize_or_zero();
        let step = STRIDE_SHARE * (middle_of_neighbours(s, v) - p);
        level.settled(p + step - normal * step.dot(normal))
    };
    let points = (0..s.points.len() as u32).into_par_iter().map(relaxed).collect();
    surface.points = points;
}

/// Moves every vertex to the level.
pub(super) fn settle(points: &mut [DVec3], level: &impl Level) {
    points.par_iter_mut().for_each(|p| *p = level.settled(*p));
}

fn middle_of_neighbours(s: &Surface, v: u32) -> DVec3 {
    let near = s.neighbours(v);
    near.iter().map(|&u| s.points[u as usize]).sum::<DVec3>() / near.len() as f64
}

/// Rounds all points to f32 and lifts those at triangles that are too near the
/// bore, until none is; gives the triangles that are too near still.
///
/// The distance is taken between whole triangles, not at corners alone: a flat
/// triangle over a bulge of the bore dips below its corners.
pub(super) fn lift(surface: &mut Surface, field: &Distance, bore: &Mesh) -> Vec<u32> {
    /// Each round leaves a small share of the lack; six are usual.
    const ROUNDS: usize = 24;
    for p in &mut surface.points {
        *p = round_to_f32(*p);
    }
    let mut doubtful: Vec<u32> = (0..surface.triangles.len() as u32).collect();
    for _ in 0..ROUNDS {
        doubtful.retain(|&t| surface.triangles[t as usize][0] != u32::MAX);
        let s = &*surface;
        let lacks: Vec<f64> = doubtful.par_iter().map(|&t| lack(s, field, bore, t)).collect();
        let mut lack_at: Vec<(u32, f64)> = Vec::new();
        for (&t, &lack) in doubtful.iter().zip(&lacks) {
            if lack > 0.0 {
                lack_at.extend(s.triangles[t as usize].map(|v| (v, lack)));
            }
        }
        if lack_at.is_empty() {
            return Vec::new();
        }
        // The greatest lack at each vertex comes first and is kept.
        lack_at.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)));
        lack_at.dedup_by_key(|entry| entry.0);
        let places: Vec<DVec3> = lack_at
            .par_iter()
            .map(|&(v, lack)| {
                let p = s.points[v as usize];
                round_to_f32(field.lifted(p, field.sight(p).excess + lack + field.margin))
            })
            .collect();
        doubtful.clear();
        for (&(v, _), place) in lack_at.iter().zip(places) {
            surface.points[v as usize] = place;
            doubtful.extend(&surface.around[v as usize]);
        }
        doubtful.sort_unstable();
        doubtful.dedup();
    }
    too_near(surface, field, bore)
}

/// The triangles that are nearer to the bore than asked.
pub(super) fn too_near(surface: &Surface, field: &Distance, bore: &Mesh) -> Vec<u32> {
    let all = 0..surface.triangles.len() as u32;
    let is_near = |t: &u32| lack(surface, field, bore, *t) > 0.0;
    all.into_par_iter().filter(is_near).collect()
}

/// How much nearer to the bore than the greatest thickness asked at its corners
/// triangle `t` is; not positive where it is far enough.
fn lack(s: &Surface, field: &Distance, bore: &Mesh, t: u32) -> f64 {
    let corners = s.corners(t);
    let asked = corners.map(|p| field.thickness.at(p)).into_iter().fold(0.0, f64::max);
    let own = Bounds3::of(corners);
    let reach = Bounds3 { min: own.min - asked, max: own.max + asked };
    let mut least = f64::INFINITY;
    field.bvh.for_each_touching(reach, &mut |b| {
        let other = bore.corners(b as usize);
        let bound = asked.min(least);
        if boxes_apart_sq(own, Bounds3::of(other)) < bound * bound {
            least = least.min(triangle_gap(corners, other));
        }
    });
    asked - least
}

fn boxes_apart_sq(a: Bounds3, b: Bounds3) -> f64 {
    (a.min - b.max).max(b.min - a.max).max(DVec3::ZERO).length_squared()
}

/// Smooths the surface at these triangles and `rings` rings round them, without
/// letting it sink, so that folds open.
pub(super) fn unfold(surface: &mut Surface, field: &Distance, triangles: &[u32], rings: usize) {
    const ROUNDS: usize = 6;
    let mut vertices: Vec<u32> =
        triangles.iter().flat_map(|&t| surface.triangles[t as usize]).collect();
    for _ in 0..rings {
        let near: Vec<u32> = vertices.iter().flat_map(|&v| surface.neighbours(v)).collect();
        vertices.extend(near);
        vertices.sort_unstable();
        vertices.dedup();
    }
    vertices.sort_unstable();
    vertices.dedup();
    for _ in 0..ROUNDS {
        let s = &*surface;
        let places: Vec<DVec3> = vertices
            .par_iter()
            .map(|&v| {
                let p = s.points[v as usize];
                field.lifted(p.lerp(middle_of_neighbours(s, v), STRIDE_SHARE), 0.0)
            })
            .collect();
        for (&v, place) in vertices.iter().zip(places) {
            surface.points[v as usize] = place;
        }
    }
}
