//! Small meshes out of bytes, hostile in shape and in numbers.

use spile_mesh::{DVec3, Mesh};

/// Numbers that computations trip over.
const NUMBERS: [f64; 16] = [
    -0.0,
    f64::MIN_POSITIVE,
    5e-324,
    -5e-324,
    1e-200,
    1e-30,
    f64::EPSILON,
    1.0 + f64::EPSILON,
    1.0 - 0.5 * f64::EPSILON,
    16_777_217.0,
    1e16,
    1e38,
    3.5e38,
    1e200,
    f64::MAX,
    -f64::MAX,
];

const MOST_POINTS: usize = 32;
const MOST_TRIANGLES: usize = 64;

/// A mesh of at most 32 points and 64 triangles; none of bytes that are too
/// few or give coordinates that are no numbers.
///
/// The first byte counts the points. Each coordinate is a byte: up to 200 a
/// number in steps of a quarter, up to 216 one of a list, else the next eight
/// bytes as they are. Then come triangles, three bytes each.
pub fn hostile_mesh(bytes: &[u8]) -> Option<Mesh> {
    let mut bytes = bytes.iter().copied();
    let count = 1 + usize::from(bytes.next()?) % MOST_POINTS;
    let mut points = Vec::new();
    for _ in 0..count {
        let [x, y, z] = [coordinate(&mut bytes)?, coordinate(&mut bytes)?, coordinate(&mut bytes)?];
        points.push(DVec3::new(x, y, z));
    }
    let mut triangles = Vec::new();
    while let (Some(a), Some(b), Some(c)) = (bytes.next(), bytes.next(), bytes.next()) {
        if triangles.len() < MOST_TRIANGLES {
            triangles.push([a, b, c].map(|i| u32::from(i) % count as u32));
        }
    }
    Mesh::new(points, triangles).ok()
}

fn coordinate(bytes: &mut impl Iterator<Item = u8>) -> Option<f64> {
    Some(match bytes.next()? {
        byte @ 0..=200 => 0.25 * (f64::from(byte) - 100.0),
        byte @ 201..=216 => NUMBERS[usize::from(byte - 201)],
        _ => {
            let mut raw = [0; 8];
            for byte in &mut raw {
                *byte = bytes.next()?;
            }
            f64::from_le_bytes(raw)
        }
    })
}
