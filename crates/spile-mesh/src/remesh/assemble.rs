//! From the working patch back to a mesh.

use super::RemeshOptions;
use super::working::Working;
use crate::Mesh;
use crate::topology::NONE;

/// The mesh of the live triangles, and the new index of each old point.
pub(super) fn assemble(w: &Working, patch: &Mesh, options: &RemeshOptions) -> (Mesh, Vec<u32>) {
    let mut place = vec![NONE; w.points.len()];
    let mut points = Vec::with_capacity(w.points.len());
    for (v, &p) in w.points.iter().enumerate() {
        // Kept points stay even where no triangle has them: others count on
        // their index.
        if v < options.kept_points || !w.around[v].is_empty() {
            place[v] = points.len() as u32;
            points.push(p);
        }
    }
    let live = w.triangles.iter().zip(&w.alive).filter(|&(_, &alive)| alive);
    let triangles = live.map(|(corners, _)| corners.map(|v| place[v as usize])).collect();
    let mesh = Mesh::new(points, triangles).expect("live triangles have live points");
    place.truncate(patch.points().len());
    (mesh, place)
}
