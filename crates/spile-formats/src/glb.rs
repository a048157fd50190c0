//! GLB: glTF 2.0 in one binary file, out.
//!
//! # Source
//! check-values 3.5: the glTF 2.0 specification, sections on units, alignment and the
//! binary form.

use std::io::Write;

use serde_json::{Value, json};
use spile_mesh::Mesh;

use crate::FileUnit;
use crate::error::WriteError;
use crate::part_info::{Groups, PartInfo};
use crate::stl::check_range;

const MAGIC: u32 = 0x4654_6C67;
const JSON: u32 = 0x4E4F_534A;
const BIN: u32 = 0x004E_4942;

// Component types and targets, by the numbers that the format borrows.
const UNSIGNED_BYTE: u32 = 5121;
const UNSIGNED_INT: u32 = 5125;
const FLOAT: u32 = 5126;
const ARRAY_BUFFER: u32 = 34962;
const ELEMENT_ARRAY_BUFFER: u32 = 34963;

/// Writes `mesh` as GLB: one node a group, named as it, with its colour at each point.
///
/// Lengths are in metres, as the format asks: here alone they are scaled, and rounded to
/// `f32` once more. Axes are the mesh's own; the format's "up" is +Y. Points that several
/// groups share stand in each. A group without a triangle is left out. There are no
/// normals, so that every facet is shown flat, as it is. Unit, title, description and application stand
/// in `asset`.
///
/// # Errors
/// A coordinate that does not fit `f32`, groups that do not fit the mesh, no triangle, more than
/// 4 GB, or what the writer refuses.
///
/// # Source
/// check-values 3.5. Colours are linear in the file: from sRGB by IEC 61966-2-1.
pub fn write(
    mesh: &Mesh,
    groups: &Groups,
    info: &PartInfo,
    mut to: impl Write,
) -> Result<(), WriteError> {
    check_range(mesh)?;
    groups.check(mesh, "GLB")?;
    if mesh.triangles().is_empty() {
        return Err(WriteError::Unfit { format: "GLB", what: "no triangle".to_owned() });
    }
    let mut content = Content::default();
    for (k, group) in groups.groups.iter().enumerate() {
        let triangles: Vec<usize> = groups.triangles(k).collect();
        if !triangles.is_empty() {
            content.add(mesh, &triangles, &group.name, group.colour, info.unit);
        }
    }
    let Content { bytes, views, accessors, meshes } = content;
    let nodes: Vec<Value> =
        (0..meshes.len()).map(|k| json!({ "mesh": k, "name": meshes[k]["name"] })).collect();
    let document = json!({
        "asset": {
            "version": "2.0",
            "generator": info.application,
            "extras": {
                "title": info.title,
                "description": info.description,
                "unit_of_the_case": info.unit.symbol(),
            },
        },
        "scene": 0,
        "scenes": [{ "nodes": (0..nodes.len()).collect::<Vec<_>>() }],
        "nodes": nodes,
        "meshes": meshes,
        "materials": [{
            "name": "part",
            "pbrMetallicRoughness": { "metallicFactor": 0.0, "roughnessFactor": 0.8 },
        }],
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{ "byteLength": bytes.len() }],
    });
    let mut text = document.to_string().into_bytes();
    // Chunks begin and end on 4 bytes; the binary one does by its content.
    text.resize(text.len().next_multiple_of(4), b' ');
    let whole = 12 + 8 + text.len() + 8 + bytes.len();
    let Ok(whole) = u32::try_from(whole) else {
        return Err(WriteError::Unfit { format: "GLB", what: "more than 4 GB".to_owned() });
    };
    for word in [MAGIC, 2, whole, text.len() as u32, JSON] {
        to.write_all(&word.to_le_bytes())?;
    }
    to.write_all(&text)?;
    for word in [bytes.len() as u32, BIN] {
        to.write_all(&word.to_le_bytes())?;
    }
    to.write_all(&bytes)?;
    to.flush()?;
    Ok(())
}

/// The binary chunk, and what tells its parts apart.
#[derive(Default)]
struct Content {
    bytes: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
    meshes: Vec<Value>,
}

impl Content {
    fn add(
        &mut self,
        mesh: &Mesh,
        triangles: &[usize],
        name: &str,
        colour: [u8; 3],
        unit: FileUnit,
    ) {
        let mut points: Vec<u32> = triangles.iter().flat_map(|&t| mesh.triangles()[t]).collect();
        points.sort_unstable();
        points.dedup();
        let in_metres = |v: &u32| {
            let p = mesh.points()[*v as usize] * (unit.millimetres() / 1000.0);
            p.as_vec3().to_array()
        };
        let places: Vec<[f32; 3]> = points.iter().map(in_metres).collect();
        let extreme = |pick: fn(f32, f32) -> f32| {
            let folded = places.iter().copied().reduce(|a, b| [0, 1, 2].map(|k| pick(a[k], b[k])));
            folded.unwrap_or_default().map(f64::from)
        };
        let [least, most] = [extreme(f32::min), extreme(f32::max)];
        let position = self.accessor(
            places.iter().flatten().flat_map(|x| x.to_le_bytes()).collect(),
            ARRAY_BUFFER,
            json!({
                "componentType": FLOAT, "type": "VEC3", "count": places.len(),
                "min": least, "max": most,
            }),
        );
        let [r, g, b] = colour.map(linear);
        let shade = self.accessor(
            [r, g, b, u8::MAX].repeat(places.len()),
            ARRAY_BUFFER,
            json!({
                "componentType": UNSIGNED_BYTE, "type": "VEC4", "count": places.len(),
                "normalized": true,
            }),
        );
        // Every corner is among the sorted points.
        let number = |v: u32| points.partition_point(|&p| p < v) as u32;
        let corners = triangles.iter().flat_map(|&t| mesh.triangles()[t]).map(number);
        let indices = self.accessor(
            corners.flat_map(u32::to_le_bytes).collect(),
            ELEMENT_ARRAY_BUFFER,
            json!({ "componentType": UNSIGNED_INT, "type": "SCALAR", "count": 3 * triangles.len() }),
        );
        self.meshes.push(json!({
            "name": name,
            "primitives": [{
                "attributes": { "POSITION": position, "COLOR_0": shade },
                "indices": indices,
                "material": 0,
            }],
        }));
    }

    /// Adds bytes, a multiple of 4, and gives the number of their accessor.
    fn accessor(&mut self, bytes: Vec<u8>, target: u32, mut what: Value) -> usize {
        self.views.push(json!({
            "buffer": 0, "byteOffset": self.bytes.len(), "byteLength": bytes.len(), "target": target,
        }));
        self.bytes.extend(bytes);
        what["bufferView"] = json!(self.views.len() - 1);
        self.accessors.push(what);
        self.accessors.len() - 1
    }
}

/// A value of sRGB, 0 to 255, as a share of light, 0 to 255.
fn linear(value: u8) -> u8 {
    let s = f64::from(value) / 255.0;
    let light = if s <= 0.04045 { s / 12.92 } else { ((s + 0.055) / 1.055).powf(2.4) };
    (255.0 * light).round() as u8
}
