//! Hints for printing: what overhangs, and what is shut in.

use serde::Serialize;
use spile_mesh::{DVec3, Mesh, Topology, shells};

use super::figure::Figure;
use crate::closed::shell_volume;
use crate::fitting_find::coordinate_spacing;

/// Hints for one build direction.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Overhang {
    /// The way up, of length 1.
    pub build_direction: [f64; 3],
    /// Area that faces down and leans less than 45 degrees from the plate: common practice
    /// asks for supports there. What lies on the plate is left out.
    pub area: Figure,
    /// Area that lies on the plate: all corners at the lowest height.
    pub on_plate: f64,
    /// The lowest place of the largest such triangle.
    #[serde(rename = "where")]
    pub where_: Option<[f64; 3]>,
}

/// A hollow without a way out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClosedVoid {
    /// Its volume.
    pub volume: f64,
    /// The middle of its box.
    #[serde(rename = "where")]
    pub where_: [f64; 3],
}

/// Common practice, without a source (check-values, section 2).
const OVERHANG_DEG: f64 = 45.0;

/// What overhangs when the part is built up along `up`, of length 1.
pub(super) fn overhang(part: &Mesh, up: [f64; 3]) -> Overhang {
    let up_vector = DVec3::from_array(up);
    let height = |p: DVec3| p.dot(up_vector);
    let lowest = part.triangles().iter().flatten().map(|&v| height(part.points()[v as usize]));
    // Coordinates that lie on one plane lie on it to their own spacing.
    let plate = lowest.fold(f64::INFINITY, f64::min) + 2.0 * coordinate_spacing(part);
    let steepest = OVERHANG_DEG.to_radians().cos();
    let (mut area, mut on_plate) = (0.0, 0.0);
    let mut largest: (f64, Option<[f64; 3]>) = (0.0, None);
    for t in 0..part.triangles().len() {
        let normal = part.area_normal(t);
        let (twice, down) = (normal.length(), -normal.dot(up_vector));
        if down <= steepest * twice {
            continue;
        }
        let corners = part.corners(t);
        if corners.iter().all(|&p| height(p) <= plate) {
            on_plate += 0.5 * twice;
            continue;
        }
        area += 0.5 * twice;
        if 0.5 * twice > largest.0 {
            let low = corners.into_iter().min_by(|a, b| height(*a).total_cmp(&height(*b)));
            largest = (0.5 * twice, low.map(|p| p.to_array()));
        }
    }
    let how = "area of triangles that face down, less than 45 degrees from the plate (common \
               practice); a hint, for what needs a support is the printer's to say";
    Overhang {
        build_direction: up,
        area: Figure::estimated(area, None, how),
        on_plate,
        where_: largest.1,
    }
}

/// The voids that are shut in: shells turned inward.
pub(super) fn closed_voids(part: &Mesh) -> Vec<ClosedVoid> {
    let topology = Topology::of(part);
    let all = shells(part, &topology).triangles();
    let of = |shell: &Vec<u32>| {
        let volume = shell_volume(part, shell);
        let corners = shell.iter().flat_map(|&t| part.corners(t as usize));
        let at = spile_mesh::Bounds3::of(corners).middle();
        (volume < 0.0).then(|| ClosedVoid { volume: -volume, where_: at.to_array() })
    };
    all.iter().filter_map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cube from `low` to `high`, facing outward or inward.
    fn cube(low: f64, high: f64, is_void: bool) -> Mesh {
        let at = |x: u32| if x == 1 { high } else { low };
        let points = (0..8).map(|i| DVec3::new(at(i & 1), at(i >> 1 & 1), at(i >> 2))).collect();
        let quads =
            [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
        let turned = |[a, b, c]: [u32; 3]| if is_void { [a, c, b] } else { [a, b, c] };
        let triangles =
            quads.iter().flat_map(|&[a, b, c, d]| [turned([a, b, c]), turned([a, c, d])]);
        Mesh::new(points, triangles.collect()).unwrap()
    }

    #[test]
    fn a_cube_on_its_face_overhangs_nowhere_and_on_its_edge_just_not() {
        let found = overhang(&cube(0.0, 10.0, false), [0.0, 0.0, 1.0]);
        assert_eq!((found.area.value, found.on_plate, found.where_), (0.0, 100.0, None));
        // Leant by 30 degrees the lower face overhangs (30 from the plate), the other
        // (60) does not; leant by 50 the other one does (40).
        for degrees in [30.0_f64, 50.0] {
            let (s, c) = degrees.to_radians().sin_cos();
            let found = overhang(&cube(0.0, 10.0, false), [s, 0.0, c]);
            assert!((found.area.value - 100.0).abs() < 1e-9, "{degrees}: {found:?}");
            assert_eq!(found.on_plate, 0.0);
        }
    }

    #[test]
    fn a_shell_turned_inward_is_a_void_of_its_volume() {
        let (outer, inner) = (cube(0.0, 10.0, false), cube(3.0, 5.0, true));
        assert_eq!(closed_voids(&outer), []);
        let shift = outer.points().len() as u32;
        let points = [outer.points(), inner.points()].concat();
        let more = inner.triangles().iter().map(|t| t.map(|v| v + shift));
        let both = Mesh::new(points, outer.triangles().iter().copied().chain(more).collect());
        let found = closed_voids(&both.unwrap());
        assert_eq!(found.len(), 1);
        assert!((found[0].volume - 8.0).abs() < 1e-12);
        assert_eq!(found[0].where_, [4.0; 3]);
    }
}
