//! Mesh files in and out: STL, PLY, OBJ and 3MF; GLB out; solids of STEP files in and out; drawings
//! (SVG, DXF) and tables (CSV) out.
//!
//! Reading never guesses in silence: a file either gives exactly the triangles
//! that it states, in file order, or an error that names the line, byte or
//! triangle. Points are shared where their coordinates are equal bit for bit
//! (STL, which has no indices) or where the file says so (all others).
//!
//! Lengths are the file's own; nothing is scaled, but that GLB is in metres.

pub mod csv;
mod drawing;
pub mod dxf;
mod error;
mod gather;
pub mod glb;
mod numbers;
pub mod obj;
mod part_info;
mod pieces;
pub mod ply;
mod polygon;
pub mod step;
pub mod stl;
pub mod svg;
pub mod threemf;
mod unit;
mod weld;

use std::path::Path;

pub use drawing::{Drawing, Layer, LineColour, Shape};
pub use error::{Place, ReadError, WriteError};
pub use part_info::{Group, Groups, PartInfo};
use spile_mesh::Mesh;
pub use unit::FileUnit;

use error::Fault;

/// The kinds of file that can be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Format {
    /// STL in binary form.
    StlBinary,
    /// STL in text form.
    StlText,
    /// PLY as text.
    PlyText,
    /// PLY, binary, low byte first.
    PlyLittleEndian,
    /// PLY, binary, high byte first.
    PlyBigEndian,
    /// OBJ.
    Obj,
    /// 3MF.
    ThreeMf,
}

/// What a mesh file held.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadMesh {
    /// The triangles in file order over points in order of first appearance.
    pub mesh: Mesh,
    /// The unit the file states; most formats state none.
    pub unit: Option<FileUnit>,
    /// How the file was written.
    pub format: Format,
    /// Names and values that the file carries beside the mesh, in file order.
    pub metadata: Vec<(String, String)>,
}

/// What this crate reads, for messages.
const SUPPORTED: &str = "STL (.stl), PLY (.ply), OBJ (.obj) and 3MF (.3mf)";

/// The mesh in the file at `path`; its extension names the format.
///
/// # Errors
/// The file cannot be opened, its format is none of the supported ones, or it
/// is malformed: then the place is named. A file without a triangle is an error.
pub fn read(path: &Path) -> Result<ReadMesh, ReadError> {
    let name = path.display().to_string();
    // The extension is looked at first: a volume of gigabytes is refused unread.
    reader_of(&name).map_err(|fault| fault.of_file(&name))?;
    let bytes = std::fs::read(path)
        .map_err(|source| ReadError::Unreadable { file: name.clone(), source })?;
    read_bytes(&name, &bytes)
}

/// The mesh in `bytes`, as if they stood in a file called `name`, whose
/// extension names the format.
///
/// # Errors
/// As [`read`].
pub fn read_bytes(name: &str, bytes: &[u8]) -> Result<ReadMesh, ReadError> {
    let run = || {
        let reader = reader_of(name)?;
        if bytes.is_empty() {
            return Err(Fault::at(Place::Whole, "the file is empty"));
        }
        let read = reader(bytes)?;
        if read.mesh.triangles().is_empty() {
            return Err(Fault::at(Place::Whole, "the file holds no triangle"));
        }
        Ok(read)
    };
    run().map_err(|fault: Fault| fault.of_file(name))
}

type Reader = fn(&[u8]) -> Result<ReadMesh, Fault>;

fn reader_of(name: &str) -> Result<Reader, Fault> {
    let lower = name.to_ascii_lowercase();
    let file = lower.rsplit(['/', '\\']).next().unwrap_or(&lower);
    let extension = match file.rsplit_once('.') {
        Some((_, "gz")) if file.ends_with(".nii.gz") => "nii.gz",
        Some((_, extension)) => extension,
        None => "",
    };
    match extension {
        "stl" => Ok(stl::read),
        "ply" => Ok(ply::read),
        "obj" => Ok(obj::read),
        "3mf" => Ok(threemf::read),
        "" => Err(Fault::unsupported("a file name without extension")),
        "nii" | "nii.gz" => Err(Fault::unsupported("a volume, not a surface (.nii)")),
        other => Err(Fault::unsupported(format!("a .{other} file"))),
    }
}
