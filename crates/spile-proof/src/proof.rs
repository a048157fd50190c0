//! The proof: what is asked, what was measured, and the verdict.

use serde::{Deserialize, Serialize};
use spile_mesh::DVec3;

/// Whether a limit is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Verdict {
    /// The bound on the limit's bad side holds it.
    #[serde(rename = "held")]
    Held,
    /// It is broken, or its bounds straddle it.
    #[serde(rename = "broken")]
    Broken,
    /// It is asked and could not be judged.
    #[serde(rename = "not judged")]
    NotJudged,
    /// It is not asked; the measure is for information.
    #[serde(rename = "not asked")]
    NotAsked,
}

impl Verdict {
    /// The word for it, as files and people have it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Held => "held",
            Self::Broken => "broken",
            Self::NotJudged => "not judged",
            Self::NotAsked => "not asked",
        }
    }
}

/// One limit, at one end or over the whole part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LimitResult {
    /// The limit's name in the case file, or `closed`, `untouched`, `fitting`, `mends`.
    pub name: String,
    /// The end's name; none where the limit is judged over the whole part.
    pub end: Option<String>,
    /// What is asked, in the limit's own unit.
    pub asked: Option<f64>,
    /// What was measured: the bound on the limit's bad side, unless `how` says otherwise.
    pub measured: Option<f64>,
    /// Certified lower and upper bound of the measure.
    pub bounds: Option<[f64; 2]>,
    /// Where the measure is attained.
    #[serde(rename = "where")]
    pub where_: Option<[f64; 3]>,
    /// The verdict.
    pub verdict: Verdict,
    /// How it was measured, or why it could not be; a sentence for a person.
    pub how: String,
}

/// A value of the case file.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum WantedValue {
    /// A number: a length, a share, or an angle in degrees, as its key has it.
    Number(f64),
    /// A point.
    Point([f64; 3]),
}

/// How it is known that a value would hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum KnownBy {
    /// From the fitting and the limits named alone; other limits were not asked.
    #[serde(rename = "computed")]
    Computed,
    /// This very part, judged again with the value in place of what was asked,
    /// holds all limits.
    #[serde(rename = "judged again")]
    JudgedAgain,
    /// A part made with the value, and judged, holds all limits.
    #[serde(rename = "made again")]
    MadeAgain,
}

/// A change of the case that would let limits hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Wanted {
    /// The key in the case file.
    pub key: String,
    /// The value that would do.
    pub value: WantedValue,
    /// How that is known.
    pub known_by: KnownBy,
}

/// Limits that do not hold together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Conflict {
    /// The limits, by their names in the case file; what is broken comes first.
    pub limits: Vec<String>,
    /// The end where they meet.
    pub end: Option<String>,
    /// The place.
    #[serde(rename = "where")]
    pub where_: Option<[f64; 3]>,
    /// What would hold; each line is enough by itself.
    pub would_hold: Vec<Wanted>,
    /// Whether no part at all can hold them together. If not, this part does
    /// not, and another might.
    pub certain: bool,
}

/// One listed mend.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MendRecord {
    /// The defect.
    pub kind: String,
    /// Centre of the ball outside which nothing moved.
    #[serde(rename = "where")]
    pub where_: [f64; 3],
    /// Diameter of the ball.
    pub size: f64,
}

/// Figures of the part as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PartFigures {
    /// Number of triangles.
    pub triangles: usize,
    /// Number of points.
    pub vertices: usize,
    /// Surface area.
    pub area: f64,
    /// Enclosed volume.
    pub volume: f64,
    /// Edge-connected pieces of surface.
    pub shells: usize,
    /// Edges with one triangle only.
    pub boundary_edges: usize,
    /// Pairs of triangles that meet where they must not.
    pub self_intersections: usize,
}

/// What became of the scan.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Changed {
    /// Scan triangles that are in the part, bit for bit.
    pub triangles_kept: usize,
    /// Scan triangles that others stand in for.
    pub triangles_replaced: usize,
    /// Area of the scan that was replaced.
    pub area_replaced: f64,
    /// Area of the scan beyond the cuts and trimmed off the rims.
    pub area_given_up: f64,
}

/// One perpendicular section of scan and part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Station {
    /// Arc length from the end's seam; positive toward the fitting.
    pub s: f64,
    /// Centre of the section.
    pub at: [f64; 3],
    /// Unit normal of the section's plane.
    pub normal: [f64; 3],
    /// Bore area of the scan; none beyond the scan.
    pub area_scan: Option<f64>,
    /// Bore area of the part.
    pub area_part: Option<f64>,
    /// Four times area over perimeter, of the part.
    pub hydraulic_diameter: Option<f64>,
    /// Diameter of the largest circle inside the part's section.
    pub inscribed_diameter: Option<f64>,
}

/// The stations of one end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EndStations {
    /// The end's name.
    pub name: String,
    /// Its stations, in order of `s`.
    pub stations: Vec<Station>,
}

/// All that was judged: the body of `proof.json` that comes from geometry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Proof {
    /// `Held` or `Broken`.
    pub verdict: Verdict,
    /// Limit by limit.
    pub limits: Vec<LimitResult>,
    /// Limits that cannot hold together.
    pub conflicts: Vec<Conflict>,
    /// The mends that the settled case lists.
    pub mends: Vec<MendRecord>,
    /// The part's figures.
    pub part: PartFigures,
    /// What became of the scan.
    pub changed: Changed,
    /// The stations of each end with a fitting.
    pub ends: Vec<EndStations>,
}

/// Why nothing was judged: the inputs do not belong together, or it was stopped. A part
/// that is merely bad is no error; its proof says `broken`.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ProofError {
    /// The number of scan files does not fit the form.
    #[error("the case's form needs {needed} scan file(s), but {given} were given")]
    ScanFiles {
        /// How many the form needs.
        needed: usize,
        /// How many came.
        given: usize,
    },
    /// Part or scan has no triangle.
    #[error("the {what} has no triangle")]
    Empty {
        /// `scan` or `part`.
        what: &'static str,
    },
    /// An automatic value is not written out.
    #[error(
        "end {end}: the case is not settled, {missing} is missing; `run` writes a settled case beside the part"
    )]
    NotSettled {
        /// The end's name.
        end: String,
        /// The key.
        missing: &'static str,
    },
    /// Nobody wants the proof any more; see [`Claim::until`](crate::Claim::until).
    #[error("stopped on request")]
    Stopped,
}

impl LimitResult {
    /// A result without figures: `name` at `end` could not be judged, or is
    /// judged by a yes or no alone.
    pub fn plain(name: &str, end: Option<&str>, verdict: Verdict, how: impl Into<String>) -> Self {
        Self {
            name: name.to_owned(),
            end: end.map(str::to_owned),
            asked: None,
            measured: None,
            bounds: None,
            where_: None,
            verdict,
            how: how.into(),
        }
    }

    /// Judges a measure that must be no more than `asked`: held only if the
    /// upper bound is. Without `asked` the verdict is `NotAsked`.
    pub fn at_most(
        name: &str,
        end: Option<&str>,
        asked: Option<f64>,
        bounds: [f64; 2],
        at: DVec3,
        how: impl Into<String>,
    ) -> Self {
        let held = asked.is_some_and(|a| bounds[1] <= a);
        Self::measured(name, end, asked, bounds, bounds[1], at, held, how.into())
    }

    /// Judges a measure that must be no less than `asked`: held only if the
    /// lower bound is. Without `asked` the verdict is `NotAsked`.
    pub fn at_least(
        name: &str,
        end: Option<&str>,
        asked: Option<f64>,
        bounds: [f64; 2],
        at: DVec3,
        how: impl Into<String>,
    ) -> Self {
        let held = asked.is_some_and(|a| bounds[0] >= a);
        Self::measured(name, end, asked, bounds, bounds[0], at, held, how.into())
    }

    fn measured(
        name: &str,
        end: Option<&str>,
        asked: Option<f64>,
        bounds: [f64; 2],
        measured: f64,
        at: DVec3,
        held: bool,
        how: String,
    ) -> Self {
        let verdict = match (asked, held) {
            (None, _) => Verdict::NotAsked,
            (Some(_), true) => Verdict::Held,
            (Some(_), false) => Verdict::Broken,
        };
        let mut how = how;
        if let Some(a) = asked
            && bounds[0] < a
            && a < bounds[1]
        {
            how.push_str("; the bounds straddle the limit, so it is not held");
        }
        Self {
            asked,
            measured: Some(measured),
            bounds: Some(bounds),
            where_: Some(at.to_array()),
            ..Self::plain(name, end, verdict, how)
        }
    }
}
