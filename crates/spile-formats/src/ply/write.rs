//! Writing a part as PLY, with values at each point.

use std::io::Write;

use spile_mesh::{Mesh, round_to_f32};

use crate::error::WriteError;
use crate::part_info::{Groups, PartInfo, ascii};
use crate::stl::check_range;

/// A value at each point of a mesh.
#[derive(Debug, Clone, PartialEq)]
pub struct PointValues {
    /// The property's name: letters, digits and `_`.
    pub name: String,
    /// What it is, in words, with its unit.
    pub meaning: String,
    /// One value a point; NaN where there is none.
    pub values: Vec<f32>,
}

/// Writes `mesh` as binary PLY, low byte first, with one property a list of values, and
/// for each triangle the number of its group, `group`.
///
/// Points and triangles stand in the mesh's order; coordinates are rounded to the nearest
/// `f32`. Comments at the top tell the unit, the title, the description, the
/// application, what each property means, and the name of each group.
///
/// # Errors
/// A coordinate that does not fit `f32`, more than 256 groups or 2^31 points, groups or values
/// that do not fit the mesh, a name that is not letters, digits and `_`, begins with a digit or comes twice, or
/// what the writer refuses.
///
/// # Source
/// check-values 3.3.
pub fn write(
    mesh: &Mesh,
    values: &[PointValues],
    groups: &Groups,
    info: &PartInfo,
    mut to: impl Write,
) -> Result<(), WriteError> {
    check_range(mesh)?;
    groups.check(mesh, "PLY")?;
    check(mesh, values, groups)?;
    to.write_all(header(mesh, values, groups, info).as_bytes())?;
    let mut block = Vec::new();
    for (k, &point) in mesh.points().iter().enumerate() {
        let own = values.iter().map(|v| v.values[k]);
        let place = round_to_f32(point).as_vec3().to_array();
        block.extend(place.into_iter().chain(own).flat_map(f32::to_le_bytes));
        hand_on(&mut block, &mut to)?;
    }
    for (t, group) in mesh.triangles().iter().zip(&groups.of) {
        block.push(3);
        block.extend(t.iter().flat_map(|v| v.to_le_bytes()));
        // At most 256 groups: `check` saw to that.
        block.push(*group as u8);
        hand_on(&mut block, &mut to)?;
    }
    to.write_all(&block)?;
    to.flush()?;
    Ok(())
}

/// Bytes are handed on when so many have gathered.
const BLOCK: usize = 1 << 16;

fn hand_on(block: &mut Vec<u8>, to: &mut impl Write) -> Result<(), WriteError> {
    if block.len() >= BLOCK {
        to.write_all(block)?;
        block.clear();
    }
    Ok(())
}

fn header(mesh: &Mesh, values: &[PointValues], groups: &Groups, info: &PartInfo) -> String {
    let mut lines = vec!["ply".to_owned(), "format binary_little_endian 1.0".to_owned()];
    lines.extend(info.lines().iter().map(|line| format!("comment {line}")));
    lines.extend(values.iter().map(|v| format!("comment {}: {}", v.name, ascii(&v.meaning))));
    let named = groups.groups.iter().enumerate();
    lines.extend(named.map(|(k, group)| format!("comment group {k}: {}", group.name)));
    lines.push(format!("element vertex {}", mesh.points().len()));
    let properties = ["x", "y", "z"].into_iter().chain(values.iter().map(|v| v.name.as_str()));
    lines.extend(properties.map(|name| format!("property float {name}")));
    lines.push(format!("element face {}", mesh.triangles().len()));
    // `int`, for many readers know no list of any other type.
    lines.push("property list uchar int vertex_indices".to_owned());
    lines.push("property uchar group".to_owned());
    lines.push("end_header\n".to_owned());
    lines.join("\n")
}

fn check(mesh: &Mesh, values: &[PointValues], groups: &Groups) -> Result<(), WriteError> {
    let unfit = |what: String| Err(WriteError::Unfit { format: "PLY", what });
    if i32::try_from(mesh.points().len()).is_err() || groups.groups.len() > 256 {
        return unfit("more than 2^31 points, or more than 256 groups".to_owned());
    }
    for (k, PointValues { name, values: own, .. }) in values.iter().enumerate() {
        let sound = name.starts_with(|c: char| c.is_ascii_alphabetic())
            && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
        let taken = ["x", "y", "z"].contains(&name.as_str())
            || values[..k].iter().any(|earlier| earlier.name == *name);
        if !sound || taken {
            return unfit(format!("the property name '{name}' is no name, or comes twice"));
        }
        if own.len() != mesh.points().len() {
            return unfit(format!("'{name}' does not have one value a point"));
        }
    }
    Ok(())
}
