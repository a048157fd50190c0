//! Reads the binary STL files that spile writes; apart from its own reader.

use std::path::Path;

use crate::Fault;

/// Three corners.
pub type Triangle = [[f64; 3]; 3];

/// The triangles of a binary STL file.
pub fn read(path: &Path) -> Result<Vec<Triangle>, Fault> {
    let bytes = std::fs::read(path).map_err(|e| format!("{}: {e}", path.display()))?;
    let records = bytes.get(84..).ok_or_else(|| format!("{} is cut short", path.display()))?;
    let number = |b: &[u8]| f64::from(f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
    let corner = |b: &[u8]| [number(&b[0..]), number(&b[4..]), number(&b[8..])];
    let triangle = |b: &[u8]| [corner(&b[12..]), corner(&b[24..]), corner(&b[36..])];
    Ok(records.chunks_exact(50).map(triangle).collect())
}
