//! The fittings that are known.

use serde::Serialize;
use ts_rs::TS;
use utoipa::ToSchema;

/// A kind of fitting that is known.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, TS)]
pub struct FittingShown {
    /// As the case has it.
    pub kind: String,
    /// What it is.
    pub shape: String,
    /// Standard sizes, if it has any.
    pub sizes: Vec<SizeShown>,
    /// Where its dimensions come from.
    pub source: String,
    /// What they may be taken for.
    pub standing: String,
}

/// A standard size of a cone or socket. Lengths in millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, TS)]
pub struct SizeShown {
    /// As the case has it.
    pub size: String,
    /// Diameter in the basic plane.
    pub basic_diameter_mm: f64,
    /// Length of its taper.
    pub taper_length_mm: f64,
    /// Where its dimensions come from.
    pub source: String,
    /// What they may be taken for.
    pub standing: String,
}
