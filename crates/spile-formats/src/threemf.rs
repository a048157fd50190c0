//! 3MF: a ZIP package with an XML model.
//!
//! # Source
//! 3MF core specification 1.4.0 (check-values 3.1).

mod model;
mod package;
mod resources;
mod write;
mod xml;

pub use write::{ThreeMfInfo, write};

use crate::error::Fault;
use crate::{Format, ReadMesh};

/// The namespace of the core specification.
const CORE: &str = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02";
/// The type of the relationship that names the model.
const START_PART: &str = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel";

pub(crate) fn read(bytes: &[u8]) -> Result<ReadMesh, Fault> {
    let package = package::Package::open(bytes)?;
    let part = package.model_part()?;
    let text = package.text_of(&part)?;
    let model = model::read(&text, &part)?;
    let mesh = model.resources.build(&model.items, &part)?;
    Ok(ReadMesh { mesh, unit: Some(model.unit), format: Format::ThreeMf, metadata: model.metadata })
}
