//! Writing a part as OBJ with named groups.

use std::io::Write;

use spile_mesh::{Mesh, round_to_f32};

use crate::error::WriteError;
use crate::part_info::{Groups, PartInfo};
use crate::pieces::Pieces;
use crate::stl::check_range;

/// Writes `mesh` as OBJ, its triangles group by group.
///
/// Points stand in the mesh's order, rounded to the nearest `f32` and written with the
/// fewest digits that give it back; triangles of one group keep their order. A group
/// without a triangle is left out. OBJ states no unit: a comment at the top does, with the
/// title, the description and the application.
///
/// # Errors
/// A coordinate that does not fit `f32`, groups that do not fit the mesh, or what the
/// writer refuses.
///
/// # Source
/// check-values 3.4; `g` and `o` as in the format's own appendix.
pub fn write(
    mesh: &Mesh,
    groups: &Groups,
    info: &PartInfo,
    mut to: impl Write,
) -> Result<(), WriteError> {
    check_range(mesh)?;
    groups.check(mesh, "OBJ")?;
    let mut text = Pieces::new(&mut to);
    for line in info.lines() {
        text.push(format_args!("# {line}\n"))?;
    }
    text.push(format_args!("o part\n"))?;
    for &point in mesh.points() {
        let [x, y, z] = round_to_f32(point).as_vec3().to_array();
        text.push(format_args!("v {x} {y} {z}\n"))?;
    }
    for (k, group) in groups.groups.iter().enumerate() {
        for (i, t) in groups.triangles(k).enumerate() {
            if i == 0 {
                text.push(format_args!("g {}\n", group.name))?;
            }
            let [a, b, c] = mesh.triangles()[t].map(|v| u64::from(v) + 1);
            text.push(format_args!("f {a} {b} {c}\n"))?;
        }
    }
    text.finish()
}
