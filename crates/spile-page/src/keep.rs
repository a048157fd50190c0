//! Painted keeps: triangles of the scan, in files beside the case.
//!
//! Each is written once, under a name of its content, and never changed, so undoing is
//! a matter of the case's text alone. What neither the text in hand nor the saved case
//! names is taken away again; only files that this session wrote are.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde_json::json;
use sha2::{Digest as _, Sha256};

use crate::edit;
use crate::messages::{Edit, KeepFile, Painted, Refusal, Step};
use crate::session::{Session, no_case};

/// What this session painted: names and bytes of the files.
pub(crate) type PaintedFiles = BTreeMap<String, Vec<u8>>;

impl Session {
    /// Puts painted triangles in place of a keep, or to the keeps that there are.
    ///
    /// # Errors
    /// There is no case, no scan in one file, or no such triangle.
    pub fn paint(self: &Arc<Self>, painted: &Painted) -> Result<(), Refusal> {
        let mut triangles = painted.triangles.clone();
        triangles.sort_unstable();
        triangles.dedup();
        let (sha256, count) = self.painted_scan()?;
        if let Some(t) = triangles.last().filter(|&&t| t as usize >= count) {
            return Err(Refusal::new(format!("the scan has no triangle {t}")));
        }
        let is_empty = triangles.is_empty();
        let file = KeepFile { scan_sha256: sha256, triangles };
        let bytes = serde_json::to_vec(&file).map_err(|e| Refusal::new(e.to_string()))?;
        let digest = Sha256::digest(&bytes);
        let name: String = digest.iter().take(4).map(|b| format!("{b:02x}")).collect();
        let name = format!("painted-{name}.json");
        if !is_empty {
            let name = self.folder.write_new(&name, &bytes)?;
            self.held().painted.insert(name, bytes);
        }
        self.change("painting", |text| {
            let values = edit::values(text);
            let keeps = values.get("keep").and_then(|keeps| keeps.as_array()).map_or(0, Vec::len);
            let k = painted.keep.unwrap_or(keeps);
            let value = if is_empty { json!(null) } else { json!({ "file": name }) };
            if is_empty && k >= keeps {
                return Ok(text.to_owned());
            }
            let path = vec![Step::Key("keep".into()), Step::Place(k)];
            edit::edited(text, &[Edit { path, value }])
        })
    }

    /// The hash and the number of triangles of the scan, if it is in one file.
    fn painted_scan(&self) -> Result<(String, usize), Refusal> {
        let held = self.held();
        let scan = held.scan.as_ref().filter(|scan| scan.files.len() == 1);
        let examined = scan.and_then(|scan| scan.examined.as_ref());
        examined.map(|found| (found.sha256.clone(), found.triangles)).ok_or_else(|| {
            Refusal::new("only a scan in one file can be painted on")
                .hint("with form `sheets` keep balls or boxes")
        })
    }

    /// The painted file that keep `k` of the case names, as it lies in the folder.
    ///
    /// # Errors
    /// It names none, or it cannot be read.
    pub(crate) fn painted(&self, k: usize) -> Result<Vec<u8>, Refusal> {
        let text = self.held().case.as_ref().map(|case| case.text.clone()).ok_or_else(no_case)?;
        let values = edit::values(&text);
        let file = values["keep"][k]["file"].as_str();
        let file = file.ok_or_else(|| Refusal::new(format!("keep {} names no file", k + 1)))?;
        let path = self.folder.inside(file)?;
        std::fs::read(path).map_err(|e| Refusal::new(format!("cannot read {file}: {e}")))
    }

    /// Has the files there that the text names, and takes away those that nothing names.
    ///
    /// With `is_left` the text in hand counts no longer: only what was saved does.
    pub(crate) fn tidy_painted(&self, is_left: bool) {
        let held = self.held();
        let text = held.case.as_ref().map(|case| case.text.as_str()).filter(|_| !is_left);
        let saved = held.case.as_ref().and_then(|case| case.on_disk.as_deref());
        let texts: Vec<&str> = text.into_iter().chain(saved).collect();
        for (name, bytes) in &held.painted {
            if texts.iter().any(|text| text.contains(name.as_str())) {
                // What cannot be written is told when the case is checked.
                let _ = self.folder.write_new(name, bytes);
            } else {
                self.folder.remove_own(name, bytes);
            }
        }
    }
}
