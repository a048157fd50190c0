//! The way from a scan to a part: runs the steps in order.

use spile_case::Case;
use spile_mesh::{DVec3, Mesh};

/// Told what is going on while a part is made.
pub trait Watch: Sync {
    /// A step begins; `end` names the end it is about, if it is about one.
    fn step(&self, step: &'static str, end: Option<&str>);
    /// Whether to stop as soon as possible.
    fn cancelled(&self) -> bool {
        false
    }
}

/// A watcher that does not care.
pub struct Unwatched;

impl Watch for Unwatched {
    fn step(&self, _: &'static str, _: Option<&str>) {}
}

/// Limits that cannot hold together.
#[derive(Debug, Clone, PartialEq)]
pub struct Conflict {
    /// The limits, by their names in the case file.
    pub limits: Vec<String>,
    /// The end where it shows.
    pub end: Option<String>,
    /// The place where it shows.
    pub at: Option<DVec3>,
    /// Values that would go together: key of the case file and value.
    pub would_hold: Vec<(String, f64)>,
    /// The whole in one sentence.
    pub sentence: String,
}

/// What came of making a part.
#[derive(Debug, Clone)]
pub struct Made {
    /// The part, closed, its coordinates `f32` values; none if it does not close.
    pub part: Option<Mesh>,
    /// The case with every automatic value written out.
    pub settled: Case,
    /// Limits found to contradict each other.
    pub conflicts: Vec<Conflict>,
    /// What the engineer should know of choices that were made.
    pub notes: Vec<String>,
}

/// Why no part can be made of this scan and case.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MakeError {
    /// Something in the case does not fit the scan.
    #[error("end `{end}`: {what}")]
    End {
        /// The end's name.
        end: String,
        /// What is wrong and where.
        what: String,
        /// What to do next.
        hints: Vec<String>,
    },
    /// Something in the scan stands in the way.
    #[error("{what}")]
    Scan {
        /// What is wrong and where.
        what: String,
        /// What to do next.
        hints: Vec<String>,
    },
    /// The watcher asked to stop.
    #[error("stopped on request")]
    Cancelled,
}

impl MakeError {
    /// What to do next, one sentence each.
    pub fn hints(&self) -> Vec<String> {
        match self {
            Self::End { hints, .. } | Self::Scan { hints, .. } => hints.clone(),
            Self::Cancelled => Vec::new(),
        }
    }
}

/// Makes the part that `case` asks for.
///
/// # Errors
/// See [`MakeError`]: the case does not fit the scan, or the scan has a fault
/// that keeps the part from closing.
pub fn make(case: &Case, scans: &[Mesh], watch: &dyn Watch) -> Result<Made, MakeError> {
    let _ = (case, scans, watch);
    Err(MakeError::Scan { what: "making is not in this version".into(), hints: Vec::new() })
}
