//! A surface with fewer triangles, for looking at: points that lie close together and face
//! alike become the one of them that lies nearest their planes.
//!
//! # Source
//! Clustering by cells: Rossignac and Borrel 1993; the point of a cell by its planes:
//! Lindstrom 2000, but chosen among the surface's own points, so that each keeps what was
//! measured there.

use std::collections::HashMap;

use spile_mesh::{DVec3, Mesh};

/// A surface whose points and triangles are some of another's.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Coarse {
    /// For each point, which of the other's it is.
    pub points: Vec<u32>,
    /// Triangles over these points.
    pub triangles: Vec<[u32; 3]>,
    /// For each triangle, which of the other's it stands for.
    pub of: Vec<u32>,
}

/// Cells grow at least by this from one try to the next: areas by a third.
const GROWTH: f64 = 1.16;

/// The surface with about `most` triangles beside those that are `whole`, which stay as
/// they are, with their points. Up to that many, all stay.
pub(crate) fn coarse(mesh: &Mesh, whole: &[bool], most: usize) -> Coarse {
    let rest = whole.iter().filter(|is_whole| !**is_whole).count();
    if rest <= most {
        return of_places(mesh, whole, (0..mesh.points().len() as u32).collect());
    }
    let mut stays = vec![false; mesh.points().len()];
    for (triangle, _) in mesh.triangles().iter().zip(whole).filter(|(_, is_whole)| **is_whole) {
        triangle.iter().for_each(|v| stays[*v as usize] = true);
    }
    let faces = Faces::of(mesh);
    let area: f64 = (0..whole.len()).filter(|t| !whole[*t]).map(|t| faces.areas[t]).sum();
    // A flat patch of cells shows two triangles a cell.
    let mut cell = (2.0 * area / most.max(1) as f64).sqrt();
    let mut found = of_places(mesh, whole, clustered(mesh, &faces, &stays, cell));
    let largest = mesh.bounds().diagonal();
    loop {
        let shown = found.of.iter().filter(|t| !whole[**t as usize]).count();
        // With one cell round all of it no more can be given up.
        if shown <= most || cell > largest {
            break;
        }
        cell *= (shown as f64 / most.max(1) as f64).sqrt().max(GROWTH);
        found = of_places(mesh, whole, clustered(mesh, &faces, &stays, cell));
    }
    found
}

/// Areas of triangles, and where points face.
struct Faces {
    areas: Vec<f64>,
    normals: Vec<DVec3>,
}

impl Faces {
    fn of(mesh: &Mesh) -> Self {
        let areas = (0..mesh.triangles().len()).map(|t| 0.5 * mesh.area_normal(t).length());
        Self { areas: areas.collect(), normals: mesh.point_normals() }
    }
}

/// For each point the one that stands for it, where cells have this edge.
fn clustered(mesh: &Mesh, faces: &Faces, stays: &[bool], cell: f64) -> Vec<u32> {
    let low = mesh.bounds().min;
    let mut numbers: HashMap<[i64; 4], u32> = HashMap::new();
    // In the order of points, so that no map's own order shows.
    let clusters: Vec<Option<u32>> = (0..stays.len())
        .map(|v| {
            if stays[v] {
                return None;
            }
            let place = ((mesh.points()[v] - low) / cell).floor().to_array();
            let facing = faces.normals[v].to_array();
            let octant: i64 = (0..3).map(|k| i64::from(facing[k] < 0.0) << k).sum();
            let key = [place[0] as i64, place[1] as i64, place[2] as i64, octant];
            let next = numbers.len() as u32;
            Some(*numbers.entry(key).or_insert(next))
        })
        .collect();
    let mut planes = vec![Planes::default(); numbers.len()];
    for (t, triangle) in mesh.triangles().iter().enumerate() {
        let normal = mesh.area_normal(t).normalize_or_zero();
        let offset = normal.dot(mesh.points()[triangle[0] as usize] - low);
        for cluster in triangle.iter().filter_map(|v| clusters[*v as usize]) {
            planes[cluster as usize].add(normal, offset, faces.areas[t]);
        }
    }
    let mut best: Vec<(f64, u32)> = vec![(f64::INFINITY, 0); numbers.len()];
    for (v, cluster) in clusters.iter().enumerate() {
        let Some(c) = cluster.map(|c| c as usize) else { continue };
        let far = planes[c].far(mesh.points()[v] - low);
        if far < best[c].0 {
            best[c] = (far, v as u32);
        }
    }
    let stands = |(v, cluster): (usize, &Option<u32>)| match cluster {
        Some(c) => best[*c as usize].1,
        None => v as u32,
    };
    clusters.iter().enumerate().map(stands).collect()
}

/// The summed squares of the distances from some planes, by their areas, as a quadric.
#[derive(Debug, Clone, Copy, Default)]
struct Planes {
    square: [f64; 6],
    linear: DVec3,
    constant: f64,
}

impl Planes {
    fn add(&mut self, n: DVec3, offset: f64, weight: f64) {
        let products = [n.x * n.x, n.x * n.y, n.x * n.z, n.y * n.y, n.y * n.z, n.z * n.z];
        for (sum, product) in self.square.iter_mut().zip(products) {
            *sum += weight * product;
        }
        self.linear += weight * offset * n;
        self.constant += weight * offset * offset;
    }

    fn far(&self, p: DVec3) -> f64 {
        let [xx, xy, xz, yy, yz, zz] = self.square;
        let product = DVec3::new(
            xx * p.x + xy * p.y + xz * p.z,
            xy * p.x + yy * p.y + yz * p.z,
            xz * p.x + yz * p.y + zz * p.z,
        );
        product.dot(p) - 2.0 * self.linear.dot(p) + self.constant
    }
}

/// The surface over the points that stand for its own.
fn of_places(mesh: &Mesh, whole: &[bool], stands: Vec<u32>) -> Coarse {
    let mut numbers = vec![u32::MAX; stands.len()];
    let mut found = Coarse { points: Vec::new(), triangles: Vec::new(), of: Vec::new() };
    for (t, triangle) in mesh.triangles().iter().enumerate() {
        let [a, b, c] = triangle.map(|v| stands[v as usize]);
        if !whole[t] && (a == b || b == c || c == a) {
            continue;
        }
        let numbered = [a, b, c].map(|v| {
            if numbers[v as usize] == u32::MAX {
                numbers[v as usize] = found.points.len() as u32;
                found.points.push(v);
            }
            numbers[v as usize]
        });
        found.triangles.push(numbered);
        found.of.push(t as u32);
    }
    found
}

#[cfg(test)]
mod tests {
    use std::f64::consts::{PI, TAU};

    use spile_mesh::{DVec3, Mesh};

    use super::coarse;

    /// A torus with these radii, as a grid.
    fn torus(radius: f64, tube: f64, [around, across]: [u32; 2]) -> Mesh {
        let point = |k: u32| {
            let (u, v) = (k / across, k % across);
            let [u, v] = [f64::from(u) / f64::from(around), f64::from(v) / f64::from(across)];
            let (u, v) = (TAU * u, TAU * v);
            let out = radius + tube * v.cos();
            DVec3::new(out * u.cos(), out * u.sin(), tube * v.sin())
        };
        let points = (0..around * across).map(point).collect();
        let at = |u: u32, v: u32| u % around * across + v % across;
        let quads = (0..around).flat_map(|u| (0..across).map(move |v| (u, v)));
        let triangles = quads.flat_map(|(u, v)| {
            let [a, b, c, d] = [at(u, v), at(u + 1, v), at(u + 1, v + 1), at(u, v + 1)];
            [[a, b, c], [a, c, d]]
        });
        Mesh::new(points, triangles.collect()).unwrap()
    }

    #[test]
    fn what_is_whole_stays_and_the_rest_keeps_its_shape_with_a_tenth_of_the_triangles() {
        let mesh = torus(20.0, 6.0, [300, 120]);
        let count = mesh.triangles().len();
        let whole: Vec<bool> = (0..count).map(|t| t < count / 8).collect();
        let most = count / 10;
        let found = coarse(&mesh, &whole, most);
        let kept: Vec<u32> = found.of.iter().copied().filter(|t| whole[*t as usize]).collect();
        assert_eq!(kept, (0..count as u32 / 8).collect::<Vec<_>>());
        let rest = found.of.len() - kept.len();
        assert!(rest <= most && rest > most / 2, "{rest} of {most}");
        for (triangle, of) in
            found.triangles.iter().zip(&found.of).filter(|(_, t)| whole[**t as usize])
        {
            assert_eq!(triangle.map(|v| found.points[v as usize]), mesh.triangles()[*of as usize]);
        }
        let points = found.points.iter().map(|v| mesh.points()[*v as usize]).collect();
        let shown = Mesh::new(points, found.triangles.clone()).unwrap();
        // Area and volume of a torus: 4 pi^2 R r and 2 pi^2 R r^2.
        let [area, volume] = [4.0 * PI * PI * 20.0 * 6.0, 2.0 * PI * PI * 20.0 * 36.0];
        assert!((shown.area() / area - 1.0).abs() < 0.02, "{}", shown.area() / area);
        assert!((shown.volume() / volume - 1.0).abs() < 0.02, "{}", shown.volume() / volume);
    }

    #[test]
    fn a_small_surface_stays_as_it_is() {
        let mesh = torus(20.0, 6.0, [20, 12]);
        let found = coarse(&mesh, &vec![false; mesh.triangles().len()], mesh.triangles().len());
        let back: Vec<[u32; 3]> =
            found.triangles.iter().map(|t| t.map(|v| found.points[v as usize])).collect();
        assert_eq!(back, mesh.triangles());
    }
}
