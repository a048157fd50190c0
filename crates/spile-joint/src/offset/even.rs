//! Evening out the made wall and lifting it until no point of it is too near.

use rayon::prelude::*;
use spile_mesh::{DVec3, Mesh, MeshError, nearest_each, round_to_f32};

use super::field::{Distance, Level};
use super::surface::{EdgeLengths, Surface};

/// Share of the way toward its neighbours' middle that a vertex goes a round.
const STRIDE_SHARE: f64 = 0.6;

/// Turns the raw lattice surface of a level into even triangles of about `aim`.
pub(super) fn even_out(surface: &mut Surface, level: &impl Level, aim: f64) {
    let lengths = EdgeLengths::about(aim);
    surface.collapse_short(EdgeLengths { longest: lengths.longest, shortest: 0.5 * aim });
    for _ in 0..4 {
        if level.is_stopped() {
            return;
        }
        surface.split_long(lengths);
        surface.collapse_short(lengths);
        surface.flip(2);
        relax(surface, level);
        relax(surface, level);
    }
    for _ in 0..2 {
        surface.flip(3);
        relax(surface, level);
    }
    settle(&mut surface.points, level);
}

/// Moves every vertex some way toward the middle of its neighbours, in the
/// surface's tangent plane, and back to the level.
fn relax(surface: &mut Surface, level: &impl Level) {
    let s = &*surface;
    let relaxed = |v: u32| {
        let p = s.points[v as usize];
        if s.around[v as usize].is_empty() || level.is_stopped() {
            return p;
        }
        let normal = s.normal(v).normalize_or_zero();
        let step = STRIDE_SHARE * (middle_of_neighbours(s, v) - p);
        level.nearer(p + step - normal * step.dot(normal))
    };
    let points = (0..s.points.len() as u32).into_par_iter().map(relaxed).collect();
    surface.points = points;
}

/// Moves every vertex to the level.
pub(super) fn settle(points: &mut [DVec3], level: &impl Level) {
    points.par_iter_mut().filter(|_| !level.is_stopped()).for_each(|p| *p = level.settled(*p));
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
pub(super) fn lift(surface: &mut Surface, distance: &Distance) -> Result<Vec<u32>, MeshError> {
    /// Each round leaves a small share of the lack; six are usual.
    const ROUNDS: usize = 24;
    for p in &mut surface.points {
        *p = round_to_f32(*p);
    }
    let mut doubtful: Vec<u32> = (0..surface.triangles.len() as u32).collect();
    for _ in 0..ROUNDS {
        if distance.is_stopped() {
            return Ok(Vec::new());
        }
        let mut lack_at: Vec<(u32, f64)> = Vec::new();
        for (t, lack) in lacks(&surface.mesh()?, distance, &doubtful) {
            lack_at.extend(surface.triangles[t as usize].map(|v| (v, lack)));
        }
        if lack_at.is_empty() {
            return Ok(Vec::new());
        }
        // The greatest lack at each vertex comes first and is kept.
        lack_at.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)));
        lack_at.dedup_by_key(|entry| entry.0);
        let s = &*surface;
        let lifted = |&(v, lack): &(u32, f64)| {
            let p = s.points[v as usize];
            let rise = distance.sight(p).excess + lack + distance.margin;
            round_to_f32(distance.lifted(p, rise))
        };
        let places: Vec<DVec3> = lack_at.par_iter().map(lifted).collect();
        doubtful.clear();
        for (&(v, _), place) in lack_at.iter().zip(places) {
            surface.points[v as usize] = place;
            doubtful.extend(&surface.around[v as usize]);
        }
        doubtful.sort_unstable();
        doubtful.dedup();
    }
    Ok(too_near(&surface.mesh()?, distance))
}

/// The triangles that are nearer to the bore than asked.
pub(super) fn too_near(mesh: &Mesh, distance: &Distance) -> Vec<u32> {
    let all: Vec<u32> = (0..mesh.triangles().len() as u32).collect();
    lacks(mesh, distance, &all).into_iter().map(|(t, _)| t).collect()
}

/// So many triangles are measured before it is asked again whether to stop.
const A_RUN: usize = 8192;

/// Those of the triangles `some` that are nearer to the bore than the greatest
/// thickness asked at their corners, and by how much.
fn lacks(mesh: &Mesh, distance: &Distance, some: &[u32]) -> Vec<(u32, f64)> {
    let asked = |t: u32| {
        mesh.corners(t as usize).map(|p| distance.thickness.at(p)).into_iter().fold(0.0, f64::max)
    };
    let runs = some.chunks(A_RUN).take_while(|_| !distance.is_stopped());
    let lack = |run: &[u32]| {
        let found = nearest_each(mesh, run, distance.bvh, &asked);
        let pairs = run.iter().zip(found).map(|(&t, bounds)| (t, asked(t) - bounds.lo));
        pairs.filter(|pair| pair.1 > 0.0).collect::<Vec<_>>()
    };
    runs.flat_map(lack).collect()
}

/// Smooths the surface at these triangles and `rings` rings round them, without
/// letting it sink, so that folds open.
pub(super) fn unfold(surface: &mut Surface, distance: &Distance, triangles: &[u32], rings: usize) {
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
                distance.lifted(p.lerp(middle_of_neighbours(s, v), STRIDE_SHARE), 0.0)
            })
            .collect();
        for (&v, place) in vertices.iter().zip(places) {
            surface.points[v as usize] = place;
        }
    }
}
