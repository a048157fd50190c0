//! The round rims of a closed solid: flat end faces between two circles.

use spile_mesh::topology::{ends, next};
use spile_mesh::{Circle, DVec3, Mesh, Topology, fit_circle, self_intersections, shells};

/// Neighbours lie in one plane if they turn by less than this, in radians. A
/// circle of six thousand sides turns as much from side to side.
const FLAT_RAD: f64 = 1e-3;
/// A loop with fewer sides is a polygon, not a rim.
const LEAST_SIDES: usize = 12;
/// Largest distance of a loop from its circle, and of the two loops' centres
/// from each other's axis, as a share of the radius: more is no round rim.
const ROUND_SHARE: f64 = 0.02;

/// A round rim of a closed solid: a flat end face between two circles.
#[derive(Debug, Clone, PartialEq)]
pub struct RoundRim {
    /// Centre of the bore circle.
    pub centre: DVec3,
    /// Unit normal of the end face, off the material.
    pub axis: DVec3,
    /// The inner circle, by least squares.
    pub bore: Circle,
    /// The outer circle, by least squares.
    pub outside: Circle,
    /// The triangles of the end face, rising.
    pub face: Vec<u32>,
    /// The points of the bore loop and of the outside loop, in order round it.
    pub loops: [Vec<u32>; 2],
}

/// What a solid has of round rims.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FoundRims {
    /// The round rims, in the order of their first triangles.
    pub round: Vec<RoundRim>,
    /// Flat end faces between two loops that are not round: a place, and what
    /// is wrong with it.
    pub not_round: Vec<(DVec3, String)>,
}

/// The round rims of a closed solid whose triangles face outward.
///
/// # Errors
/// A sentence: the mesh is not closed, in several pieces, inside out, or meets
/// itself.
pub fn round_rims(mesh: &Mesh) -> Result<FoundRims, String> {
    let topology = Topology::of(mesh);
    is_solid(mesh, &topology)?;
    let label = flat_pieces(mesh, &topology);
    let count = label.iter().max().map_or(0, |&most| most as usize + 1);
    let mut pieces: Vec<Vec<u32>> = vec![Vec::new(); count];
    label.iter().enumerate().for_each(|(t, &piece)| pieces[piece as usize].push(t as u32));
    let mut found = FoundRims::default();
    for face in pieces {
        let loops = border(mesh, &topology, &face, &label);
        let [one, other] = loops.as_slice() else { continue };
        if !falls_away(mesh, &topology, &face, &label) {
            continue;
        }
        match ring(mesh, face, [one, other]) {
            Ok(rim) => found.round.push(rim),
            Err(fault) => found.not_round.push(fault),
        }
    }
    Ok(found)
}

fn is_solid(mesh: &Mesh, topology: &Topology) -> Result<(), String> {
    let place = |p: DVec3| format!("({:.2}, {:.2}, {:.2})", p.x, p.y, p.z);
    if let Some(&h) = topology.boundary().first() {
        let [a, b] = ends(mesh, h).map(|v| mesh.points()[v as usize]);
        return Err(format!("it is not closed: an edge is open at {}", place(a.midpoint(b))));
    }
    if !topology.is_closed() {
        return Err(
            "its surface is not sound: edges of more than two triangles, or turned ones".into()
        );
    }
    if shells(mesh, topology).triangles().len() != 1 {
        return Err("it is in more than one piece".into());
    }
    if mesh.volume() <= 0.0 {
        return Err("it is inside out: its triangles face into it".into());
    }
    match self_intersections(mesh).first() {
        Some(&(t, _)) => {
            Err(format!("it meets itself near {}", place(mesh.corners(t as usize)[0])))
        }
        None => Ok(()),
    }
}

/// The number of the flat piece that each triangle is in.
fn flat_pieces(mesh: &Mesh, topology: &Topology) -> Vec<u32> {
    let normals: Vec<DVec3> =
        (0..mesh.triangles().len()).map(|t| mesh.area_normal(t).normalize_or_zero()).collect();
    let spacing = mesh.points().iter().map(|p| p.abs().max_element()).fold(0.0, f64::max)
        * f64::from(f32::EPSILON);
    let is_flat = |h: u32, twin: u32| {
        let (t, [a, b]) = ((h / 3) as usize, ends(mesh, h));
        let [a, b, apex] = [a, b, ends(mesh, next(twin))[1]].map(|v| mesh.points()[v as usize]);
        let along = (b - a).normalize_or_zero();
        let height = (apex - a).reject_from(along).length();
        let turned_back = normals[t].dot(normals[(twin / 3) as usize]) < 0.0;
        let off = (apex - a).dot(normals[t]).abs();
        !turned_back && off <= FLAT_RAD * height + 4.0 * spacing
    };
    let mut label = vec![u32::MAX; mesh.triangles().len()];
    let mut pieces = 0;
    for seed in 0..label.len() {
        if label[seed] != u32::MAX {
            continue;
        }
        label[seed] = pieces;
        let mut stack = vec![seed as u32];
        while let Some(t) = stack.pop() {
            for h in 3 * t..3 * t + 3 {
                let twin = topology.twin(h);
                let other = (twin / 3) as usize;
                if label[other] == u32::MAX && is_flat(h, twin) && is_flat(twin, h) {
                    label[other] = pieces;
                    stack.push(other as u32);
                }
            }
        }
        pieces += 1;
    }
    label
}

/// The loops round a flat piece; none where two of them share a point.
fn border(mesh: &Mesh, topology: &Topology, face: &[u32], label: &[u32]) -> Vec<Vec<u32>> {
    let mut after = std::collections::BTreeMap::new();
    for h in face.iter().flat_map(|&t| 3 * t..3 * t + 3) {
        let [a, b] = ends(mesh, h);
        let is_inside = label[(topology.twin(h) / 3) as usize] == label[(h / 3) as usize];
        if !is_inside && after.insert(a, b).is_some() {
            return Vec::new();
        }
    }
    let mut loops = Vec::new();
    while let Some((first, mut v)) = after.pop_first() {
        let mut l = vec![first];
        while v != first {
            l.push(v);
            let Some(next) = after.remove(&v) else { return Vec::new() };
            v = next;
        }
        loops.push(l);
    }
    loops
}

/// Whether beyond every edge of a flat piece the solid falls away from it: an
/// end face. At a shoulder one of the loops rises.
fn falls_away(mesh: &Mesh, topology: &Topology, face: &[u32], label: &[u32]) -> bool {
    face.iter().all(|&t| {
        let normal = mesh.area_normal(t as usize);
        (3 * t..3 * t + 3).all(|h| {
            let twin = topology.twin(h);
            if label[(twin / 3) as usize] == label[t as usize] {
                return true;
            }
            let [a, apex] =
                [ends(mesh, h)[0], ends(mesh, next(twin))[1]].map(|v| mesh.points()[v as usize]);
            (apex - a).dot(normal) < 0.0
        })
    })
}

fn ring(mesh: &Mesh, face: Vec<u32>, loops: [&Vec<u32>; 2]) -> Result<RoundRim, (DVec3, String)> {
    let at = |l: &Vec<u32>| l.iter().map(|&v| mesh.points()[v as usize]).collect::<Vec<DVec3>>();
    let place = mesh.points()[loops[0][0] as usize];
    let fault = |what: String| Err((place, what));
    if let Some(few) = loops.iter().map(|l| l.len()).find(|&n| n < LEAST_SIDES) {
        return fault(format!("a loop of {few} sides, where {LEAST_SIDES} are the least"));
    }
    let (Some(a), Some(b)) = (fit_circle(&at(loops[0])), fit_circle(&at(loops[1]))) else {
        return fault("a loop that no circle fits".into());
    };
    for circle in [&a, &b] {
        if circle.largest > ROUND_SHARE * circle.radius {
            return fault(format!(
                "a loop {:.4} off the circle of radius {:.4}",
                circle.largest, circle.radius
            ));
        }
    }
    let axis = face.iter().map(|&t| mesh.area_normal(t as usize)).sum::<DVec3>();
    let axis = axis.normalize_or_zero();
    let (bore, outside, order) = if a.radius < b.radius { (a, b, [0, 1]) } else { (b, a, [1, 0]) };
    let apart = bore.centre.distance(outside.centre);
    if apart > ROUND_SHARE * bore.radius {
        return fault(format!("two circles with centres {apart:.4} apart"));
    }
    let loops = order.map(|k| loops[k].clone());
    Ok(RoundRim { centre: bore.centre, axis, bore, outside, face, loops })
}
