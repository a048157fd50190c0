//! How the kernel's time grows with the mesh: `cargo bench -p spile-mesh`.
//!
//! One group a promise, each at 10, 100 and 1000 thousand triangles, so that
//! the ratios between sizes can be read off: all should grow near-linearly.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use spile_mesh::{Bvh, DVec3, Mesh, farthest, hausdorff, nearest, self_intersections};

/// Quads a side for about 10, 100 and 1000 thousand triangles.
const SIDES: [u32; 3] = [70, 224, 707];

/// A wavy sheet of n by n quads over a square of side 10, lifted by `height`.
fn sheet(n: u32, height: f64) -> Mesh {
    let mut points = vec![];
    let mut triangles = vec![];
    for i in 0..=n {
        for j in 0..=n {
            let (x, y) = (10.0 * f64::from(i) / f64::from(n), 10.0 * f64::from(j) / f64::from(n));
            points.push(DVec3::new(x, y, height + (0.7 * x).sin() * (0.9 * y).cos()));
            if i > 0 && j > 0 {
                let k = i * (n + 1) + j;
                let (a, b, c, d) = (k - n - 2, k - 1, k, k - n - 1);
                triangles.extend([[a, b, c], [a, c, d]]);
            }
        }
    }
    Mesh::new(points, triangles).expect("indices below the count, finite coordinates")
}

/// A fan of `n` triangles round one vertex, nearly flat.
fn fan(n: u32) -> Mesh {
    let mut points = vec![DVec3::ZERO];
    points.extend((0..n).map(|i| {
        let angle = std::f64::consts::TAU * f64::from(i) / f64::from(n);
        let (x, y) = (angle.cos(), angle.sin());
        DVec3::new(x, y, 0.3 * x - 0.2 * y)
    }));
    let triangles = (0..n).map(|i| [0, 1 + i, 1 + (i + 1) % n]).collect();
    Mesh::new(points, triangles).expect("indices below the count, finite coordinates")
}

fn by_size(c: &mut Criterion, name: &str, sides: &[u32], run: impl Fn(&Mesh, &Bvh)) {
    let mut group = c.benchmark_group(name);
    group.sample_size(10);
    for &n in sides {
        let mesh = sheet(n, 0.0);
        let tree = Bvh::build(&mesh);
        let id = BenchmarkId::from_parameter(mesh.triangles().len());
        group.bench_with_input(id, &mesh, |b, mesh| b.iter(|| run(mesh, &tree)));
    }
    group.finish();
}

fn kernel(c: &mut Criterion) {
    by_size(c, "build", &SIDES, |mesh, _| {
        black_box(Bvh::build(mesh));
    });
    by_size(c, "self_intersections", &SIDES, |mesh, _| {
        black_box(self_intersections(mesh));
    });
    by_size(c, "farthest_of_itself", &SIDES, |mesh, tree| {
        black_box(farthest(mesh, None, tree, 1e-6, None));
    });
    by_size(c, "nearest_of_two_walls", &SIDES[..2], |mesh, tree| {
        let above = sheet(100, 1.0);
        black_box(nearest(&above, None, tree, 1e-6));
        black_box(mesh);
    });
    by_size(c, "hausdorff_meshed_otherwise", &SIDES[..1], |mesh, _| {
        black_box(hausdorff(mesh, &sheet(54, 0.0), 1e-3));
    });
    // Asked of a fixed patch, the time must hardly grow with the mesh.
    by_size(c, "farthest_of_a_patch", &SIDES, |mesh, tree| {
        let patch: Vec<u32> = (0..1000).collect();
        black_box(farthest(mesh, Some(&patch), tree, 1e-6, None));
    });
    let mut group = c.benchmark_group("fan_round_one_vertex");
    group.sample_size(10);
    for n in [1_000, 10_000, 100_000] {
        let mesh = fan(n);
        group.bench_with_input(BenchmarkId::from_parameter(n), &mesh, |b, mesh| {
            b.iter(|| black_box(self_intersections(mesh)));
        });
    }
}

criterion_group!(benches, kernel);
criterion_main!(benches);
