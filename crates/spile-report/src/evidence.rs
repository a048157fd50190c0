//! What a report is made from: the proof, what it is about, and the surfaces.

use spile_case::Case;
use spile_mesh::{Mesh, StopAsked};
use spile_proof::measures::Measures;
use spile_proof::{
    Changed, Conflict, EndStations, LimitResult, MendRecord, PartFigures, PartLabels, Verdict,
};

/// A file with its hash.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileRecord {
    /// Its name in the output folder, with forward slashes.
    pub file: String,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
    /// How many triangles it holds, where that is told.
    pub triangles: Option<usize>,
}

/// All that a report tells. Nothing of clock, host or place comes in.
#[derive(Clone, Copy)]
pub struct Evidence<'a> {
    /// The case's name.
    pub name: &'a str,
    /// Version of the program.
    pub version: &'a str,
    /// The unit of all lengths.
    pub unit: &'a str,
    /// The case that the part was judged by.
    pub settled: &'a Case,
    /// Its file's text.
    pub settled_text: &'a str,
    /// The files that came in.
    pub inputs: &'a [FileRecord],
    /// The files that were made or judged.
    pub outputs: &'a [FileRecord],
    /// The verdict on the whole.
    pub verdict: Verdict,
    /// Limit by limit.
    pub limits: &'a [LimitResult],
    /// Limits that do not hold together.
    pub conflicts: &'a [Conflict],
    /// The mends.
    pub mends: &'a [MendRecord],
    /// The part's figures and what became of the scan; none where no part closes.
    pub part: Option<(PartFigures, Changed)>,
    /// What the part is like beside what is judged of it; none where no part closes.
    pub measures: Option<&'a Measures>,
    /// What each triangle of part and scan is; none where no part closes.
    pub labels: Option<&'a PartLabels>,
    /// Stations along the bore, end by end.
    pub ends: &'a [EndStations],
    /// Choices that were made, and conflicts in words.
    pub notes: &'a [String],
    /// What a proof is not about.
    pub caution: &'a str,
    /// The scan files' meshes.
    pub scans: &'a [Mesh],
    /// The part as its file reads; none where no part closes.
    pub mesh: Option<&'a Mesh>,
    /// Asked at each picture whether to stop: pictures are then left out, and nothing is to
    /// be handed over.
    pub stop: StopAsked<'a>,
}
