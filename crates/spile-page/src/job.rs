//! What the page asks of the program that it is part of.

use std::path::Path;
use std::sync::Arc;

use spile_case::Case;
use spile_formats::ReadMesh;
use spile_joint::Watch;
use spile_mesh::Mesh;

use crate::messages::{Examined, Refusal};

/// A case with the scans that it names.
#[derive(Debug, Clone)]
pub struct Loaded {
    /// The case, its fittings' files read.
    pub case: Case,
    /// Its scans, in its order.
    pub scans: Vec<Mesh>,
}

/// The job, as the commands do it.
pub trait Job: Send + Sync + 'static {
    /// Looks at a scan file as `spile examine` does, and writes the starter case for it
    /// that `spile new` prints in the scan's own folder.
    fn examine(&self, file: &str, bytes: &[u8], read: &ReadMesh) -> (Examined, String);

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

    /// Makes, proves and writes to `out`, as `spile run` does; `watch` hears each step
    /// and may stop it.
    ///
    /// # Errors
    /// The input is wrong, a fault of the program, or it was stopped: nothing was written.
    fn run(&self, case: &Path, out: &Path, watch: Arc<dyn Watch + Send>) -> Result<(), Refusal>;
}
