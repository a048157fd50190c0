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

/// The mesh moved by `by`, and how far at most rounding has put a point off.
fn shifted(mesh: &Mesh, by: DVec3) -> (Mesh, f64) {
    // What a sum loses: Knuth 1997, The Art of Computer Programming 2, 4.2.2.
    let lost = |a: f64, b: f64| {
        let sum = a + b;
        let of_b = sum - a;
        (a - (sum - of_b)) + (b - of_b)
    };
    let off = |p: DVec3| DVec3::new(lost(p.x, by.x), lost(p.y, by.y), lost(p.z, by.z)).length();
    let most = mesh.points().iter().map(|&p| off(p)).fold(0.0, f64::max);
    let points = mesh.points().iter().map(|&p| p + by).collect();
    (Mesh::new(points, mesh.triangles().to_vec()).unwrap(), most)
}

#[test]
fn a_shifted_scan_is_as_far_off_as_it_was_shifted() {
    // Closed form, of any compact set: no point is farther than the shift from
    // its own copy, and the point farthest against the shift has the whole
    // shifted set at least that far ahead of it. So too the other way. The
    // shifts are sums of few powers of two: what the sums lose is counted.
    for (name, shifts, gaps) in [
        (
            "anatomy/vhm-trachea-cut-derived.stl",
            &[[0.125, 0.0, 0.0], [0.5, -0.75, 0.25], [0.0, 3.0, 40.0]][..],
            &[1e-2, 1e-4][..],
        ),
        (
            "anatomy/aorta-arch-cut-derived.stl",
            &[[0.0, 0.0625, 0.0], [-2.0, 1.5, 0.5]],
            &[1e-2, 1e-4],
        ),
        ("anatomy/airway-ct-lumen-derived.stl", &[[0.25, 0.5, -1.0]], &[1e-2, 1e-4]),
    ] {
        let still = scan(name);
        for &by in shifts {
            let by = DVec3::from_array(by);
            let (moved, off) = shifted(&still, by);
            assert!(off < 1e-13, "{off}");
            for &gap in gaps {
                let both = hausdorff(&still, &moved, gap);
                for way in [both.a_to_b, both.b_to_a] {
                    assert!(way.lo <= by.length() + off && by.length() - off <= way.hi);
                    assert!(way.hi - way.lo <= gap, "{name} by {by}: {way:?}");
                }
            }
        }
    }
}

/// The scan with edges turned over: of each pair of triangles that share one
/// the other diagonal, where no edge is there yet; each triangle once. Also
/// the triangles that have changed.
fn with_edges_flipped(mesh: &Mesh, most: usize) -> (Mesh, Vec<u32>) {
    let mut over: HashMap<[u32; 2], Vec<(u32, u32)>> = HashMap::new();
    for (t, &[a, b, c]) in mesh.triangles().iter().enumerate() {
        for (p, q, apex) in [(a, b, c), (b, c, a), (c, a, b)] {
            over.entry([p.min(q), p.max(q)]).or_default().push((t as u32, apex));
        }
    }
    let (mut triangles, mut changed) = (mesh.triangles().to_vec(), vec![]);
    let mut is_used = vec![false; triangles.len()];
    let mut is_new = std::collections::HashSet::new();
    for (t, &[a, b, c]) in mesh.triangles().iter().enumerate() {
        for (p, q, apex) in [(a, b, c), (b, c, a), (c, a, b)] {
            let beside = &over[&[p.min(q), p.max(q)]];
            let [(u, mine), (v, other)] = beside[..] else { continue };
            let (u, other) = if u as usize == t { (v, other) } else { (u, mine) };
            let new = [apex.min(other), apex.max(other)];
            let is_free = !is_used[t] && !is_used[u as usize] && u as usize != t;
            if !is_free || over.contains_key(&new) || changed.len() / 2 >= most {
                continue;
            }
            if !is_new.insert(new) {
                continue;
            }
            triangles[t] = [apex, p, other];
            triangles[u as usize] = [other, q, apex];
            (is_used[t], is_used[u as usize]) = (true, true);
            changed.extend([t as u32, u]);
        }
    }
    (Mesh::new(mesh.points().to_vec(), triangles).unwrap(), changed)
}

/// The distance to a triangle: to its plane, if the foot lies in it, else to
/// the nearest of its sides. Shares nothing with the crate.
fn plain_distance(p: DVec3, [a, b, c]: [DVec3; 3]) -> f64 {
    let normal = (b - a).cross(c - a);
    let ahead = |x: DVec3, y: DVec3| (y - x).cross(p - x).dot(normal) >= 0.0;
    if normal != DVec3::ZERO && ahead(a, b) && ahead(b, c) && ahead(c, a) {
        return (p - a).dot(normal).abs() / normal.length();
    }
    let to_side = |x: DVec3, y: DVec3| {
        let share = (p - x).dot(y - x) / (y - x).length_squared();
        p.distance(x + share.clamp(0.0, 1.0) * (y - x))
    };
    to_side(a, b).min(to_side(b, c)).min(to_side(c, a))
}

/// Bounds of the largest distance from a triangle to those that can be
/// nearest, slowly: `n * n` equal parts; the corners of the parts give the
/// lower one, and since a distance to one triangle is convex, the least over
/// the others of the largest from a part's corner the upper one.
fn slow_bounds(from: [DVec3; 3], to: &Mesh, n: usize) -> [f64; 2] {
    // The triangle's corners are on the other surface: nothing of it is farther
    // than its longest side.
    let [a, b, c] = from;
    let reach = a.distance(b).max(b.distance(c)).max(c.distance(a));
    let (min, max) = (a.min(b).min(c) - reach, a.max(b).max(c) + reach);
    let near: Vec<[DVec3; 3]> = (0..to.triangles().len())
        .map(|t| to.corners(t))
        .filter(|&[x, y, z]| x.max(y).max(z).cmpge(min).all() && x.min(y).min(z).cmple(max).all())
        .collect();
    let row = |i: usize| (0..=n - i).map(move |j| (i, j));
    let away: Vec<Vec<Vec<f64>>> = (0..=n)
        .map(|i| {
            row(i)
                .map(|(i, j)| {
                    let p = a + (b - a) * (i as f64 / n as f64) + (c - a) * (j as f64 / n as f64);
                    near.iter().map(|&s| plain_distance(p, s)).collect()
                })
                .collect()
        })
        .collect();
    let least = |list: &[f64]| list.iter().copied().fold(f64::INFINITY, f64::min);
    let low = away.iter().flatten().map(|list| least(list)).fold(0.0, f64::max);
    let mut high = 0.0_f64;
    for i in 0..n {
        for j in 0..n - i {
            let up = [(i, j), (i + 1, j), (i, j + 1)];
            let down = [(i + 1, j), (i + 1, j + 1), (i, j + 1)];
            for part in [up, down].into_iter().take(if i + j + 1 < n { 2 } else { 1 }) {
                let most = |s: usize| part.iter().map(|&(i, j)| away[i][j][s]).fold(0.0, f64::max);
                high = high.max((0..near.len()).map(most).fold(f64::INFINITY, f64::min));
            }
        }
    }
    [low, high]
}

#[test]
fn a_scan_with_the_same_vertices_and_other_edges_is_told_from_it() {
    // All vertices of each lie on the other: sampled there, both ways are 0.
    for (name, most, parts, at_least) in [
        ("anatomy/vhm-trachea-cut-derived.stl", 1, 384, 1e-4),
        ("anatomy/vhm-trachea-cut-derived.stl", usize::MAX, 16, 1e-2),
        ("anatomy/vhf-aortic-arch-derived.stl", usize::MAX, 16, 1e-2),
    ] {
        let as_given = scan(name);
        let (flipped, changed) = with_edges_flipped(&as_given, most);
        assert!(changed.len() == 2 || 2 * changed.len() > as_given.triangles().len());
        let both = hausdorff(&as_given, &flipped, 1e-6);
        for (from, to, way) in
            [(&as_given, &flipped, both.a_to_b), (&flipped, &as_given, both.b_to_a)]
        {
            // What has not changed lies on the other surface.
            let (mut low, mut high) = (0.0_f64, 0.0_f64);
            for &t in &changed {
                let [lo, hi] = slow_bounds(from.corners(t as usize), to, parts);
                (low, high) = (low.max(lo), high.max(hi));
            }
            assert!(way.hi - way.lo <= 1e-6 && way.lo > at_least, "{name}: {way:?}");
            assert!(low <= way.hi && way.lo <= high, "{name}: {low} {high} {way:?}");
            assert!(high - low < 0.1 * high, "{name}: {low} {high}");
        }
    }
}
