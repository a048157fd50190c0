//! Places told apart by their coordinates, bit for bit: which points of scan
//! and part are one place, and which triangles have the same three corners.

use rayon::prelude::*;
use spile_mesh::{DVec3, Mesh, round_to_f32};

/// A place as its three coordinates' `f32` bits; -0.0 is 0.0.
type Bits = [u32; 3];

fn bits(p: DVec3) -> Bits {
    round_to_f32(p).as_vec3().to_array().map(f32::to_bits)
}

/// `mesh` with points at exactly one place (in `f64`, -0.0 equal to 0.0) made
/// one point: the first of them. Triangles keep their order; points that only
/// later twins name stay, unused.
pub(crate) fn weld(mesh: &Mesh) -> Mesh {
    let key = |p: DVec3| (p + DVec3::ZERO).to_array().map(f64::to_bits);
    let mut order: Vec<u32> = (0..mesh.points().len() as u32).collect();
    order.par_sort_unstable_by_key(|&i| (key(mesh.points()[i as usize]), i));
    let mut first: Vec<u32> = (0..mesh.points().len() as u32).collect();
    for pair in 1..order.len() {
        let (a, b) = (order[pair - 1], order[pair]);
        if key(mesh.points()[a as usize]) == key(mesh.points()[b as usize]) {
            first[b as usize] = first[a as usize];
        }
    }
    let triangles = mesh.triangles().iter().map(|t| t.map(|p| first[p as usize])).collect();
    // Indices only shrink and coordinates stay, so the invariants hold.
    Mesh::new(mesh.points().to_vec(), triangles).unwrap_or_default()
}

/// For each part triangle the scan triangle with the same three corners after
/// rounding to `f32`, in whatever order; each scan triangle is given away once.
/// Scan triangles for which `eligible` is false are given to nobody.
pub(crate) fn match_triangles(
    scan: &Mesh,
    part: &Mesh,
    eligible: impl Fn(usize) -> bool + Sync,
) -> Vec<Option<u32>> {
    let key = |mesh: &Mesh, t: usize| {
        let mut k = mesh.corners(t).map(bits);
        k.sort_unstable();
        k
    };
    let sorted = |mesh: &Mesh, keep: &(dyn Fn(usize) -> bool + Sync)| {
        let mut keys: Vec<([Bits; 3], u32)> = (0..mesh.triangles().len())
            .into_par_iter()
            .filter(|&t| keep(t))
            .map(|t| (key(mesh, t), t as u32))
            .collect();
        keys.par_sort_unstable();
        keys
    };
    let scan_keys = sorted(scan, &eligible);
    let part_keys = sorted(part, &|_| true);
    let mut found = vec![None; part.triangles().len()];
    let mut s = 0;
    for (key, t) in part_keys {
        while s < scan_keys.len() && scan_keys[s].0 < key {
            s += 1;
        }
        if s < scan_keys.len() && scan_keys[s].0 == key {
            found[t as usize] = Some(scan_keys[s].1);
            s += 1;
        }
    }
    found
}

/// Finds points of a mesh by their place.
pub(crate) struct Places(Vec<(Bits, u32)>);

impl Places {
    /// The places of those points that a triangle names.
    pub(crate) fn of(mesh: &Mesh) -> Self {
        let mut used = vec![false; mesh.points().len()];
        for &p in mesh.triangles().iter().flatten() {
            used[p as usize] = true;
        }
        let mut places: Vec<(Bits, u32)> = (0..mesh.points().len())
            .filter(|&p| used[p])
            .map(|p| (bits(mesh.points()[p]), p as u32))
            .collect();
        places.sort_unstable();
        Self(places)
    }

    /// The point at this place, if its coordinates, rounded to `f32`, are a point's.
    pub(crate) fn find(&self, p: DVec3) -> Option<u32> {
        let wanted = bits(p);
        let i = self.0.partition_point(|(b, _)| *b < wanted);
        self.0.get(i).filter(|(b, _)| *b == wanted).map(|&(_, p)| p)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(points: [DVec3; 3]) -> Mesh {
        Mesh::new(points.to_vec(), vec![[0, 1, 2]]).unwrap()
    }

    #[test]
    fn corners_match_in_any_order_and_only_to_the_bit() {
        let scan = one([DVec3::ZERO, DVec3::X, DVec3::Y]);
        let turned = one([DVec3::Y, DVec3::X, -DVec3::ZERO]);
        assert_eq!(match_triangles(&scan, &turned, |_| true), vec![Some(0)]);
        let ulp = f64::from(f32::from_bits(1.0_f32.to_bits() + 1));
        let moved = one([DVec3::ZERO, DVec3::X * ulp, DVec3::Y]);
        assert_eq!(match_triangles(&scan, &moved, |_| true), vec![None]);
        assert_eq!(match_triangles(&scan, &turned, |_| false), vec![None]);
    }

    #[test]
    fn one_scan_triangle_answers_for_one_part_triangle() {
        let scan = one([DVec3::ZERO, DVec3::X, DVec3::Y]);
        let twice = Mesh::new(scan.points().to_vec(), vec![[0, 1, 2], [2, 1, 0]]).unwrap();
        let found = match_triangles(&scan, &twice, |_| true);
        assert_eq!(found.iter().flatten().count(), 1);
    }

    #[test]
    fn welding_joins_equal_places_only() {
        let points = vec![DVec3::ZERO, DVec3::X, DVec3::Y, -DVec3::ZERO, DVec3::X * (1.0 + 1e-15)];
        let mesh = Mesh::new(points, vec![[0, 1, 2], [3, 2, 4]]).unwrap();
        assert_eq!(weld(&mesh).triangles(), &[[0, 1, 2], [0, 2, 4]]);
    }
}
