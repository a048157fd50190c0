use std::collections::BTreeMap;

use spile_mesh::{DVec3, Mesh, section};

use super::*;

fn read(file: &str) -> Mesh {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/scans/anatomy/");
    spile_formats::read(std::path::Path::new(&format!("{folder}{file}"))).unwrap().mesh
}

/// The trachea's triangles whose wall is known: `vhm-trachea-cut-derived.stl`
/// is the same scan with its upper end cut off, where "outer and inner wall are
/// two separate components" (tests/scans/README.md). Tells which are outside:
/// the component that is the wider.
fn known(scan: &Scan) -> Vec<Option<WallSide>> {
    let parted = read("vhm-trachea-cut-derived.stl");
    let topology = spile_mesh::Topology::of(&parted);
    let shells = spile_mesh::shells(&parted, &topology);
    assert_eq!(shells.count, 2);
    let wide = |piece: u32| {
        let of = (0..parted.triangles().len()).filter(|&t| shells.label[t] == piece);
        spile_mesh::Bounds3::of(of.flat_map(|t| parted.corners(t))).diagonal()
    };
    let outer = u32::from(wide(1) > wide(0));
    let key = |mesh: &Mesh, t: usize| {
        let mut k =
            mesh.corners(t).map(|p| spile_mesh::round_to_f32(p).to_array().map(f64::to_bits));
        k.sort_unstable();
        k
    };
    let sides: BTreeMap<_, _> = (0..parted.triangles().len())
        .map(|t| {
            let is_outer = shells.label[t] == outer;
            (key(&parted, t), if is_outer { WallSide::Outside } else { WallSide::Bore })
        })
        .collect();
    (0..scan.mesh.triangles().len()).map(|t| sides.get(&key(&scan.mesh, t)).copied()).collect()
}

/// The sides as told from the cut of a plane.
fn told(scan: &Scan, through: DVec3, facing: DVec3) -> Vec<Option<WallSide>> {
    let plane = Plane { point: through, normal: facing.normalize() };
    let loops = section(&scan.mesh, &scan.topology, plane, None);
    let (bore, outside) = choose_loops(&loops, plane, true).unwrap();
    let seeds = [
        (WallSide::Bore, &loops[bore].triangles[..]),
        (WallSide::Outside, &loops[outside.unwrap()].triangles[..]),
    ];
    sides(scan, &seeds)
}

#[test]
fn walls_joined_by_a_rounded_rim_are_told_apart() {
    let scan = Scan::of(&[read("vhm-trachea-derived.stl")]);
    let known = known(&scan);
    assert!(known.iter().flatten().count() > 12_000);
    let up = DVec3::new(0.0, 0.93, 0.37);
    // Cut below the rim, near it and farther, and from the far end, 80 mm off.
    for (through, facing) in [
        (DVec3::new(-1.0, 640.4, 39.0), up),
        (DVec3::new(-0.8, 632.5, 37.1), up),
        (DVec3::new(-3.7, 562.6, 1.0), -up),
    ] {
        let told = told(&scan, through, facing);
        let wrong = known.iter().zip(&told).filter(|(k, t)| k.is_some() && k != t).count();
        assert_eq!(wrong, 0, "{through}");
    }
}

#[test]
fn triangles_of_unlike_size_do_not_move_the_parting() {
    // A tube of both walls, closed by rounded rims: rows of 6 on the bore, of 1
    // on the outside; closed form, all of radius 8 is bore, all of 10 outside.
    let rim = |z: f64, up: f64| {
        [1.0, 2.0, 3.0].map(|k| {
            let (s, c) = (std::f64::consts::PI * k / 4.0).sin_cos();
            (9.0 + c, z + up * s)
        })
    };
    let mut line: Vec<(f64, f64)> = (0..=60).map(|z| (10.0, f64::from(z))).collect();
    line.extend(rim(60.0, 1.0));
    line.extend((0..=10).map(|k| (8.0, 60.0 - 6.0 * f64::from(k))));
    let mut low = rim(0.0, -1.0);
    low.reverse();
    line.extend(low);
    const COLUMNS: usize = 48;
    let (rows, mut points, mut triangles) = (line.len(), Vec::new(), Vec::new());
    for (k, &(r, z)) in line.iter().enumerate() {
        for i in 0..COLUMNS {
            let a = std::f64::consts::TAU * i as f64 / COLUMNS as f64;
            points.push(DVec3::new(r * a.cos(), r * a.sin(), z));
            let at = |k: usize, i: usize| ((k % rows) * COLUMNS + i % COLUMNS) as u32;
            let (a, b, c, d) = (at(k, i), at(k, i + 1), at(k + 1, i + 1), at(k + 1, i));
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    let scan = Scan::of(&[Mesh::new(points, triangles).unwrap()]);
    let told = told(&scan, DVec3::Z * 10.5, -DVec3::Z);
    for (t, told) in told.iter().enumerate() {
        let radii = scan.mesh.corners(t).map(|p| p.truncate().length());
        if radii.iter().all(|r| (r - 8.0).abs() < 1e-4) {
            assert_eq!(*told, Some(WallSide::Bore));
        } else if radii.iter().all(|r| (r - 10.0).abs() < 1e-4) {
            assert_eq!(*told, Some(WallSide::Outside));
        }
    }
}
