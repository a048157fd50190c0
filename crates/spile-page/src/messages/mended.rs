//! What mending a scan did and left.

use serde::Serialize;
use ts_rs::TS;
use utoipa::ToSchema;

/// What mending a scan did.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, TS)]
pub struct MendedShown {
    /// The scan that was mended.
    pub of: String,
    /// What was done, in order.
    pub mends: Vec<MendShown>,
    /// What could not be done, and why.
    pub refused: Vec<MendRefused>,
}

/// One mend.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, TS)]
pub struct MendShown {
    /// What was mended.
    pub kind: String,
    /// The middle of the ball outside which nothing moved.
    #[serde(rename = "where")]
    pub where_: [f64; 3],
    /// The ball's diameter.
    pub size: f64,
    /// How far the surface changed there at most, certified.
    pub change: f64,
}

/// A defect that was not mended.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, TS)]
pub struct MendRefused {
    /// What it is.
    pub kind: String,
    /// Where.
    #[serde(rename = "where")]
    pub where_: [f64; 3],
    /// Why.
    pub why: String,
}
