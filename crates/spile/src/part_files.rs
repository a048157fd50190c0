//! The part as files.

use std::io::Cursor;

use spile_case::Unit;
use spile_formats::FileUnit;
use spile_formats::threemf::{self, ThreeMfInfo};
use spile_mesh::Mesh;

use crate::failure::Failure;

/// `part` in binary STL.
pub(crate) fn stl_bytes(part: &Mesh, unit: Unit) -> Result<Vec<u8>, Failure> {
    let mut stl = Vec::new();
    spile_formats::stl::write(part, file_unit(unit), &mut stl).map_err(refused)?;
    Ok(stl)
}

/// `part` in 3MF. `title` and `what` say what it is to those who see only the file.
pub(crate) fn threemf_bytes(
    part: &Mesh,
    unit: Unit,
    title: &str,
    what: &str,
    more: Vec<(String, String)>,
) -> Result<Vec<u8>, Failure> {
    let info = ThreeMfInfo {
        unit: file_unit(unit),
        title: title.to_owned(),
        description: what.to_owned(),
        application: concat!("spile ", env!("CARGO_PKG_VERSION")).to_owned(),
        more,
    };
    let mut bytes = Cursor::new(Vec::new());
    threemf::write(part, &info, &mut bytes).map_err(refused)?;
    Ok(bytes.into_inner())
}

/// The case's unit as files state it.
pub(crate) fn file_unit(unit: Unit) -> FileUnit {
    match unit {
        Unit::Millimetre => FileUnit::Millimetre,
        Unit::Centimetre => FileUnit::Centimetre,
        Unit::Metre => FileUnit::Metre,
        Unit::Inch => FileUnit::Inch,
    }
}

fn refused(error: spile_formats::WriteError) -> Failure {
    Failure::internal(format!("the part cannot be written: {error}"))
}
