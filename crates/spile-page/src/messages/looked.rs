//! What is asked and told while something is moved: sections, lines, reaches.

use serde::{Deserialize, Serialize};
use ts_rs::TS;
use utoipa::ToSchema;

/// The bore where a plane cuts it.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct SectionShown {
    /// Closed loops, the nearest to the asked point first.
    pub loops: Vec<LoopShown>,
}

/// One loop of a section.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct LoopShown {
    /// Its points in order.
    pub points: Vec<[f64; 3]>,
    /// Its area.
    pub area: f64,
    /// Its length round.
    pub perimeter: f64,
    /// 4 pi area / perimeter^2: 1 for a circle.
    pub roundness: f64,
    /// The least and the greatest width: between two parallel lines that touch it.
    pub widths: [f64; 2],
}

/// A plane.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct PlaneAsked {
    /// A point of it.
    pub through: [f64; 3],
    /// Its normal; any length but 0.
    pub facing: [f64; 3],
    /// What it cuts.
    #[serde(default)]
    pub of: Which,
}

/// One of the two surfaces.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, ToSchema, TS)]
#[serde(rename_all = "lowercase")]
pub enum Which {
    /// The scan.
    #[default]
    Scan,
    /// The part.
    Part,
}

/// Where a centreline is to begin.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct LineAsked {
    /// The middle of an open end.
    pub from: [f64; 3],
    /// Off the scan.
    pub facing: [f64; 3],
    /// Diameter of the bore there, roughly.
    pub bore: f64,
}

/// The line along the middle of the scan's bore.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct LineShown {
    /// Its points, the one at the end first.
    pub points: Vec<LinePoint>,
}

/// One place of it.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct LinePoint {
    /// Length along the line, from the end inward.
    pub along: f64,
    /// The place.
    pub at: [f64; 3],
    /// Unit tangent, off the scan.
    pub facing: [f64; 3],
}

/// An end whose reach is to be seen.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct ReachAsked {
    /// A point of the cut's plane; without a direction, near the middle of the rim.
    pub through: [f64; 3],
    /// The plane's normal; none where the end is an open rim.
    #[serde(default)]
    pub facing: Option<[f64; 3]>,
    /// How far.
    pub reach: f64,
}
