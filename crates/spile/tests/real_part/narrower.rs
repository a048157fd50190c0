//! The wall thinned and the bore narrowed by a known measure, each where it is nearest to
//! its limit.

use std::collections::BTreeMap;

use spile_mesh::{Bvh, DVec3, Mesh, round_to_f32};
use spile_proof::{Station, judge};

use crate::sabotage::{Good, Sabotage, joint_of, longest_edge, middle, stl, with_point};
use crate::tight::row;

/// The wall thinned at the spot where it is nearest to its limit, to 1 % less than the
/// limit there.
///
/// Beside a seam of a scan that is thinner than the joint, the scan's own wall is the
/// limit, which no case can tighten. (By 1 % of what was measured it is thinned on the
/// prover's own scene, where joint and scan are as thick.)
pub fn thinned(good: &Good, limit_there: f64) -> Sabotage {
    let (made, part) = (good.made, &good.made.part);
    let proof = judge(std::slice::from_ref(&made.scan), part, &good.case).unwrap();
    let row = row(&proof.limits, "wall_min", &good.case.ends[0].name);
    let spot = DVec3::from_array(row.where_.unwrap());
    let as_ids = |ts: &[usize]| ts.iter().map(|&t| t as u32).collect::<Vec<_>>();
    let seams = made.seams();
    let joints = seams.each_ref().map(|seam| as_ids(&joint_of(made, seam)));
    let walls = seams.each_ref().map(|seam| as_ids(&made.new_beside(seam)));
    let near = joints.each_ref().map(|ts| Bvh::build_of(part, ts).closest(spot).unwrap());
    let own = usize::from(near[1].distance < near[0].distance);
    assert!(near[own].distance < 1e-6, "the spot lies on the joint");
    let other = Bvh::build_of(part, &walls[1 - own]);
    let wall = other.closest(spot).unwrap().distance;
    let limit = limit_there.min(good.case.ends[0].limits.wall_min.unwrap());
    assert!(limit <= wall && wall < 1.025 * limit, "{wall} against {limit}: {}", row.how);
    // Off the triangle's edges, so that its corners stay where they are.
    let t = near[own].triangle as usize;
    let from = spot.lerp(middle(part, t), 0.15);
    let across = other.closest(from).unwrap();
    let to = across.point + 0.99 * limit * (from - across.point) / across.distance;
    let spoilt = made.edited(|points, triangles| with_point(points, triangles, t, to));
    Sabotage {
        what: format!("the wall of {wall:.4} thinned to 99 % of {limit:.4} at its tightest spot"),
        file: stl(&spoilt),
        limit: "wall_min",
        place: Some((spot, longest_edge(part, t))),
    }
}

/// Area of the section of these triangles by a plane: every crossing piece is one side
/// of a fan about the plane's point, and pieces are directed as the triangles are wound.
fn section_area(mesh: &Mesh, triangles: &[usize], at: DVec3, normal: DVec3) -> f64 {
    let mut twice = 0.0;
    for &t in triangles {
        let c = mesh.corners(t);
        let h = c.map(|p| (p - at).dot(normal));
        let mut piece = [DVec3::ZERO; 2];
        let mut crossings = 0;
        for (i, j) in [(0, 1), (1, 2), (2, 0)] {
            if (h[i] >= 0.0) != (h[j] >= 0.0) {
                let side = usize::from(h[i] >= 0.0);
                piece[side] = c[i] + (c[j] - c[i]) * (h[i] / (h[i] - h[j])) - at;
                crossings += 1;
            }
        }
        if crossings == 2 {
            twice += piece[0].cross(piece[1]).dot(normal);
        }
    }
    0.5 * twice.abs()
}

/// The bore narrowed by 0.5 % of its area in the plane of the station nearest `at`, or,
/// without, in that of the joint where it is least.
pub fn narrowed(good: &Good, at: Option<DVec3>) -> Sabotage {
    let (made, part) = (good.made, &good.made.part);
    let proof = judge(std::slice::from_ref(&made.scan), part, &good.case).unwrap();
    let name = &good.case.ends[0].name;
    let stations = &proof.ends.iter().find(|e| e.name == *name).unwrap().stations;
    let place = |s: &Station| DVec3::from_array(s.at);
    let by_what = |s: &Station| match at {
        Some(at) => place(s).distance(at),
        // Two rows of triangles off seam and fitting: those must stay as they are.
        None if s.s < 1.5 || made.over_face(place(s)) > -1.5 => f64::INFINITY,
        None => s.area_part.unwrap(),
    };
    let station = stations.iter().min_by(|a, b| by_what(a).total_cmp(&by_what(b))).unwrap();
    let normal = DVec3::from_array(station.normal);
    let what = if at.is_some() { "where it lost most" } else { "in the joint" };
    let at = at.unwrap_or(place(station));
    let [seam, _] = made.seams();
    let bore = made.new_beside(&seam);
    let height = |p: DVec3| (p - at).dot(normal);
    let crossing: Vec<usize> = (bore.iter().copied())
        .filter(|&t| {
            let h = part.corners(t).map(height);
            h.iter().any(|&h| h >= 0.0) && h.iter().any(|&h| h < 0.0)
        })
        .collect();
    let is_scan = made.scan_points();
    let moving: BTreeMap<u32, DVec3> = crossing
        .iter()
        .flat_map(|&t| part.triangles()[t])
        .map(|p| (p, part.points()[p as usize]))
        .collect();
    assert!(moving.keys().all(|p| !is_scan[*p as usize] && !seam.contains(p)), "new points alone");
    let whole = section_area(part, &crossing, at, normal);
    let centre = moving.values().sum::<DVec3>() / moving.len() as f64;
    let by = |share: f64| {
        made.edited(|points, _| {
            for (&p, &was) in &moving {
                let arm = (was - centre).reject_from(normal);
                points[p as usize] = was - share * arm;
            }
        })
    };
    let (mut low, mut high) = (0.0, 0.02);
    for _ in 0..50 {
        let share = 0.5 * (low + high);
        let area = section_area(&by(share), &crossing, at, normal);
        if area > 0.995 * whole { low = share } else { high = share }
    }
    let spoilt = by(high);
    let area = section_area(&spoilt, &crossing, at, normal);
    assert!((area / whole - 0.995).abs() < 1e-5, "{area} of {whole}");
    let most = crossing.iter().map(|&t| longest_edge(part, t)).fold(0.0, f64::max);
    // The least may lie beside the plane by as much as triangles reach, anywhere round the bore.
    let radius = moving.values().map(|p| p.distance(at)).fold(0.0, f64::max);
    Sabotage {
        what: format!("the bore of {whole:.3} narrowed by 0.5 %, {what}"),
        file: stl(&spoilt),
        limit: "bore_loss",
        place: Some((at, (radius * radius + most * most).sqrt().min(2.0 * most))),
    }
}

/// The sabotage itself: what is said to be done is done.
#[test]
fn a_section_of_a_square_tube_has_the_area_of_its_square() {
    let corners = [(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)];
    let points = (corners.into_iter())
        .flat_map(|(x, y)| [DVec3::new(x, y, -1.0), DVec3::new(x, y, 2.0)])
        .map(round_to_f32)
        .collect();
    let sides = (0..4_u32).flat_map(|k| {
        let [a, b] = [2 * k, 2 * ((k + 1) % 4)];
        [[a, b, a + 1], [b, b + 1, a + 1]]
    });
    let tube = Mesh::new(points, sides.collect()).unwrap();
    let all: Vec<usize> = (0..8).collect();
    // Level, and tilted by 60 degrees: 4 over the cosine. Closed form.
    assert!((section_area(&tube, &all, DVec3::ZERO, DVec3::Z) - 4.0).abs() < 1e-12);
    let tilted = DVec3::new(0.5_f64, 0.0, 0.75_f64.sqrt());
    assert!((section_area(&tube, &all, DVec3::Z * 0.5, tilted) - 4.0 / tilted.z).abs() < 1e-12);
}
