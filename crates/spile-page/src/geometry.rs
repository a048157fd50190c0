//! Surfaces on their way to the picture: flat arrays, low byte first.
//!
//! Layout: `SPLM`, then as `u32` the counts of points and triangles and whether regions
//! follow; three `f32` a point; three `u32` a triangle; one byte a triangle for its
//! region, if they follow. `web/src/api/surface.ts` reads it.

use spile_mesh::Mesh;
use spile_proof::{PartLabel, Region};

/// What a surface begins with.
const MARK: [u8; 4] = *b"SPLM";

/// A surface as bytes, with a region for each triangle if there are any.
///
/// Coordinates are rounded to `f32`: the picture judges nothing.
pub(crate) fn bytes(mesh: &Mesh, regions: Option<&[u8]>) -> Vec<u8> {
    let (points, triangles) = (mesh.points(), mesh.triangles());
    let size = 16 + 12 * (points.len() + triangles.len()) + regions.map_or(0, <[u8]>::len);
    let mut out = Vec::with_capacity(size);
    out.extend(MARK);
    // A mesh's own invariant is that `u32` counts both.
    for count in [points.len(), triangles.len(), usize::from(regions.is_some())] {
        out.extend((count as u32).to_le_bytes());
    }
    for p in points {
        out.extend(p.to_array().into_iter().flat_map(|x| (x as f32).to_le_bytes()));
    }
    out.extend(triangles.iter().flatten().flat_map(|i| i.to_le_bytes()));
    out.extend(regions.unwrap_or_default());
    out
}

/// The byte for each triangle's region: 0 kept, 1 replaced, 2 joint, 3 fitting, 4 end
/// face, 5 made wall.
pub(crate) fn regions(labels: &[PartLabel]) -> Vec<u8> {
    let byte = |label: &PartLabel| match label.region {
        Region::Kept => 0,
        Region::Replaced => 1,
        Region::Joint => 2,
        Region::Fitting => 3,
        Region::EndFace => 4,
        Region::MadeWall => 5,
    };
    labels.iter().map(byte).collect()
}

/// A map as bytes: one `f32` a point, low byte first, not a number where there is none.
pub(crate) fn map(values: &[Option<f64>]) -> Vec<u8> {
    values.iter().flat_map(|v| v.map_or(f32::NAN, |x| x as f32).to_le_bytes()).collect()
}

#[cfg(test)]
mod tests {
    use spile_mesh::{DVec3, Mesh};

    #[test]
    fn a_triangle_takes_the_bytes_that_the_layout_says() {
        let mesh = Mesh::new(vec![DVec3::ZERO, DVec3::X, DVec3::Y], vec![[0, 1, 2]]).unwrap();
        let bytes = super::bytes(&mesh, Some(&[2]));
        assert_eq!(bytes.len(), 16 + 3 * 12 + 12 + 1);
        assert_eq!(bytes[..8], *b"SPLM\x03\0\0\0");
        assert_eq!(bytes[28..32], 1.0f32.to_le_bytes());
        assert_eq!(bytes[60], 2);
        assert_eq!(super::bytes(&mesh, None).len(), 64);
    }
}
