//! The case: what the engineer asks for. Plain data that both the making and
//! the proving side read; no geometry is computed here and no file is opened.
//!
//! [`read_case`] reads a case from TOML and finds every mistake in it, each
//! with its place in the text; [`write_case`] writes one that reads back equal.
//! Lengths are in the case's unit, which is also the scan's; nothing is scaled.

mod direction;
mod error;
mod fitting;
mod guidance;
mod names;
mod output;
mod read;
mod read_align;
mod read_end;
mod read_fitting;
mod read_guidance;
mod read_keep;
mod read_output;
mod read_site;
mod reader;
mod types;
mod write;

pub use direction::unit_direction;
pub use error::CaseError;
pub use fitting::{
    Cone, ConeDimensions, ConeSize, ExactFaces, Fitting, Flange, Gender, MeshFitting, Solid,
    SolidKind,
};
pub use guidance::{Clear, EndLimits, JointGuide, JointShape, Pin, WallShare};
pub use output::{FileKind, Flow, Output};
pub use read::{Painted, read_case, read_case_with};
pub use types::{
    Align, Ball, Case, Cut, End, Form, Inherit, Keep, Limits, Mend, MendKind, Motion, Onward,
    Outliers, Place, Rim, Scan, Seam, Site, Station, StationCut, Tilt, Unit, Vec3, Wall, WallAt,
};
pub use write::write_case;
