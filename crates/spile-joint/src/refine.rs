//! `refine`: remeshes the band within reach, graded back to the scan's own
//! triangles, under a certified bound of its deviation.

mod slivers;

use spile_mesh::{
    Bvh, DVec3, GaveWay, Lines, Mesh, RemeshError, RemeshOptions, SizeField, StopAsked, are_within,
    boundary_loops, remesh,
};

use crate::reach::{Band, outline_index};
use slivers::without_slivers;

/// What refining must hold.
#[derive(Debug, Clone)]
pub struct RefineLimits {
    /// Edge length at the rim.
    pub edge: f64,
    /// How much the edge length may grow per unit of distance from the rim.
    pub grading: f64,
    /// Most two-sided deviation.
    pub deviation: f64,
}

/// Why a band is not refined.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RefineError {
    /// The remesher cannot work on the band.
    #[error("the surface within reach cannot be remeshed: {0}")]
    Remesh(#[from] RemeshError),
    /// The rim is not one loop any more.
    #[error("the rim within reach is not one simple loop")]
    Rim,
}

/// A refined band.
pub struct Refined {
    /// The band, within the deviation of what it was, certified.
    pub band: Band,
    /// Where the wanted edge length could not be had within the deviation.
    pub gave_way: Option<GaveWay>,
}

/// How much the scan's own edge lengths, and those that its curvature asks for,
/// may change a length of way.
const FIELD_GROWTH: f64 = 0.1;

/// The band with isotropic triangles of the asked size at its rim, growing to
/// what the scan nearby has itself, and smaller where it bends more than that
/// lets through.
///
/// # Errors
/// [`RefineError`].
pub fn refine(
    band: &Band,
    limits: &RefineLimits,
    stop: StopAsked<'_>,
) -> Result<Refined, RefineError> {
    let rim_index = rim_index(band);
    let field = SizeField::of(&band.mesh, limits.deviation, FIELD_GROWTH);
    let size = |p: DVec3| {
        let of_scan = field.at(p).max(limits.edge);
        // From here on, with room for rounding, the rim asks for nothing shorter.
        let reach = 2.0 * limits.edge + (of_scan - limits.edge) / limits.grading;
        let Some(rim) = rim_index.closest_within(p, reach * 1.001) else { return of_scan };
        let grown = (rim.distance - 2.0 * limits.edge).max(0.0) * limits.grading;
        (limits.edge + grown).min(of_scan)
    };
    let mut options = RemeshOptions::new(&size, limits.deviation);
    options.kept_points = band.shared;
    options.lines = Lines::Resampled;
    options.gap = f64::INFINITY;
    options.stop = stop;
    let remeshed = remesh(&band.mesh, &options)?;
    let rim = rim_of(&remeshed.mesh, band).ok_or(RefineError::Rim)?;
    // What is moved from here on is not covered by the remesher's certificate.
    let is_near = |mesh: &Mesh, off: f64| are_within(&band.mesh, mesh, off);
    let off = limits.deviation;
    let (mesh, rim) = match without_flat_ears(&remeshed.mesh, &rim, band.shared) {
        Some((mesh, rim)) if is_near(&mesh, off) => (mesh, rim),
        _ => (remeshed.mesh, rim),
    };
    let made = Band { mesh, rim, off, ..band.clone() };
    let sound = with_sound_rim(made, limits, &band.mesh, is_near);
    Ok(Refined { band: sound, gave_way: remeshed.gave_way })
}

/// How many times further than all else a rim may lie from the scan for the sake of
/// sound triangles; the nearest that takes away most slivers is kept to, certified.
const FURTHER: [f64; 4] = [4.0, 3.0, 2.0, 1.0];

/// The band without slivers at its rim, where it can be rid of them that near.
fn with_sound_rim(
    band: Band,
    limits: &RefineLimits,
    scan: &Mesh,
    is_near: impl Fn(&Mesh, f64) -> bool,
) -> Band {
    let before = Bvh::build(scan);
    let sound = |times: f64| {
        let off = times * limits.deviation;
        let (mesh, rim) =
            without_slivers(&band.mesh, &band.rim, band.shared, limits.edge, (&before, off))?;
        // A change that was near in samples may not be in between.
        let mut offs =
            FURTHER.into_iter().rev().filter(|&t| t <= times).map(|t| t * limits.deviation);
        let off = offs.find(|&off| is_near(&mesh, off))?;
        Some(Band { mesh, rim, off, ..band.clone() })
    };
    FURTHER.into_iter().find_map(sound).unwrap_or(band)
}

/// An index over the rim of a band, for distances from it.
pub fn rim_index(band: &Band) -> Bvh {
    let points: Vec<DVec3> = band.rim.iter().map(|&v| band.mesh.points()[v as usize]).collect();
    outline_index(&points)
}

/// The boundary loop of the new band that runs where the old rim did.
fn rim_of(mesh: &Mesh, band: &Band) -> Option<Vec<u32>> {
    let old = rim_index(band);
    let topology = spile_mesh::Topology::of(mesh);
    boundary_loops(mesh, &topology)
        .into_iter()
        .filter(|l| l.iter().all(|&v| v as usize >= band.shared))
        .min_by(|a, b| {
            let far = |l: &[u32]| {
                l.iter()
                    .map(|&v| old.closest(mesh.points()[v as usize]).map_or(0.0, |c| c.distance))
                    .fold(0.0, f64::max)
            };
            far(a).total_cmp(&far(b))
        })
}

/// A triangle at the rim that is flatter than this share of its rim edge is taken off.
const FLAT: f64 = 0.3;

/// The mesh without flat triangles on the rim: such a triangle is left out and
/// its inner corner put onto the rim edge, so that the rim runs through it. None
/// if there is no such triangle.
fn without_flat_ears(mesh: &Mesh, rim: &[u32], shared: usize) -> Option<(Mesh, Vec<u32>)> {
    use std::collections::{BTreeMap, BTreeSet};
    let mut points = mesh.points().to_vec();
    let mut gone: BTreeSet<usize> = BTreeSet::new();
    let mut triangle_at: BTreeMap<(u32, u32), usize> = BTreeMap::new();
    for (t, c) in mesh.triangles().iter().enumerate() {
        for k in 0..3 {
            triangle_at.insert((c[k], c[(k + 1) % 3]), t);
        }
    }
    let on_rim: BTreeSet<u32> = rim.iter().copied().collect();
    let mut taken: BTreeSet<u32> = BTreeSet::new();
    let mut new_rim = Vec::with_capacity(rim.len());
    for (i, &a) in rim.iter().enumerate() {
        new_rim.push(a);
        let b = rim[(i + 1) % rim.len()];
        let Some(&t) = triangle_at.get(&(a, b)).or_else(|| triangle_at.get(&(b, a))) else {
            continue;
        };
        let corners = mesh.triangles()[t];
        let Some(&c) = corners.iter().find(|&&v| v != a && v != b) else { continue };
        let (pa, pb) = (points[a as usize], points[b as usize]);
        let edge = pb - pa;
        let along = (points[c as usize] - pa).dot(edge) / edge.length_squared();
        let foot = pa + edge * along;
        let height = foot.distance(points[c as usize]);
        let inside = (0.15..=0.85).contains(&along);
        let free = c as usize >= shared && !on_rim.contains(&c) && !taken.contains(&c);
        if inside && free && height < FLAT * edge.length() {
            gone.insert(t);
            taken.insert(c);
            points[c as usize] = foot;
            new_rim.push(c);
        }
    }
    if gone.is_empty() {
        return None;
    }
    let kept: Vec<[u32; 3]> = mesh
        .triangles()
        .iter()
        .enumerate()
        .filter(|(t, _)| !gone.contains(t))
        .map(|(_, c)| *c)
        .collect();
    Some((Mesh::new(points, kept).ok()?, new_rim))
}
