//! Makes a mesh finer in its own planes, so that a bench can have a large scan
//! with a small patch.

use std::collections::HashMap;

use spile_mesh::{DVec3, Mesh, round_to_f32};

/// `mesh` with triangles divided until there are about `count`, those of
/// largest `depth` (of a triangle's middle) first and none of negative depth.
pub fn to_count(mut mesh: Mesh, count: usize, depth: impl Fn(DVec3) -> f64) -> Mesh {
    loop {
        let mut deep: Vec<(f64, usize)> = (0..mesh.triangles().len())
            .map(|t| (depth(mesh.corners(t).iter().sum::<DVec3>() / 3.0), t))
            .filter(|&(d, _)| d > 0.0)
            .collect();
        // A triangle in four is three more.
        let wanted = count.saturating_sub(mesh.triangles().len()) / 3;
        if wanted == 0 || deep.is_empty() {
            return mesh;
        }
        deep.sort_unstable_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        deep.truncate(wanted);
        mesh = divided(&mesh, &deep);
    }
}

/// Each chosen triangle in four, their neighbours in two or three so that all
/// stay joined edge to edge.
fn divided(mesh: &Mesh, chosen: &[(f64, usize)]) -> Mesh {
    let mut points = mesh.points().to_vec();
    let mut middles: HashMap<(u32, u32), u32> = HashMap::new();
    for &(_, t) in chosen {
        let [a, b, c] = mesh.triangles()[t];
        for (a, b) in [(a, b), (b, c), (c, a)] {
            middles.entry((a.min(b), a.max(b))).or_insert_with(|| {
                points.push(round_to_f32(0.5 * (points[a as usize] + points[b as usize])));
                points.len() as u32 - 1
            });
        }
    }
    let middle = |a: u32, b: u32| middles.get(&(a.min(b), a.max(b))).copied();
    let mut triangles = Vec::with_capacity(mesh.triangles().len() + 3 * chosen.len());
    for &whole in mesh.triangles() {
        let mut corners = whole;
        // Turn the corners until the divided edges come first.
        for _ in 0..2 {
            let [a, b, c] = corners;
            let wrong =
                middle(a, b).is_none() || (middle(c, a).is_some() && middle(b, c).is_none());
            if wrong {
                corners.rotate_left(1);
            }
        }
        let [a, b, c] = corners;
        match (middle(a, b), middle(b, c), middle(c, a)) {
            (Some(ab), Some(bc), Some(ca)) => {
                triangles.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
            }
            (Some(ab), Some(bc), None) => {
                triangles.extend([[ab, b, bc], [a, ab, bc], [a, bc, c]]);
            }
            (Some(ab), None, None) => triangles.extend([[a, ab, c], [ab, b, c]]),
            _ => triangles.push(whole),
        }
    }
    Mesh::new(points, triangles).expect("middles of finite points are finite")
}
