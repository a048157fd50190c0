//! All that the server says and is told, as JSON. The page's own types are written from
//! these (`web/src/api/messages.ts`), so that none is typed twice.
//!
//! Lengths are in the case's unit, areas in its square, angles in degrees.

mod bytes;
mod fittings;
mod looked;
mod mended;

use serde::{Deserialize, Serialize};
use ts_rs::TS;
use utoipa::ToSchema;

pub use bytes::{AnyFile, MapBytes, OutlineBytes, SurfaceBytes, TrianglesBytes};
pub use fittings::{FittingShown, SizeShown};
pub use looked::{
    LineAsked, LinePoint, LineShown, LoopShown, PlaneAsked, ReachAsked, SectionShown, Which,
};
pub use mended::{MendRefused, MendShown, MendedShown};

/// Why something was not done, fit for the screen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema, TS)]
pub struct Refusal {
    /// What is wrong, in lower case, without full stop.
    pub message: String,
    /// What to do next.
    pub hints: Vec<String>,
    /// Mistakes in the case's text, if it is that.
    pub places: Vec<Mistake>,
}

impl Refusal {
    /// A refusal without hints.
    pub fn new(message: impl Into<String>) -> Self {
        Self { message: message.into(), hints: Vec::new(), places: Vec::new() }
    }

    /// The same with one hint more.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hints.push(hint.into());
        self
    }
}

/// What is answered with status 422: nothing was done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema, TS)]
pub struct ErrorDocument {
    /// Why.
    pub error: Refusal,
}

/// One mistake in a case's text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema, TS)]
pub struct Mistake {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is wrong.
    pub message: String,
    /// What to do next.
    pub hints: Vec<String>,
}

/// What a scan shows.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, TS)]
pub struct Examined {
    /// SHA-256 of the file.
    pub sha256: String,
    /// How many triangles it holds.
    pub triangles: usize,
    /// How many points.
    pub vertices: usize,
    /// The unit that it states, or that its size suggests.
    pub unit_guess: String,
    /// The unit that it states.
    pub unit_stated: Option<String>,
    /// The box's sides.
    pub size: [f64; 3],
    /// Pieces that hang together.
    pub shells: usize,
    /// Whether it has no open edge.
    pub closed: bool,
    /// Defects, worst effect first.
    pub findings: Vec<FindingShown>,
    /// Open ends, the largest first.
    pub ends: Vec<FoundEndShown>,
}

/// Defects of one kind and effect.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, TS)]
pub struct FindingShown {
    /// What is wrong.
    pub kind: String,
    /// What it does to the job.
    pub effect: String,
    /// The place of the largest.
    #[serde(rename = "where")]
    pub where_: [f64; 3],
    /// How many there are.
    pub count: usize,
    /// How far the largest reaches across.
    pub size: f64,
}

/// An open end that was found.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, TS)]
pub struct FoundEndShown {
    /// Its middle.
    pub centre: [f64; 3],
    /// Off the scan.
    pub direction: [f64; 3],
    /// Diameter of the bore's rim.
    pub bore: f64,
    /// Diameter of the outside's, where there is one.
    pub outside: Option<f64>,
}

/// All that the page shows.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct State {
    /// Rises with every change.
    #[ts(type = "number")]
    pub version: u64,
    /// The name of the folder that is worked in.
    pub folder: String,
    /// Scans and cases in it.
    pub files: Vec<String>,
    /// The scan in hand.
    pub scan: Option<ScanShown>,
    /// The case in hand.
    pub case: Option<CaseShown>,
    /// What the making is at.
    pub run: RunShown,
    /// What the last making left.
    pub result: Option<ResultShown>,
    /// What the one before it in this session left, to stand beside it.
    pub before: Option<ResultShown>,
}

/// A scan as far as it was looked at.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct ScanShown {
    /// Which reading it is: another number is another surface.
    #[ts(type = "number")]
    pub number: u64,
    /// Its file; of two, the inner wall's.
    pub file: String,
    /// Whether its surface can be fetched.
    pub has_surface: bool,
    /// What was found; none while it is looked at.
    pub examined: Option<Examined>,
    /// Why it cannot be looked at.
    pub refused: Option<Refusal>,
    /// What was done to make it, if it is another scan mended.
    pub mended: Option<MendedShown>,
}

/// The case in hand.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct CaseShown {
    /// Its file.
    pub file: String,
    /// Whether the file holds this very text.
    pub is_saved: bool,
    /// The text.
    pub text: String,
    /// What the text says, as plain values; nothing where it is no TOML.
    #[ts(type = "unknown")]
    pub values: serde_json::Value,
    /// Why it cannot be run, if it cannot.
    pub refused: Option<Refusal>,
    /// What undoing takes back, in a few words.
    pub undo: Option<String>,
    /// What redoing brings again.
    pub redo: Option<String>,
}

/// One change of the case's values.
#[derive(Debug, Clone, Deserialize, ToSchema, TS)]
pub struct Edit {
    /// The keys that lead to the value, lists by number from 0.
    pub path: Vec<Step>,
    /// The new value; none takes the key out.
    #[ts(type = "unknown")]
    #[serde(default)]
    pub value: serde_json::Value,
}

/// One step of a way to a value.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, ToSchema, TS)]
#[serde(untagged)]
pub enum Step {
    /// A place in a list.
    Place(usize),
    /// A key.
    Key(String),
}

/// Changes that are done and undone together.
#[derive(Debug, Clone, Deserialize, ToSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct Edits {
    /// What they are, in a few words.
    pub what: String,
    /// The changes, in order.
    pub edits: Vec<Edit>,
}

/// A new text of the case.
#[derive(Debug, Clone, Deserialize, ToSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct NewText {
    /// The whole text.
    pub text: String,
}

/// A file in the folder.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct Named {
    /// Its name.
    pub file: String,
}

/// What the making is at.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
#[serde(tag = "is", rename_all = "lowercase")]
pub enum RunShown {
    /// Nothing was asked for yet.
    Idle,
    /// Going on.
    Running {
        /// Steps begun so far, in order.
        steps: Vec<StepShown>,
        /// Seconds since it began.
        seconds: f64,
    },
    /// It came to its end.
    Done {
        /// Seconds that it took.
        seconds: f64,
    },
    /// It was stopped; the earlier result stands.
    Stopped,
    /// It could not be done; the earlier result stands.
    Failed {
        /// Why.
        refused: Refusal,
    },
}

/// One step of a making.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, TS)]
pub struct StepShown {
    /// Its name.
    pub step: String,
    /// The end that it is about.
    pub end: Option<String>,
    /// Seconds after the beginning.
    pub at_seconds: f64,
}

/// What a making left.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct ResultShown {
    /// Its folder.
    pub folder: String,
    /// Rises with every result that is read.
    #[ts(type = "number")]
    pub number: u64,
    /// Whether it was made of the case's text as it stands; none where that is not known.
    pub is_of_this_text: Option<bool>,
    /// `held` or `broken`.
    pub verdict: String,
    /// The unit of its lengths.
    pub unit: String,
    /// Limit by limit.
    pub limits: Vec<LimitShown>,
    /// Limits that do not hold together.
    pub conflicts: Vec<ConflictShown>,
    /// Choices that were made.
    pub notes: Vec<String>,
    /// The bore at each end.
    pub ends: Vec<EndLine>,
    /// The part; none where none closes.
    pub part: Option<PartShown>,
    /// Whether its surface can be fetched.
    pub has_surface: bool,
    /// Whether its maps can be fetched.
    pub has_maps: bool,
    /// Its files.
    pub files: Vec<FileShown>,
    /// What the proof is not about.
    pub caution: String,
}

/// One limit as it was judged.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct LimitShown {
    /// Its name.
    pub name: String,
    /// The end.
    pub end: Option<String>,
    /// What was asked.
    pub asked: Option<f64>,
    /// What was measured.
    pub measured: Option<f64>,
    /// The guaranteed bounds.
    pub bounds: Option<[f64; 2]>,
    /// The worst place.
    #[serde(rename = "where")]
    pub where_: Option<[f64; 3]>,
    /// `held`, `broken`, `not judged` or `not asked`.
    pub verdict: String,
    /// How it was measured.
    pub how: String,
}

/// Limits that do not hold together.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct ConflictShown {
    /// Their names.
    pub limits: Vec<String>,
    /// The end.
    pub end: Option<String>,
    /// The place.
    #[serde(rename = "where")]
    pub where_: Option<[f64; 3]>,
    /// What would hold; each is enough by itself.
    pub would_hold: Vec<WantedShown>,
    /// Whether no part at all can hold them together.
    pub certain: bool,
}

/// A change of the case that would hold.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct WantedShown {
    /// The key in the case file.
    pub key: String,
    /// The value: a number or a point.
    #[ts(type = "number | [number, number, number]")]
    pub value: serde_json::Value,
    /// How that is known.
    pub known_by: String,
}

/// The bore along one end's centreline.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct EndLine {
    /// The end.
    pub name: String,
    /// Its stations, from the scan toward the fitting.
    pub stations: Vec<StationShown>,
}

/// One section of the bore.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct StationShown {
    /// Length along the line from the seam, positive toward the fitting.
    pub s: f64,
    /// Its middle.
    pub at: [f64; 3],
    /// Unit normal of its plane.
    pub normal: [f64; 3],
    /// Bore area of the scan.
    pub area_scan: Option<f64>,
    /// Bore area of the part.
    pub area_part: Option<f64>,
    /// Diameter of the largest circle inside the part's bore.
    pub inscribed_diameter: Option<f64>,
}

/// The part as a whole.
#[derive(Debug, Clone, Serialize, ToSchema, TS)]
pub struct PartShown {
    /// Its STL file in the result's folder.
    pub file: String,
    /// How many triangles it holds.
    pub triangles: usize,
    /// Its volume.
    pub volume: f64,
    /// Scan triangles that are in it bit for bit.
    pub triangles_kept: usize,
    /// Scan triangles that others stand in for.
    pub triangles_replaced: usize,
}

/// A file to download.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema, TS)]
pub struct FileShown {
    /// Its path in the result's folder.
    pub name: String,
    /// Its size in bytes.
    #[ts(type = "number")]
    pub bytes: u64,
}

/// The file of a painted keep.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema, TS)]
pub struct KeepFile {
    /// SHA-256 of the scan file that was painted, lower-case hexadecimal.
    pub scan_sha256: String,
    /// Its triangles, in the scan's file order from 0.
    pub triangles: Vec<u32>,
}

/// Triangles of the scan that were painted as a keep.
#[derive(Debug, Clone, Deserialize, ToSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct Painted {
    /// The number of the keep that they replace, from 0; one more where it is left out.
    #[serde(default)]
    pub keep: Option<usize>,
    /// The triangles as the scan counts them, from 0. Without any the keep is taken out.
    pub triangles: Vec<u32>,
}
