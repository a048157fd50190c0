//! Points where separate fans of triangles touch.

use spile_case::{Ball, Mend, MendKind};
use spile_mesh::{Topology, VertexTriangles, pinched_points, topology};

use super::work::{Changes, Spot, Work};

/// Gives each fan but the first a point of its own, at the same coordinates.
///
/// Points on edges whose triangles still disagree are left: their fans are not
/// known.
pub(super) fn part_pinched_points(work: &mut Work) {
    let topology = work.topology();
    let around = work.around();
    let mut changes = Changes::default();
    for v in pinched_points(&work.mesh, &topology, &around) {
        let Some(fans) = fans(work, &topology, &around, v) else { continue };
        let at = work.point(v);
        for fan in &fans[1..] {
            let copy = (work.mesh.points().len() + changes.points.len()) as u32;
            changes.points.push(at);
            for &t in fan {
                if let Some(k) = work.triangle(t).iter().position(|&p| p == v) {
                    changes.moved.push((t, k as u8, copy));
                }
            }
        }
        let ball = Ball { at: at.to_array(), radius: 0.0 };
        work.list(Mend { kind: MendKind::NonManifoldVertex, ball }, 0, Spot::default());
    }
    work.apply(changes);
}

/// The fans of triangles at `v`, by their first triangles; none where an edge at
/// `v` is neither open nor shared by two triangles that agree.
fn fans(
    work: &Work,
    topology: &Topology,
    around: &VertexTriangles,
    v: u32,
) -> Option<Vec<Vec<u32>>> {
    let triangles = around.of(v);
    let mut seen = vec![false; triangles.len()];
    let mut all = Vec::new();
    for seed in 0..triangles.len() {
        if std::mem::replace(&mut seen[seed], true) {
            continue;
        }
        let mut fan = vec![triangles[seed]];
        let mut next = 0;
        while next < fan.len() {
            let t = fan[next];
            next += 1;
            let k = work.triangle(t).iter().position(|&p| p == v)? as u32;
            for h in [3 * t + k, topology::previous(3 * t + k)] {
                match topology.across(h) {
                    None if topology.is_boundary(h) => {}
                    None => return None,
                    Some(other) => {
                        if let Ok(place) = triangles.binary_search(&other)
                            && !std::mem::replace(&mut seen[place], true)
                        {
                            fan.push(other);
                        }
                    }
                }
            }
        }
        all.push(fan);
    }
    Some(all)
}
