//! What of the scan lies within reach of an end, for the eye, before anything is made: as
//! the case file's page defines it, by what hangs together. The proof has its own.

use spile_mesh::{Bvh, DVec3, Mesh, NONE, Plane, Topology, boundary_loops, nesting};

use crate::messages::{ReachAsked, Refusal};
use crate::surface::Surface;

/// A closed line on one side of the wall, and the triangles along it.
struct Loop {
    points: Vec<DVec3>,
    triangles: Vec<u32>,
}

/// The triangles within reach of an end: all corners nearer than that to the line of the
/// cut, or of the rim, on their own side of the wall, and hanging together with it through
/// such triangles. Rising.
///
/// # Errors
/// There is no place, or no reach.
pub(crate) fn reached(surface: &Surface, asked: ReachAsked) -> Result<Vec<u32>, Refusal> {
    let (mesh, topology) = (&surface.mesh, &surface.topology);
    let at = DVec3::from(asked.through);
    let facing = asked.facing.map(|facing| DVec3::from(facing).normalize_or_zero());
    let has_reach = asked.reach.is_finite() && asked.reach > 0.0;
    if !at.is_finite() || facing == Some(DVec3::ZERO) || !has_reach {
        return Err(Refusal::new("a reach needs a place, a length, and at a cut a direction"));
    }
    let loops = match facing {
        Some(normal) => of_cut(surface, Plane { point: at, normal }),
        None => of_rim(mesh, topology, at),
    };
    let mut is_found = vec![false; mesh.triangles().len()];
    for one in &loops {
        for t in hanging_together(mesh, topology, one, asked.reach) {
            is_found[t as usize] = true;
        }
    }
    Ok((0..mesh.triangles().len() as u32).filter(|t| is_found[*t as usize]).collect())
}

/// The loop nearest the plane's point and, of the wall's other side, the one round it or
/// the one in it.
fn of_cut(surface: &Surface, plane: Plane) -> Vec<Loop> {
    let mut loops = surface.loops(plane);
    loops.retain(|found| found.closed);
    loops.sort_by(|a, b| a.distance(plane.point).total_cmp(&b.distance(plane.point)));
    let around = nesting(&loops, plane.normal);
    let other = around.first().copied().flatten().or(around.iter().position(|o| *o == Some(0)));
    let is_of_end = |k: usize| k == 0 || Some(k) == other;
    let of_end = loops.into_iter().enumerate().filter(|(k, _)| is_of_end(*k));
    of_end.map(|(_, found)| Loop { points: found.points, triangles: found.triangles }).collect()
}

/// The open rim whose middle is nearest a place and, of the wall's other side, the next one
/// if its middle lies in the first.
fn of_rim(mesh: &Mesh, topology: &Topology, at: DVec3) -> Vec<Loop> {
    let middle = |points: &[DVec3]| points.iter().sum::<DVec3>() / points.len().max(1) as f64;
    let place = |v: &u32| mesh.points()[*v as usize];
    let mut rims: Vec<(f64, Vec<u32>, Vec<DVec3>)> = boundary_loops(mesh, topology)
        .into_iter()
        .map(|rim| {
            let points: Vec<DVec3> = rim.iter().map(place).collect();
            (middle(&points).distance(at), rim, points)
        })
        .collect();
    rims.sort_by(|a, b| a.0.total_cmp(&b.0));
    rims.truncate(2);
    if let [(_, _, first), (_, _, second)] = &rims[..] {
        let centre = middle(first);
        let radius = first.iter().map(|p| p.distance(centre)).fold(0.0, f64::max);
        if middle(second).distance(centre) > radius {
            rims.truncate(1);
        }
    }
    let along = |rim: &[u32]| {
        let mut is_on = vec![false; mesh.points().len()];
        rim.iter().for_each(|v| is_on[*v as usize] = true);
        let touches = |h: &&u32| {
            let corners = mesh.triangles()[(**h / 3) as usize];
            [**h % 3, (**h + 1) % 3].iter().all(|k| is_on[corners[*k as usize] as usize])
        };
        topology.boundary().iter().filter(touches).map(|h| h / 3).collect()
    };
    rims.into_iter().map(|(_, rim, points)| Loop { triangles: along(&rim), points }).collect()
}

/// The triangles near one loop that hang together with it.
fn hanging_together(mesh: &Mesh, topology: &Topology, line: &Loop, reach: f64) -> Vec<u32> {
    let n = line.points.len() as u32;
    let segments = (0..n).map(|i| [i, (i + 1) % n, (i + 1) % n]).collect();
    let Ok(outline) = Mesh::new(line.points.clone(), segments) else { return Vec::new() };
    let outline = Bvh::build(&outline);
    let mut known: Vec<Option<bool>> = vec![None; mesh.points().len()];
    let mut is_near = |t: u32| {
        mesh.triangles()[t as usize].iter().all(|&v| {
            let near = || outline.is_within(mesh.points()[v as usize], reach);
            *known[v as usize].get_or_insert_with(near)
        })
    };
    let mut is_seen = vec![false; mesh.triangles().len()];
    let mut open = line.triangles.clone();
    let mut found = Vec::new();
    while let Some(t) = open.pop() {
        if std::mem::replace(&mut is_seen[t as usize], true) || !is_near(t) {
            continue;
        }
        found.push(t);
        let twins = (0..3).map(|k| topology.twin(3 * t + k)).filter(|twin| *twin != NONE);
        open.extend(twins.map(|twin| twin / 3));
    }
    found
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use spile_mesh::{DVec3, Mesh};

    use super::reached;
    use crate::messages::ReachAsked;
    use crate::surface::Surface;

    const ROUND: u32 = 48;
    const ALONG: u32 = 60;

    /// An open tube along z, from 0 to 60, shifted sideways.
    fn tube(radius: f64, aside: f64) -> Mesh {
        let point = |k: u32| {
            let turn = TAU * f64::from(k % ROUND) / f64::from(ROUND);
            DVec3::new(aside + radius * turn.cos(), radius * turn.sin(), f64::from(k / ROUND))
        };
        let points = (0..ROUND * (ALONG + 1)).map(point).collect();
        let quads = (0..ALONG).flat_map(|z| (0..ROUND).map(move |i| (z, i)));
        let triangles = quads.flat_map(|(z, i)| {
            let [a, b] = [z * ROUND + i, z * ROUND + (i + 1) % ROUND];
            [[a, b, b + ROUND], [a, b + ROUND, a + ROUND]]
        });
        Mesh::new(points, triangles.collect()).unwrap()
    }

    fn heights(mesh: &Mesh, found: &[u32], x: impl Fn(f64) -> bool) -> [f64; 2] {
        let points = found.iter().flat_map(|t| mesh.corners(*t as usize));
        let heights = points.filter(|p| x(p.x)).map(|p| p.z);
        heights.fold([f64::INFINITY, -f64::INFINITY], |[a, b], z| [a.min(z), b.max(z)])
    }

    #[test]
    fn what_is_near_but_does_not_hang_together_is_not_reached() {
        // Two walls of one duct, and another duct half a millimetre beside it.
        let mesh = Mesh::joined([&tube(4.0, 0.0), &tube(5.0, 0.0), &tube(5.0, 10.5)]).unwrap();
        let surface = Surface::of(mesh);
        let cut =
            ReachAsked { through: [0.0, 0.0, 30.5], facing: Some([0.0, 0.0, 2.0]), reach: 7.0 };
        let found = reached(&surface, cut).unwrap();
        // Rows of points stand a whole length apart: those from 24 to 37 lie nearer than 7.
        for x in [|x: f64| x < -4.5, |x: f64| (-4.1..4.1).contains(&x)] {
            assert_eq!(heights(&surface.mesh, &found, x), [24.0, 37.0]);
        }
        assert_eq!(found.len() as u32, 2 * 2 * ROUND * 13);
        let rim = ReachAsked { through: [0.1, 0.0, 59.0], facing: None, reach: 5.5 };
        let found = reached(&surface, rim).unwrap();
        assert_eq!(heights(&surface.mesh, &found, |_| true), [55.0, 60.0]);
        assert_eq!(found.len() as u32, 2 * 2 * ROUND * 5);
        let none = ReachAsked { reach: f64::NAN, ..rim };
        assert!(reached(&surface, none).is_err());
    }
}
