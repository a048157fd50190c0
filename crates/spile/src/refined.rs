//! A surface in smaller triangles, for values that are read at its points.

use std::collections::HashMap;

use spile_mesh::{DVec3, Mesh};

/// No more triangles are made than this, for the sake of time: then some stay longer.
const MOST: usize = 2_000_000;

/// The same surface with no edge longer than `longest`: longer ones are halved, the longest
/// of a triangle first. It is the same in its places, not in how its triangles meet.
pub(crate) fn refined(mesh: &Mesh, longest: f64) -> Mesh {
    let (mut points, triangles) = mesh.clone().into_parts();
    let mut middles: HashMap<[u32; 2], u32> = HashMap::new();
    let mut done = Vec::with_capacity(triangles.len());
    let mut open = triangles;
    open.reverse();
    while let Some([a, b, c]) = open.pop() {
        let at = |v: u32| points[v as usize];
        let sides = [([a, b], c), ([b, c], a), ([c, a], b)];
        let length = |[p, q]: [u32; 2]| at(p).distance(at(q));
        // Of two alike the first, so that the same mesh comes out each time.
        let (edge, across) = sides
            .into_iter()
            .reduce(|best, side| if length(side.0) > length(best.0) { side } else { best })
            .unwrap_or(sides[0]);
        let is_full = done.len() + open.len() >= MOST;
        if length(edge) <= longest || is_full || points.len() >= u32::MAX as usize {
            done.push([a, b, c]);
            continue;
        }
        let [p, q] = edge;
        let key = [p.min(q), p.max(q)];
        let middle = *middles.entry(key).or_insert_with(|| {
            points.push(points[p as usize].midpoint(points[q as usize]));
            points.len() as u32 - 1
        });
        open.extend([[middle, q, across], [p, middle, across]]);
    }
    whole(points, done, mesh)
}

/// The refined mesh; the given one where a middle is no number.
fn whole(points: Vec<DVec3>, triangles: Vec<[u32; 3]>, mesh: &Mesh) -> Mesh {
    Mesh::new(points, triangles).unwrap_or_else(|_| mesh.clone())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_triangle_becomes_short_ones_of_the_same_area() {
        let points = vec![DVec3::ZERO, DVec3::new(10.0, 0.0, 0.0), DVec3::new(0.0, 0.5, 3.0)];
        let mesh = Mesh::new(points, vec![[0, 1, 2]]).unwrap();
        let fine = refined(&mesh, 0.7);
        let area =
            |m: &Mesh| (0..m.triangles().len()).map(|t| m.area_normal(t).length()).sum::<f64>();
        assert!((area(&fine) / area(&mesh) - 1.0).abs() < 1e-12);
        let normal = mesh.area_normal(0).normalize();
        for t in 0..fine.triangles().len() {
            let [a, b, c] = fine.corners(t);
            assert!(a.distance(b).max(b.distance(c)).max(c.distance(a)) <= 0.7);
            assert!(fine.area_normal(t).normalize().dot(normal) > 1.0 - 1e-9);
        }
        // What is fine enough stays as it is.
        assert_eq!(refined(&fine, 0.7), fine);
    }
}
