//! What must be so before a part can be made.

use spile_case::{End, Place};
use spile_mesh::{Mesh, Topology};

use super::MakeError;

/// What is `auto` is found by making part after part; here it must be found.
pub(super) fn is_found(end: &End) -> Result<(), MakeError> {
    let key = match end.place {
        Some(Place::Auto) => "place",
        _ if end.reach_is_auto => "reach",
        _ => return Ok(()),
    };
    Err(MakeError::End {
        end: end.name.clone(),
        what: format!("`{key}` is `auto`, and a part can be made with a value only"),
        hints: vec!["take the value that `run` finds and writes into the settled case".into()],
    })
}

/// A cavity is closed: an open rim would be left in its wall.
pub(super) fn is_closed(meshes: &[Mesh]) -> Result<(), MakeError> {
    for mesh in meshes {
        let topology = Topology::of(mesh);
        let Some(&h) = topology.boundary().first() else { continue };
        let [a, b] = spile_mesh::topology::ends(mesh, h).map(|v| mesh.points()[v as usize]);
        let at = a.midpoint(b);
        return Err(MakeError::Scan {
            what: format!(
                "form `cavity` is the hollow as a closed surface, and the scan is open at \
                 ({:.2}, {:.2}, {:.2})",
                at.x, at.y, at.z
            ),
            hints: vec![
                "use form `bore` if the rim is an end, or raise `hole_max` if it is a hole".into(),
            ],
        });
    }
    Ok(())
}
