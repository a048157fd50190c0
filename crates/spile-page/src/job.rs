//! What the page asks of the program that it is part of.

use std::path::Path;
use std::sync::Arc;

use spile_case::Case;
use spile_formats::ReadMesh;
use spile_joint::Watch;
use spile_mesh::Mesh;

use crate::messages::{Examined, FittingShown, MendRefused, MendShown, Refusal};

/// A case with the scans that it names.
#[derive(Debug, Clone)]
pub struct Loaded {
    /// The case, its fittings' files read.
    pub case: Case,
    /// Its scans, in its order.
    pub scans: Vec<Mesh>,
}

/// What was found in a scan.
#[derive(Debug, Clone)]
pub struct Looked {
    /// What `spile examine` tells.
    pub examined: Examined,
    /// The starter case that `spile new` prints in the scan's own folder.
    pub starter: String,
    /// For each finding its outlines, as pairs of points.
    pub outlines: Vec<Vec<[f32; 3]>>,
}

/// A mended scan.
#[derive(Debug, Clone)]
pub struct MendedScan {
    /// It, as a binary STL file.
    pub stl: Vec<u8>,
    /// What was done.
    pub mends: Vec<MendShown>,
    /// What could not be done.
    pub refused: Vec<MendRefused>,
}

/// The job, as the commands do it.
pub trait Job: Send + Sync + 'static {
    /// Looks at a scan file as `spile examine` and `spile new` do.
    fn examine(&self, file: &str, bytes: &[u8], read: &ReadMesh) -> Looked;

    /// Mends a scan as `spile examine --mend` does; `unit` is that of the case.
    ///
    /// # Errors
    /// It cannot be written as STL.
    fn mend(&self, scan: &Mesh, unit: &str) -> Result<MendedScan, Refusal>;

    /// The fittings that are known.
    fn fittings(&self) -> Vec<FittingShown>;

    /// Reads a case's text with the reader of the command line. Every file that it names
    /// is first shown to `may_read`, as the case writes it.
    ///
    /// # Errors
    /// Every mistake in the text; or a file that it may not name.
    fn check(
        &self,
        text: &str,
        case: &Path,
        may_read: &dyn Fn(&str) -> Result<(), String>,
    ) -> Result<Case, Refusal>;

    /// A case file with all that it names.
    ///
    /// # Errors
    /// As for a run.
    fn load(&self, case: &Path) -> Result<Loaded, Refusal>;

    /// Makes and proves, as `spile run` does, and gives what then writes all of it to `out`;
    /// `watch` hears each step and may stop it. Nothing is written before.
    ///
    /// # Errors
    /// The input is wrong, a fault of the program, or it was stopped.
    fn run(&self, case: &Path, out: &Path, watch: Arc<dyn Watch + Send>) -> Result<Write, Refusal>;
}

/// Writes what was made: all of its files or, with an error, none.
pub type Write = Box<dyn FnOnce() -> Result<(), Refusal>>;
