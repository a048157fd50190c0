//! The kernel on the openly licensed scans of `tests/scans` (origin and
//! licence of each in its README).

#![allow(clippy::unwrap_used, reason = "the scans are in the repository and known to be whole")]

use std::collections::HashMap;
use std::path::PathBuf;

use spile_mesh::{Bvh, DVec3, Mesh, farthest, hausdorff, self_intersections};

/// Points and triangles of a scan, equal places made one vertex. Reads just
/// what these files hold; the readers for users lie in a later crate.
fn scan(name: &str) -> Mesh {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans");
    let bytes = std::fs::read(root.join(name)).unwrap();
    let faces: Vec<[DVec3; 3]> = if name.ends_with(".obj") {
        let text = String::from_utf8(bytes).unwrap();
        let mut points = vec![];
        let mut faces = vec![];
        for line in text.lines() {
            let mut words = line.split_whitespace();
            match words.next() {
                Some("v") => {
                    let c: Vec<f64> = words.take(3).map(|w| w.parse().unwrap()).collect();
                    points.push(DVec3::new(c[0], c[1], c[2]));
                }
                Some("f") => {
                    let index = |w: &str| w.split('/').next().unwrap().parse::<usize>().unwrap();
                    let f: Vec<DVec3> = words.map(|w| points[index(w) - 1]).collect();
                    faces.extend((1..f.len() - 1).map(|k| [f[0], f[k], f[k + 1]]));
                }
                _ => {}
            }
        }
        faces
    } else {
        let number =
            |at: usize| f64::from(f32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()));
        let corner = |at: usize| DVec3::new(number(at), number(at + 4), number(at + 8));
        (0..(bytes.len() - 84) / 50)
            .map(|t| [0, 1, 2].map(|k| corner(84 + 50 * t + 12 + 12 * k)))
            .collect()
    };
    let mut points = vec![];
    let mut known = HashMap::new();
    let triangles = faces
        .iter()
        .map(|face| {
            face.map(|p| {
                *known.entry((p + DVec3::ZERO).to_array().map(f64::to_bits)).or_insert_with(|| {
                    points.push(p);
                    points.len() as u32 - 1
                })
            })
        })
        .collect();
    Mesh::new(points, triangles).unwrap()
}

#[test]
fn intersecting_pairs_are_those_of_the_reference() {
    // Source: libigl 2.6.3, remesh_self_intersections, detect only (CGAL,
    // exact), on the same triangles. For these files the two lists of pairs
    // were also compared pair by pair and are equal.
    for (name, pairs) in [
        ("defects/self_intersectA.obj", 338),
        ("defects/Generic_Twin_7081.1.t0_right.obj", 64),
        ("defects/soup.stl", 1248),
        ("defects/vhm-prostatic-urethra-derived.stl", 4),
        ("defects/plane_holes.obj", 0),
        ("anatomy/sbuf-descending-colon-derived.stl", 23),
        ("anatomy/vhm-trachea-cut-derived.stl", 0),
        ("anatomy/vhf-aortic-arch-derived.stl", 0),
    ] {
        assert_eq!(self_intersections(&scan(name)).len(), pairs, "{name}");
    }
}

#[test]
fn what_the_reference_leaves_out_is_found() {
    // Source: as above: 7518 and 22 pairs. It names no pair that is not found
    // here. It leaves out triangles that are there twice, pairs with a triangle
    // without area, and 24 of 55 pairs of neighbours folded flat onto each
    // other over their edge; a slow computation in fractions confirmed every
    // one of these.
    for (name, reference, twice, folded, flat) in [
        ("defects/nonmanifold-crash.obj", 7518, 3, [55, 31], 7),
        ("defects/Offset1.obj", 22, 2, [0, 0], 0),
    ] {
        let mesh = scan(name);
        let pairs = self_intersections(&mesh);
        let shared = |(t, u): (u32, u32)| {
            let other = mesh.triangles()[u as usize];
            mesh.triangles()[t as usize].iter().filter(|p| other.contains(p)).count()
        };
        let is_flat = |t: u32| mesh.area_normal(t as usize) == DVec3::ZERO;
        let count = |is_counted: &dyn Fn((u32, u32)) -> bool| {
            pairs.iter().filter(|&&pair| is_counted(pair)).count()
        };
        let [folded, folded_of_reference] = folded;
        assert_eq!(count(&|pair| shared(pair) == 3), twice, "{name}: twice");
        assert_eq!(count(&|pair| shared(pair) == 2), folded, "{name}: folded");
        assert_eq!(count(&|(t, u)| is_flat(t) || is_flat(u)), flat, "{name}: without area");
        let plain = pairs.len() - twice - folded - flat;
        assert_eq!(plain, reference - folded_of_reference, "{name}: all others");
    }
}

/// Every triangle in four by its edges' middles, rounded as files are.
fn in_four(mesh: &Mesh) -> Mesh {
    let mut points = mesh.points().to_vec();
    let mut triangles = vec![];
    for t in 0..mesh.triangles().len() {
        let [a, b, c] = mesh.triangles()[t];
        let corners = mesh.corners(t);
        let first = points.len() as u32;
        points.extend((0..3).map(|k| 0.5 * (corners[k] + corners[(k + 1) % 3])));
        let (ab, bc, ca) = (first, first + 1, first + 2);
        triangles.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
    }
    Mesh::new(points, triangles).unwrap().rounded()
}

#[test]
fn a_scan_and_itself_in_smaller_triangles() {
    // f32 rounding moves a coordinate below 1024 by at most 2^-15.
    let trachea = scan("anatomy/vhm-trachea-cut-derived.stl");
    let fine = in_four(&trachea);
    let most = 3.0_f64.sqrt() * 2.0_f64.powi(-15);
    let both = hausdorff(&trachea, &fine, 1e-6);
    for way in [both.a_to_b, both.b_to_a] {
        assert!(way.hi <= most && way.hi - way.lo <= 1e-6, "{way:?}");
    }
    assert!(both.bounds().lo > 0.0, "the middles do move: {both:?}");
}

#[test]
fn a_planted_dent_is_found_where_it_is() {
    // One vertex pulled 0.3 off: nothing of the dented surface lies farther
    // from the scan than that, and the vertex itself lies no nearer than 0.3
    // less what the scan bends within 0.3.
    let scan = scan("anatomy/vhm-trachea-cut-derived.stl");
    let (mut points, triangles) = scan.clone().into_parts();
    let (p, q, r) = (triangles[5000][0] as usize, triangles[5000][1], triangles[5000][2]);
    let outward = (points[q as usize] - points[p]).cross(points[r as usize] - points[p]);
    points[p] += 0.3 * outward.normalize();
    let dented = Mesh::new(points, triangles).unwrap();
    let bounds = farthest(&dented, None, &Bvh::build(&scan), 1e-5, None);
    assert!(bounds.hi <= 0.3 + 1e-9 && bounds.lo > 0.25 && bounds.hi - bounds.lo <= 1e-5);
    assert!(bounds.at.distance(dented.points()[p]) < 0.3, "{bounds:?}");
}
