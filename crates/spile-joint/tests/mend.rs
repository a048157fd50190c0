//! Planted defects are mended, all and only, and each mend can be checked from
//! scan, answer and list alone, by a checker of its own.

use std::collections::BTreeMap;
use std::path::Path;

use spile_case::MendKind;
use spile_joint::{FindingKind, MendOptions, Mended, mend};
use spile_mesh::{DVec3, Mesh, Topology, boundary_loops};

/// An open tube of `rounds` times `rows` points, radius 10, a little wobbly so
/// that no four points lie in a plane by chance.
struct Tube {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
}

const ROUND: u32 = 24;
const ROWS: u32 = 20;

fn tube() -> Tube {
    let at = |i: u32| {
        let (row, step) = (i / ROUND, i % ROUND);
        let turn = std::f64::consts::TAU * f64::from(step) / f64::from(ROUND);
        let radius = 10.0 + 0.05 * f64::from((i * 37) % 11);
        let p = DVec3::new(radius * turn.cos(), radius * turn.sin(), 2.5 * f64::from(row));
        spile_mesh::round_to_f32(p)
    };
    let points = (0..ROUND * ROWS).map(at).collect();
    let mut triangles = Vec::new();
    for row in 0..ROWS - 1 {
        for step in 0..ROUND {
            let [a, b] = [row * ROUND + step, row * ROUND + (step + 1) % ROUND];
            let [c, d] = [a + ROUND, b + ROUND];
            triangles.extend([[a, b, d], [a, d, c]]);
        }
    }
    Tube { points, triangles }
}

impl Tube {
    fn mesh(self) -> Mesh {
        Mesh::new(self.points, self.triangles).expect("the tube is a mesh")
    }

    fn without(mut self, triangles: &[usize]) -> Self {
        let mut sorted = triangles.to_vec();
        sorted.sort_unstable();
        for &t in sorted.iter().rev() {
            self.triangles.remove(t);
        }
        self
    }
}

fn mended(mesh: &Mesh) -> Mended {
    let answer = mend(mesh, MendOptions { hole_max: Some(8.0), ..MendOptions::default() });
    check(mesh, &answer);
    let again = mend(
        &answer.mesh,
        MendOptions { hole_max: Some(answer.hole_max), ..MendOptions::default() },
    );
    assert!(again.mends.is_empty(), "mending twice: {:?}", again.mends);
    assert_eq!(again.mesh, answer.mesh);
    answer
}

fn kinds(answer: &Mended) -> Vec<MendKind> {
    answer.mends.iter().map(|made| made.mend.kind).collect()
}

/// A triangle by coordinates alone, whichever way round.
type Key = [[u64; 3]; 3];

fn key(mesh: &Mesh, t: usize) -> Key {
    let mut corners = mesh.corners(t).map(|p| p.to_array().map(f64::to_bits));
    corners.sort_unstable();
    corners
}

fn counts(mesh: &Mesh) -> BTreeMap<Key, usize> {
    let mut counts = BTreeMap::new();
    for t in 0..mesh.triangles().len() {
        *counts.entry(key(mesh, t)).or_default() += 1;
    }
    counts
}

/// What a prover can check without knowing how it was mended: every triangle
/// that is gone or new lies in a listed ball, and in each ball there was such a
/// defect.
fn check(scan: &Mesh, answer: &Mended) {
    let (before, after) = (counts(scan), counts(&answer.mesh));
    let inside = |key: &Key| {
        answer.mends.iter().any(|made| {
            let ball = made.mend.ball;
            key.iter().all(|corner| {
                let p = DVec3::from_array(corner.map(f64::from_bits));
                p.distance(DVec3::from_array(ball.at)) <= ball.radius
            })
        })
    };
    for (key, count) in &before {
        assert!(after.get(key) == Some(count) || inside(key), "changed outside every ball");
    }
    for key in after.keys() {
        assert!(before.contains_key(key) || inside(key), "new outside every ball");
    }
    for (t, origin) in answer.origin.iter().enumerate() {
        if let Some(origin) = origin {
            assert_eq!(key(&answer.mesh, t), key(scan, *origin as usize));
        }
    }
    assert_eq!(answer.origin.len(), answer.mesh.triangles().len());
    let kept: Vec<u32> = answer.origin.iter().flatten().copied().collect();
    assert!(kept.is_sorted());
}

#[test]
fn a_clean_scan_passes_bit_for_bit() {
    let mut tube = tube();
    // A point of no triangle is nobody's business either.
    tube.points.push(DVec3::splat(99.0));
    let mesh = tube.mesh();
    let answer = mended(&mesh);
    assert_eq!(answer.mesh, mesh);
    assert!(answer.mends.is_empty() && answer.refused.is_empty());
}

#[test]
fn duplicates_of_either_way_round_go() {
    let mut tube = tube();
    let clean = tube.triangles.clone();
    tube.triangles.push(clean[5]);
    let [a, b, c] = clean[100];
    tube.triangles.push([c, b, a]);
    let answer = mended(&tube.mesh());
    assert_eq!(answer.mesh.triangles(), clean);
    assert_eq!(kinds(&answer), [MendKind::Duplicate; 2]);
}

#[test]
fn a_triangle_without_area_goes_and_its_neighbour_is_parted() {
    let mut tube = tube();
    // The diagonal of a square whose ends lie on an even grid has an exact middle.
    tube.points[200] = DVec3::new(10.0, -2.0, 20.0);
    let t = tube.triangles.iter().position(|t| t.contains(&200)).expect("it is used");
    let [a, b, c] = tube.triangles[t];
    tube.points[a as usize] = DVec3::new(8.0, 4.0, 18.0);
    tube.points[b as usize] = DVec3::new(9.0, -4.0, 16.0);
    let middle = tube.points.len() as u32;
    tube.points.push(DVec3::new(8.5, 0.0, 17.0));
    tube.triangles[t] = [a, middle, c];
    tube.triangles.push([middle, b, c]);
    tube.triangles.push([a, b, middle]);
    let mesh = tube.mesh();
    let area = mesh.area();
    let answer = mended(&mesh);
    assert_eq!(kinds(&answer), [MendKind::Degenerate]);
    assert_eq!(answer.mesh.triangles().len(), mesh.triangles().len());
    assert!((answer.mesh.area() - area).abs() < 1e-9);
    assert_eq!(boundary_loops(&answer.mesh, &Topology::of(&answer.mesh)).len(), 2);
}

#[test]
fn small_holes_are_closed_and_rims_and_large_holes_are_not() {
    let star = |v: u32| -> Vec<usize> {
        let tube = tube();
        (0..tube.triangles.len()).filter(|&t| tube.triangles[t].contains(&v)).collect()
    };
    for (gone, name) in [
        (vec![300], "one triangle"),
        (vec![300, 301], "two triangles"),
        (vec![300, 301, 303], "three triangles"),
        (star(200), "all round a point"),
    ] {
        let mesh = tube().without(&gone).mesh();
        let answer = mended(&mesh);
        assert_eq!(kinds(&answer), [MendKind::Hole], "{name}");
        let topology = Topology::of(&answer.mesh);
        assert_eq!(boundary_loops(&answer.mesh, &topology).len(), 2, "{name}");
        assert!(topology.nonmanifold_edges().is_empty() && topology.misoriented_edges().is_empty());
        assert!(spile_mesh::self_intersections(&answer.mesh).is_empty(), "{name}");
    }
    let wide: Vec<usize> = (300..312).collect();
    let mesh = tube().without(&wide).mesh();
    assert_eq!(mended(&mesh).mesh, mesh);
}

#[test]
fn holes_that_touch_at_a_point_are_both_closed() {
    let tube = tube();
    let at = tube.triangles[300][2];
    let others: Vec<usize> =
        (0..tube.triangles.len()).filter(|&t| tube.triangles[t].contains(&at)).collect();
    // Opposite in the fan of six round the point.
    let mesh = tube.without(&[others[0], others[5]]).mesh();
    let answer = mended(&mesh);
    assert_eq!(boundary_loops(&answer.mesh, &Topology::of(&answer.mesh)).len(), 2);
    assert!(kinds(&answer).iter().all(|kind| *kind == MendKind::Hole));
}

#[test]
fn a_flipped_patch_is_turned_back() {
    let mut tube = tube();
    let clean = tube.triangles.clone();
    for t in 310..330 {
        tube.triangles[t].swap(0, 1);
    }
    let answer = mended(&tube.mesh());
    assert_eq!(kinds(&answer), [MendKind::Flipped]);
    assert_eq!(answer.mends[0].turned_triangles, 20);
    let same_way =
        |a: [u32; 3], b: [u32; 3]| (0..3).any(|k| [b[k], b[(k + 1) % 3], b[(k + 2) % 3]] == a);
    for (t, (now, then)) in answer.mesh.triangles().iter().zip(&clean).enumerate() {
        assert!(same_way(*now, *then), "triangle {t}");
    }
}

#[test]
fn a_twisted_band_is_refused() {
    let points: Vec<DVec3> =
        (0..5).map(|i| DVec3::new(f64::from(i * i), f64::from(i * 3 % 5), f64::from(i))).collect();
    // The five-vertex band: triangles i, i+1, i+2 round five points (Moebius 1886).
    let triangles = (0..5).map(|i| [i, (i + 1) % 5, (i + 2) % 5]).collect();
    let mesh = Mesh::new(points, triangles).expect("five points");
    let answer = mend(&mesh, MendOptions { hole_max: Some(0.1), ..MendOptions::default() });
    // So bent it also passes through itself, which is refused as well.
    let kinds: Vec<FindingKind> = answer.refused.iter().map(|refused| refused.kind).collect();
    assert_eq!(kinds, [FindingKind::Flipped, FindingKind::SelfIntersection]);
    assert!(!spile_mesh::self_intersections(&mesh).is_empty());
    assert_eq!(answer.mesh, mesh);
}

#[test]
fn a_fin_goes_and_the_wall_stays() {
    let mut tube = tube();
    let clean = tube.triangles.clone();
    let [a, b, _] = tube.triangles[300];
    let tip = tube.points.len() as u32;
    tube.points.push(1.2 * tube.points[a as usize] + DVec3::Z);
    tube.triangles.insert(0, [a, b, tip]);
    let answer = mended(&tube.mesh());
    assert_eq!(answer.mesh.triangles(), clean);
    assert_eq!(kinds(&answer), [MendKind::NonManifoldEdge]);
    assert_eq!(answer.mesh.points().len() as u32, tip, "its point goes with it");
}

#[test]
fn two_walls_that_touch_along_an_edge_are_parted_and_closed() {
    // Two closed boxes over a shared edge; the second is the smaller one.
    let corner = |i: u32, size: f64, at: DVec3| {
        at + size * DVec3::new(f64::from(i & 1), f64::from(i >> 1 & 1), f64::from(i >> 2))
    };
    let faces = [
        [0, 2, 1],
        [1, 2, 3],
        [4, 5, 6],
        [5, 7, 6],
        [0, 1, 4],
        [1, 5, 4],
        [2, 6, 3],
        [3, 6, 7],
        [0, 4, 2],
        [2, 4, 6],
        [1, 3, 5],
        [3, 7, 5_u32],
    ];
    let mut points: Vec<DVec3> = (0..8).map(|i| corner(i, 1.0, DVec3::ZERO)).collect();
    let mut triangles = faces.to_vec();
    // The second box hangs on the edge from corner 3 to corner 7 (x = y = 1), and is flat.
    let second: Vec<DVec3> = (0..8)
        .map(|i| DVec3::ONE.with_z(0.0) + corner(i, 1.0, DVec3::ZERO) * DVec3::new(0.5, 0.5, 1.0))
        .collect();
    let number = |i: u32, p: DVec3, points: &mut Vec<DVec3>| -> u32 {
        match i {
            0 => 3,
            4 => 7,
            _ => {
                points.push(p);
                points.len() as u32 - 1
            }
        }
    };
    let numbers: Vec<u32> = (0..8).map(|i| number(i, second[i as usize], &mut points)).collect();
    triangles.extend(faces.map(|face| face.map(|i| numbers[i as usize])));
    let mesh = Mesh::new(points, triangles).expect("two boxes");
    assert_eq!(Topology::of(&mesh).nonmanifold_edges().len(), 1);
    let answer = mend(&mesh, MendOptions { hole_max: Some(1.4), ..MendOptions::default() });
    check(&mesh, &answer);
    assert!(Topology::of(&answer.mesh).nonmanifold_edges().is_empty());
    assert_eq!(answer.mends[0].mend.kind, MendKind::NonManifoldEdge);
    // The first box is whole.
    assert_eq!(answer.mesh.triangles()[..12], mesh.triangles()[..12]);
}

#[test]
fn fans_that_touch_at_a_point_are_parted_without_a_move() {
    let mut tube = tube();
    let tip = 200;
    let at = tube.points[tip as usize];
    let first = tube.points.len() as u32;
    // A large open cone that stands on the wall by its tip.
    for i in 0..6 {
        let turn = std::f64::consts::TAU * f64::from(i) / 6.0;
        tube.points.push(at + DVec3::new(20.0 * at.x.signum(), 9.0 * turn.cos(), 9.0 * turn.sin()));
    }
    for i in 0..6 {
        tube.triangles.push([tip, first + i, first + (i + 1) % 6]);
    }
    let mesh = tube.mesh();
    let answer = mended(&mesh);
    assert_eq!(kinds(&answer), [MendKind::NonManifoldVertex]);
    assert_eq!(answer.mends[0].mend.ball.radius, 0.0);
    assert_eq!(answer.mesh.points().len(), mesh.points().len() + 1);
    assert_eq!(counts(&answer.mesh), counts(&mesh));
}

#[test]
fn crumbs_go_but_a_scan_of_crumbs_stays() {
    let mut tube = tube();
    let clean = tube.triangles.clone();
    let first = tube.points.len() as u32;
    tube.points.extend([DVec3::ZERO, DVec3::X, DVec3::Y].map(|p| p + DVec3::splat(30.0)));
    tube.triangles.push([first, first + 1, first + 2]);
    let answer = mended(&tube.mesh());
    assert_eq!(kinds(&answer), [MendKind::LoosePiece]);
    assert_eq!(answer.mesh.triangles(), clean);
    let soup = scan("defects/soup.stl");
    let answer = mend(&soup, MendOptions::default());
    assert_eq!(answer.mesh, soup);
}

fn scan(file: &str) -> Mesh {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans");
    spile_formats::read(&folder.join(file)).expect("the scan reads").mesh
}

/// Kinds and counts planted or found by a reference library: the README's rows.
#[test]
fn open_scans_are_mended_as_their_rows_say() {
    // (file, non-manifold edges in the row, duplicate faces, flipped patches)
    for (file, edges, duplicates, flipped) in [
        ("defects/angel-derived.ply", 41, 0, 0),
        ("defects/blackvase-derived.ply", 2, 0, 0),
        ("defects/Offset1.obj", 4, 2, 0),
        ("defects/nonmanifold-crash.obj", 18, 3, 0),
        ("defects/boot-flipped-patch-derived.obj", 0, 0, 1),
        ("defects/plane_holes.obj", 0, 0, 0),
        ("defects/vhm-prostatic-urethra-derived.stl", 0, 0, 0),
        ("general/seavase-derived.ply", 21, 0, 0),
        ("anatomy/vhm-trachea-jagged-derived.stl", 0, 0, 0),
    ] {
        let mesh = scan(file);
        let answer = mend(&mesh, MendOptions::default());
        check(&mesh, &answer);
        let again = mend(
            &answer.mesh,
            MendOptions { hole_max: Some(answer.hole_max), ..MendOptions::default() },
        );
        assert!(again.mends.is_empty(), "{file}: {:?}", again.mends);
        let count = |kind| kinds(&answer).iter().filter(|k| **k == kind).count();
        let text: Vec<String> = [
            MendKind::Duplicate,
            MendKind::Degenerate,
            MendKind::Flipped,
            MendKind::Hole,
            MendKind::NonManifoldEdge,
            MendKind::NonManifoldVertex,
            MendKind::LoosePiece,
        ]
        .iter()
        .map(|kind| format!("{kind:?} {}", count(*kind)))
        .collect();
        println!("{file}: {} refused {}", text.join(", "), answer.refused.len());
        for refused in &answer.refused {
            println!("  {refused:?}");
        }
        let topology = Topology::of(&answer.mesh);
        assert!(topology.nonmanifold_edges().is_empty(), "{file}");
        assert!(topology.misoriented_edges().is_empty(), "{file}");
        assert_eq!(count(MendKind::Duplicate), duplicates, "{file}");
        assert_eq!(count(MendKind::Flipped), flipped, "{file}");
        assert_eq!(count(MendKind::NonManifoldEdge) > 0, edges > 0, "{file}");
    }
}
