//! Internal walls, doubled sheets and overlapping shells: planted in generated
//! solids they are found, all and only; in real scans none is found that is
//! not there.
#![expect(clippy::unwrap_used, reason = "shapes from formulas, and scans that are kept here")]

mod shapes;

use std::collections::BTreeMap;
use std::f64::consts::{PI, TAU};
use std::path::Path;

use proptest::prelude::*;
use shapes::revolved;
use spile_joint::{ExamineOptions, Finding, FindingKind, examine};
use spile_mesh::{DVec3, Mesh, triangles_intersect};

/// Somewhere, turned and scaled.
#[derive(Debug, Clone, Copy)]
struct Placed {
    size: f64,
    turn: [f64; 3],
    at: [f64; 3],
}

impl Placed {
    fn place(&self, p: DVec3) -> DVec3 {
        let mut q = p * self.size;
        for (k, turn) in self.turn.into_iter().enumerate() {
            let (s, c) = turn.sin_cos();
            let (i, j) = ((k + 1) % 3, (k + 2) % 3);
            (q[i], q[j]) = (c * q[i] - s * q[j], s * q[i] + c * q[j]);
        }
        q + DVec3::from(self.at) * self.size
    }
}

fn placed() -> impl Strategy<Value = Placed> {
    let turn = prop::array::uniform3(0.0..TAU);
    let at = prop::array::uniform3(-20.0..20.0);
    (-2.0..3.0, turn, at).prop_map(|(power, turn, at): (f64, _, _)| Placed {
        size: 10f64.powf(power),
        turn,
        at,
    })
}

/// What `revolved` makes of a line, facing out where the line runs up and away
/// from the axis.
fn swept(line: &[(f64, f64)], placed: &Placed) -> Mesh {
    revolved(line, &|p| placed.place(p))
}

fn flipped(mesh: &Mesh) -> Mesh {
    let triangles = mesh.triangles().iter().map(|&[a, b, c]| [a, c, b]).collect();
    Mesh::new(mesh.points().to_vec(), triangles).unwrap()
}

fn faced(mesh: Mesh, is_flipped: bool) -> Mesh {
    if is_flipped { flipped(&mesh) } else { mesh }
}

fn sphere(radius: f64, centre: DVec3, placed: &Placed) -> Mesh {
    let line: Vec<(f64, f64)> = (0..=24)
        .map(|k| PI * f64::from(k) / 24.0)
        .map(|a| (if a == 0.0 || a == PI { 0.0 } else { radius * a.sin() }, -radius * a.cos()))
        .collect();
    let mesh = revolved(&line, &|p| placed.place(p + centre));
    faced(mesh.clone(), mesh.volume() < 0.0)
}

/// The meshes as one, equal points as one point; and the triangles of the last.
fn together(meshes: &[&Mesh]) -> (Mesh, Vec<u32>) {
    let (mut points, mut triangles) = (Vec::new(), Vec::new());
    let mut known: BTreeMap<[u64; 3], u32> = BTreeMap::new();
    let mut last = 0;
    for mesh in meshes {
        last = triangles.len() as u32;
        for corners in mesh.triangles() {
            triangles.push(corners.map(|v| {
                let p = mesh.points()[v as usize];
                *known.entry(p.to_array().map(f64::to_bits)).or_insert_with(|| {
                    points.push(p);
                    points.len() as u32 - 1
                })
            }));
        }
    }
    let planted = (last..triangles.len() as u32).collect();
    (Mesh::new(points, triangles).unwrap(), planted)
}

/// The findings that are about sheets.
fn sheets(mesh: &Mesh) -> Vec<Finding> {
    let seen = examine(mesh, ExamineOptions::default());
    seen.findings.into_iter().filter(|finding| finding.sheets.is_some()).collect()
}

/// That the only find is `count` of `kind`, and names these triangles.
fn assert_only(mesh: &Mesh, kind: FindingKind, count: usize, planted: &[u32]) {
    let found = sheets(mesh);
    assert_eq!(found.len(), 1, "{:?}", found.iter().map(|f| f.kind).collect::<Vec<_>>());
    let extent = found[0].sheets.clone().unwrap();
    assert_eq!((found[0].kind, found[0].count), (kind, count));
    assert_eq!(extent.triangles, planted);
    let area: f64 = planted.iter().map(|&t| 0.5 * mesh.area_normal(t as usize).length()).sum();
    assert!((extent.area - area).abs() <= 1e-9 * area);
    let is_on_it = |&t: &u32| {
        let [a, b, c] = mesh.corners(t as usize);
        ((a + b + c) / 3.0).distance(found[0].at) <= 1e-9 * found[0].size
    };
    assert!(planted.iter().any(is_on_it), "the place lies on no planted triangle");
}

fn assert_none(mesh: &Mesh) {
    let found = sheets(mesh);
    assert!(found.is_empty(), "{:?}", found.iter().map(|f| (f.kind, f.at)).collect::<Vec<_>>());
}

/// A solid cylinder of radius 1 and height 2, with rows at these heights.
fn cylinder(rows: &[f64], placed: &Placed) -> Mesh {
    let mut line = vec![(0.0, 0.0), (0.5, 0.0), (1.0, 0.0)];
    line.extend(rows.iter().map(|&z| (1.0, z)));
    line.extend([(1.0, 2.0), (0.5, 2.0), (0.0, 2.0)]);
    swept(&line, placed)
}

/// A box of 1 x 2 x 3 whose sides are parted at half height, and the wall of
/// two triangles that joins the four edges there.
fn parted_box(placed: &Placed) -> (Mesh, Mesh) {
    let corner = |k: u32, z: f64| {
        let (x, y) = [(0.0, 0.0), (1.0, 0.0), (1.0, 2.0), (0.0, 2.0)][k as usize];
        placed.place(DVec3::new(x, y, z))
    };
    let points: Vec<DVec3> = (0..12).map(|k| corner(k % 4, f64::from(k / 4) * 1.5)).collect();
    let mut triangles = vec![[0, 2, 1], [0, 3, 2], [8, 9, 10], [8, 10, 11]];
    for low in [0, 4] {
        for k in 0..4 {
            let (a, b) = (low + k, low + (k + 1) % 4);
            triangles.extend([[a, b, b + 4], [a, b + 4, a + 4]]);
        }
    }
    let wall = Mesh::new(points.clone(), vec![[4, 5, 6], [4, 6, 7]]).unwrap();
    (Mesh::new(points, triangles).unwrap(), wall)
}

/// The two sides of a pipe of bore 1.6 and outside 2, each open or both one
/// closed surface.
fn pipe(is_closed: bool, placed: &Placed) -> Mesh {
    let heights: Vec<f64> = (0..=20).map(|k| 0.5 * f64::from(k)).collect();
    let outside: Vec<(f64, f64)> = heights.iter().map(|&z| (1.0, z)).collect();
    let bore: Vec<(f64, f64)> = heights.iter().rev().map(|&z| (0.8, z)).collect();
    if is_closed {
        let mut line = [outside.clone(), bore].concat();
        line.push(outside[0]);
        return swept(&line, placed);
    }
    together(&[&swept(&outside, placed), &swept(&bore, placed)]).0
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn a_wall_across_a_box_is_an_internal_wall(placed in placed(), turned: bool, inside_out: bool) {
        let (solid, wall) = parted_box(&placed);
        assert_none(&solid);
        let (mesh, planted) = together(&[&faced(solid, inside_out), &faced(wall, turned)]);
        assert_only(&mesh, FindingKind::InternalWall, 1, &planted);
    }

    #[test]
    fn several_walls_across_a_cylinder_are_internal_walls(
        placed in placed(),
        turned: [bool; 3],
        heights in (0.2..0.6, 0.7..1.3, 1.4..1.8),
    ) {
        let rows = [heights.0, heights.1, heights.2];
        let solid = cylinder(&rows, &placed);
        let wall = |k: usize| {
            faced(swept(&[(0.0, rows[k]), (0.4, rows[k] - 0.1), (1.0, rows[k])], &placed), turned[k])
        };
        let (walls, _) = together(&[&wall(0), &wall(1), &wall(2)]);
        let (mesh, planted) = together(&[&solid, &walls]);
        assert_only(&mesh, FindingKind::InternalWall, 3, &planted);
    }

    #[test]
    fn a_wall_across_a_bore_is_an_internal_wall(placed in placed(), turned: bool, is_closed: bool) {
        let solid = pipe(is_closed, &placed);
        assert_none(&solid);
        let wall = swept(&[(0.0, 5.0), (0.4, 5.0), (0.8, 5.0)], &placed);
        let (mesh, planted) = together(&[&solid, &faced(wall, turned)]);
        assert_only(&mesh, FindingKind::InternalWall, 1, &planted);
    }

    /// As two labels that touch come out of a segmentation, each closed by itself.
    #[test]
    fn the_face_between_two_bodies_is_an_internal_wall(placed in placed(), reversed: bool) {
        let body = |low: f64, high: f64, is_upper: bool| {
            let mut line = vec![(0.0, low), (1.0, low), (1.0, high), (0.0, high)];
            let face = if is_upper { [(0.0, low), (1.0, low)] } else { [(1.0, high), (0.0, high)] };
            if is_upper { line.remove(0); } else { line.pop(); }
            (swept(&line, &placed), swept(&face, &placed))
        };
        let (lower, top) = body(0.0, 1.0, false);
        let (upper, bottom) = body(1.0, 1.7, true);
        let (first, second) = if reversed { (&top, &bottom) } else { (&bottom, &top) };
        let (walls, _) = together(&[first, second]);
        let (mesh, planted) = together(&[&lower, &upper, &walls]);
        // Each triangle is there twice; the first is named, the second a duplicate.
        prop_assert_eq!(planted.len(), 96);
        assert_only(&mesh, FindingKind::InternalWall, 1, &planted[..48]);
    }

    #[test]
    fn a_loose_sheet_inside_is_an_internal_wall(
        placed in placed(),
        turned: bool,
        height in 0.3..1.7,
        radius in 0.3..0.95,
        dome in -0.2..0.2,
    ) {
        let line = [(0.0, height + dome), (0.5 * radius, height), (radius, height)];
        let sheet = faced(swept(&line, &placed), turned);
        let (mesh, planted) = together(&[&cylinder(&[], &placed), &sheet]);
        assert_only(&mesh, FindingKind::InternalWall, 1, &planted);
    }

    #[test]
    fn a_sphere_in_a_sphere_is_a_wall_if_it_faces_out_and_a_cavity_if_in(
        placed in placed(),
        radius in 0.05..0.6,
        off in 0.0..0.35,
        inside_out: bool,
    ) {
        let outer = sphere(1.0, DVec3::ZERO, &placed);
        let inner = sphere(radius, DVec3::new(off, 0.0, 0.0), &placed);
        let both = |inner: Mesh| {
            let (mesh, planted) = together(&[&outer, &inner]);
            (faced(mesh, inside_out), planted)
        };
        let (mesh, planted) = both(inner.clone());
        assert_only(&mesh, FindingKind::InternalWall, 1, &planted);
        assert_none(&both(flipped(&inner)).0);
        // A loose body in a cavity is no wall.
        let body = sphere(0.5 * radius, DVec3::new(off, 0.0, 0.0), &placed);
        assert_none(&together(&[&outer, &flipped(&inner), &body]).0);
    }

    #[test]
    fn a_patch_laid_twice_is_a_doubled_sheet(
        placed in placed(),
        // The size is 2; the coordinates' own rounding is a hundredth of this.
        off in prop::sample::select(vec![-2e-4, 0.0, 2e-4]),
        turned: bool,
        from in -0.7..0.0,
        wide in 0.3..0.7,
    ) {
        let solid = sphere(1.0, DVec3::ZERO, &placed);
        let centre = placed.place(DVec3::ZERO);
        let axis = placed.place(DVec3::Z) - centre;
        let side = placed.place(DVec3::X) - centre;
        let share = |v: DVec3, along: DVec3| (v - centre).dot(along) / along.length_squared();
        let below: Vec<u32> = (0..solid.triangles().len() as u32)
            .filter(|&t| {
                let middle = solid.corners(t as usize).iter().sum::<DVec3>() / 3.0;
                let height = share(middle, axis);
                height > from && height < from + wide && share(middle, side) > 0.0
            })
            .collect();
        let moved = |&p: &DVec3| spile_mesh::round_to_f32(centre + (p - centre) * (1.0 + off));
        let mut points = solid.points().to_vec();
        points.extend(solid.points().iter().map(moved));
        let shift = solid.points().len() as u32;
        let copy = |&t: &u32| {
            let [a, b, c] = solid.triangles()[t as usize].map(|v| v + shift);
            if turned { [a, c, b] } else { [a, b, c] }
        };
        let mut triangles = solid.triangles().to_vec();
        triangles.extend(below.iter().map(copy));
        let added = solid.triangles().len() as u32..triangles.len() as u32;
        let planted: Vec<u32> = below.iter().copied().chain(added).collect();
        let mesh = Mesh::new(points, triangles).unwrap();
        assert_only(&mesh, FindingKind::DoubledSheet, 1, &planted);
    }

    #[test]
    fn spheres_that_overlap_are_told_with_what_lies_in_the_other(
        placed in placed(),
        radius in 0.4..1.0,
        depth in 0.2..0.8,
        inside_out: bool,
    ) {
        let apart = 1.0 + radius * (1.0 - 2.0 * depth);
        let a = sphere(1.0, DVec3::ZERO, &placed);
        let b = sphere(radius, DVec3::new(0.6, 0.0, 0.8) * apart, &placed);
        let (mesh, of_b) = together(&[&a, &b]);
        let split = of_b[0] as usize;
        // Plain twin: every pair by the exact test; inside a convex body is
        // what lies behind all of its faces.
        let planes = |range: std::ops::Range<usize>| -> Vec<(DVec3, DVec3)> {
            range.map(|t| (mesh.corners(t)[0], mesh.area_normal(t))).collect()
        };
        let count = mesh.triangles().len();
        let (faces_a, faces_b) = (planes(0..split), planes(split..count));
        let meets = |t: usize, others: std::ops::Range<usize>| {
            others.into_iter().any(|u| triangles_intersect(mesh.corners(t), mesh.corners(u), &[]))
        };
        let planted: Vec<u32> = (0..count)
            .filter(|&t| {
                let (faces, others) =
                    if t < split { (&faces_b, split..count) } else { (&faces_a, 0..split) };
                let middle = mesh.corners(t).iter().sum::<DVec3>() / 3.0;
                faces.iter().all(|(from, up)| (middle - *from).dot(*up) < 0.0) || meets(t, others)
            })
            .map(|t| t as u32)
            .collect();
        prop_assert!(!planted.is_empty());
        assert_only(&faced(mesh, inside_out), FindingKind::OverlappingShells, 1, &planted);
    }
}

/// Walls of hollow parts, as scans have them: open or closed, blind, with holes
/// in the bore, in one file or two.
#[test]
fn the_two_walls_of_a_hollow_part_are_no_find() {
    let placed = Placed { size: 7.0, turn: [0.3, 1.1, 0.2], at: [2.0, -3.0, 1.0] };
    let outside: Vec<(f64, f64)> = (0..=10).map(|k| (1.0, f64::from(k))).collect();
    // A bore that ends blind below.
    let mut bore: Vec<(f64, f64)> = (2..=10).rev().map(|k| (0.8, f64::from(k))).collect();
    bore.push((0.0, 2.0));
    let (outside, bore) = (swept(&outside, &placed), swept(&bore, &placed));
    assert_none(&together(&[&outside, &bore]).0);
    // Both facing out, as two exports of one part do.
    assert_none(&together(&[&outside, &flipped(&bore)]).0);
    let pricked = Mesh::new(bore.points().to_vec(), bore.triangles()[1..].to_vec()).unwrap();
    assert_none(&together(&[&outside, &pricked]).0);
    // A short and wide ring, as wide as ten times its height.
    let ring = |r: f64| swept(&[(r, 0.0), (r, 0.1), (r, 0.2)], &placed);
    assert_none(&together(&[&ring(1.0), &flipped(&ring(0.9))]).0);
    // A plate a fiftieth as thick as wide.
    assert_none(&swept(&[(0.0, 0.0), (1.0, 0.0), (1.0, 0.04), (0.0, 0.04)], &placed));
}

/// A bore that bulges through the outside is told with the bulge alone.
#[test]
fn a_bore_that_pierces_the_outside_is_told_where_it_does() {
    let placed = Placed { size: 1.0, turn: [0.0; 3], at: [0.0; 3] };
    let outside: Vec<(f64, f64)> = (0..=40).map(|k| (1.0, 0.25 * f64::from(k))).collect();
    let width = |z: f64| if (4.9..=5.6).contains(&z) { 1.1 } else { 0.8 };
    let bore: Vec<(f64, f64)> =
        (0..=40).rev().map(|k| 0.25 * f64::from(k)).map(|z| (width(z), z)).collect();
    let (mesh, _) = together(&[&swept(&outside, &placed), &swept(&bore, &placed)]);
    let found = sheets(&mesh);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].kind, found[0].count), (FindingKind::OverlappingShells, 1));
    // Bore rows at 5, 5.25 and 5.5 stand out: of four rows of triangles each side
    // two meet the other and two lie beyond it.
    let named = &found[0].sheets.as_ref().unwrap().triangles;
    let count = |is_bore: bool| {
        let of = |&&t: &&u32| (t as usize >= mesh.triangles().len() / 2) == is_bore;
        named.iter().filter(of).count()
    };
    assert_eq!((count(false), count(true)), (4 * 96, 4 * 96));
}

fn scan(name: &str) -> Mesh {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans").join(name);
    spile_formats::read(&path).unwrap().mesh
}

/// No false find in scans of hollow parts. The one find is true: the colon's
/// bore passes through its outside (tests/scans/README.md: real
/// self-intersections, 23 pairs), where the wall is thinnest.
#[test]
fn real_scans_show_what_is_there_and_no_more() {
    for name in [
        "anatomy/airway-ct-lumen-derived.stl",
        "anatomy/airway-ct-lumen-jagged-derived.stl",
        "anatomy/aorta-arch-cut-derived.stl",
        "anatomy/vhf-aortic-arch-derived.stl",
        "anatomy/vhf-cricoid-derived.stl",
        "anatomy/vhf-lower-leg-sleeve-derived.stl",
        "anatomy/vhm-trachea-cut-derived.stl",
        "anatomy/vhm-trachea-derived.stl",
        "anatomy/vhm-trachea-jagged-derived.stl",
        "defects/vhm-prostatic-urethra-derived.stl",
        "general/seavase-derived.ply",
    ] {
        assert_none(&scan(name));
    }
    let colon = scan("anatomy/sbuf-descending-colon-derived.stl");
    let found = sheets(&colon);
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].kind, found[0].count), (FindingKind::OverlappingShells, 1));
    assert_eq!(found[0].sheets.as_ref().unwrap().triangles, [160, 394, 3825, 3826]);
}

/// The order of triangles, of threads and of corners changes no find.
#[test]
fn order_and_threads_change_nothing() {
    let placed = Placed { size: 3.0, turn: [0.5, 0.1, 0.9], at: [1.0, 2.0, 3.0] };
    let (solid, wall) = parted_box(&placed);
    let (mesh, _) = together(&[
        &solid,
        &wall,
        &sphere(0.5, DVec3::new(0.5, 0.4, 0.7), &placed),
        &sphere(0.4, DVec3::new(0.5, 1.0, 0.7), &placed),
    ]);
    let pool = |threads| rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
    let first = pool(1).install(|| sheets(&mesh));
    assert_eq!(first, pool(8).install(|| sheets(&mesh)));
    let reversed: Vec<[u32; 3]> =
        mesh.triangles().iter().rev().map(|&[a, b, c]| [c, a, b]).collect();
    let reversed = Mesh::new(mesh.points().to_vec(), reversed).unwrap();
    let last = mesh.triangles().len() as u32 - 1;
    for (a, b) in first.iter().zip(sheets(&reversed)) {
        assert_eq!((a.kind, a.count), (b.kind, b.count));
        let mut named: Vec<u32> = b.sheets.unwrap().triangles.iter().map(|t| last - t).collect();
        named.sort_unstable();
        assert_eq!(a.sheets.as_ref().unwrap().triangles, named);
    }
}
