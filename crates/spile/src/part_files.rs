//! The part as files.

use std::io::Cursor;

use spile_case::Unit;
use spile_formats::threemf::{self, ThreeMfInfo};
use spile_formats::{FileUnit, PartInfo};
use spile_mesh::Mesh;

use crate::failure::Failure;
use crate::files::refused;

/// `part` in binary STL.
pub(crate) fn stl_bytes(part: &Mesh, unit: Unit) -> Result<Vec<u8>, Failure> {
    let mut stl = Vec::new();
    spile_formats::stl::write(part, file_unit(unit), &mut stl).map_err(refused)?;
    Ok(stl)
}

/// `part` in 3MF.
pub(crate) fn threemf_bytes(part: &Mesh, info: &ThreeMfInfo) -> Result<Vec<u8>, Failure> {
    let mut bytes = Cursor::new(Vec::new());
    threemf::write(part, info, &mut bytes).map_err(refused)?;
    Ok(bytes.into_inner())
}

/// What files say of a part to those who see nothing else.
pub(crate) fn part_info(unit: Unit, title: &str, what: &str) -> PartInfo {
    PartInfo {
        unit: file_unit(unit),
        title: title.to_owned(),
        description: what.to_owned(),
        application: concat!("spile ", env!("CARGO_PKG_VERSION")).to_owned(),
    }
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
