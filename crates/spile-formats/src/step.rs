//! STEP files (ISO 10303-21) with one solid in: its exact faces as plain data,
//! or the triangles of a tessellated solid.
//!
//! What is read is what round fittings are made of: planes, cylinders, cones,
//! spheres and tori, bounded by lines and circles. All else that shapes the
//! solid is refused by name, with the instance and its line; nothing is left
//! out without a word. What only dresses the solid (colours, names, layers) is
//! passed over.
//!
//! # Source
//! ISO 10303-21 (exchange structure), ISO 10303-42 (geometry and topology: the
//! meaning of each entity), as the application protocols 203, 214 and 242 use
//! them; written from memory of the standards and checked on files that an open
//! CAD kernel wrote (`tests/scans/step`).

mod brep;
mod entities;
mod part21;
mod tessellated;
mod write;

use spile_mesh::{DVec3, Mesh};

use crate::error::{Fault, Place, ReadError};
use crate::unit::FileUnit;

pub use write::{Revolved, write};

/// What a STEP file held.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadStep {
    /// The unit of all its lengths, by its own context.
    pub unit: FileUnit,
    /// Its solid.
    pub body: StepBody,
}

/// The one solid of a STEP file.
#[derive(Debug, Clone, PartialEq)]
pub enum StepBody {
    /// A solid with exact faces.
    Exact(StepSolid),
    /// A tessellated solid: triangles as the file has them.
    Triangles(Mesh),
}

/// A solid with exact faces, in the file's coordinates and unit.
///
/// Every edge is used twice by the loops of the faces, once each way: the
/// reader sees to that, and that each edge lies on its faces' surfaces.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StepSolid {
    /// Where edges meet.
    pub vertices: Vec<DVec3>,
    /// The edges.
    pub edges: Vec<StepEdge>,
    /// The faces.
    pub faces: Vec<StepFace>,
}

/// An edge between two vertices; of a whole circle both are one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepEdge {
    /// Where it stands in the file.
    pub source: Source,
    /// Numbers of its first and last vertex.
    pub ends: [u32; 2],
    /// What it follows from the first to the last.
    pub curve: StepCurve,
}

/// What an edge follows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum StepCurve {
    /// Straight from end to end.
    Line,
    /// Counter-clockwise about the axis from end to end.
    Circle {
        /// Its centre.
        centre: DVec3,
        /// Unit normal of its plane.
        axis: DVec3,
        /// Its radius.
        radius: f64,
    },
}

/// A face: the piece of a surface within its loops.
#[derive(Debug, Clone, PartialEq)]
pub struct StepFace {
    /// Where it stands in the file.
    pub source: Source,
    /// The surface that it is a piece of.
    pub surface: StepSurface,
    /// Whether the surface's own normal (see [`StepSurface`]) leads off the material.
    pub outward: bool,
    /// Its border: loops of edges, each with whether it is run through from its
    /// first vertex to its last. Seen from off the material, the face lies on
    /// the left of each loop.
    pub loops: Vec<Vec<(u32, bool)>>,
}

/// A surface; its own normal leads off the axis, or the circle or centre in the
/// middle, or along a plane's normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum StepSurface {
    /// All places with `(p - at) . normal = 0`.
    Plane {
        /// A place on it.
        at: DVec3,
        /// Unit normal.
        normal: DVec3,
    },
    /// All places `radius` from the axis.
    Cylinder {
        /// A place on the axis.
        at: DVec3,
        /// Unit direction of the axis.
        axis: DVec3,
        /// Its radius.
        radius: f64,
    },
    /// All places whose distance from the axis is `radius` at `at`, and grows by
    /// the tangent of `half_angle_rad` along the axis.
    Cone {
        /// A place on the axis.
        at: DVec3,
        /// Unit direction of the axis, in which it widens.
        axis: DVec3,
        /// Its radius at that place.
        radius: f64,
        /// Half the angle at its tip, above 0, in radians.
        half_angle_rad: f64,
    },
    /// All places `radius` from the centre.
    Sphere {
        /// The centre.
        centre: DVec3,
        /// Its radius.
        radius: f64,
    },
    /// All places `tube` from the circle of radius `ring` about the axis.
    Torus {
        /// The middle.
        centre: DVec3,
        /// Unit direction of the axis.
        axis: DVec3,
        /// Radius of the circle in the middle of the tube.
        ring: f64,
        /// Radius of the tube, below `ring`.
        tube: f64,
    },
}

/// Where an entity stands in its file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Source {
    /// The number after `#`.
    pub entity: u64,
    /// The line that it begins in, from 1.
    pub line: u64,
}

impl Source {
    pub(crate) fn place(self) -> Place {
        Place::Entity { entity: self.entity, line: self.line }
    }
}

/// Whether a file of this name is taken for a STEP file.
pub fn is_step(name: &str) -> bool {
    let lower = name.to_ascii_lowercase();
    [".step", ".stp", ".p21"].iter().any(|extension| lower.ends_with(extension))
}

/// The solid in the bytes of a STEP file called `name`.
///
/// # Errors
/// The bytes are no STEP file, hold no solid or several, an assembly, or a shape
/// that is not taken; the instance, its line and what to do are named.
pub fn read_step(name: &str, bytes: &[u8]) -> Result<ReadStep, ReadError> {
    read(bytes).map_err(|fault| fault.of_file(name))
}

fn read(bytes: &[u8]) -> Result<ReadStep, Fault> {
    if bytes.is_empty() {
        return Err(Fault::at(Place::Whole, "the file is empty"));
    }
    let file = part21::instances(bytes)?;
    let found = entities::solid_of(&file)?;
    let body = match found.kind {
        entities::Kind::Exact(shell) => {
            StepBody::Exact(brep::solid(&file, shell, found.angle_in_rad)?)
        }
        entities::Kind::Tessellated => {
            StepBody::Triangles(tessellated::triangles(&file, found.number)?)
        }
    };
    Ok(ReadStep { unit: found.unit, body })
}

#[cfg(test)]
mod tests;
