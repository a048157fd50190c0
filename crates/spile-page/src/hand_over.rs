//! What goes out to the picture and to downloads, and what files come in.

use std::sync::Arc;

use crate::edit;
use crate::look;
use crate::messages::{
    Edit, FittingShown, LineAsked, LineShown, MendedShown, PlaneAsked, ReachAsked, Refusal,
    SectionShown, Step, Which,
};
use crate::reach::reached;
use crate::session::{Session, is_case, no_case};
use crate::surface::Surface;

impl Session {
    /// The scan for the picture, once it is read.
    pub(crate) fn scan_surface(&self) -> Option<Arc<Vec<u8>>> {
        self.held().scan.as_ref().and_then(|scan| scan.bytes.clone())
    }

    /// The part for the picture, once it is read.
    pub(crate) fn part_surface(&self) -> Option<Arc<Vec<u8>>> {
        self.held().part.as_ref().map(|part| Arc::clone(&part.bytes))
    }

    /// A map of the part, `deviation` or `wall`, once it is there.
    pub(crate) fn part_map(&self, which: &str) -> Option<Arc<Vec<u8>>> {
        let k = ["deviation", "wall"].iter().position(|name| *name == which)?;
        self.held().part.as_ref().and_then(|part| Some(Arc::clone(&part.maps.as_ref()?[k])))
    }

    /// The outlines of finding `k`: pairs of points, three `f32` each, low byte first.
    pub(crate) fn outline(&self, k: usize) -> Option<Vec<u8>> {
        let held = self.held();
        let pairs = held.scan.as_ref()?.outlines.get(k)?;
        Some(pairs.iter().flatten().flat_map(|x| x.to_le_bytes()).collect())
    }

    /// A file of the result, by a name that the result lists.
    pub(crate) fn output(&self, name: &str) -> Option<Vec<u8>> {
        let folder = {
            let held = self.held();
            let result = held.result.as_ref()?;
            result.files.iter().find(|file| file.name == name)?;
            result.folder.clone()
        };
        std::fs::read(self.folder.inside(&format!("{folder}/{name}")).ok()?).ok()
    }

    /// Takes a scan or a case from the browser: it is read first, and written only if it
    /// is one.
    ///
    /// # Errors
    /// The name is none, or the bytes are no scan.
    pub(crate) fn take(self: &Arc<Self>, name: &str, bytes: &[u8]) -> Result<String, Refusal> {
        if is_case(name) {
            let text = std::str::from_utf8(bytes)
                .map_err(|_| Refusal::new(format!("{name} is not UTF-8 text")))?;
            if let (_, Some(refusal)) = self.checked(text, name) {
                return Err(refusal);
            }
        } else {
            read_mesh(name, bytes)?;
        }
        let name = self.folder.write_new(name, bytes)?;
        self.open(&name)?;
        Ok(name)
    }

    /// Takes a fitting's file from the browser; the case is to name it.
    ///
    /// # Errors
    /// The name is none, or the bytes are no mesh or STEP file.
    pub(crate) fn take_fitting(&self, name: &str, bytes: &[u8]) -> Result<String, Refusal> {
        if is_step(name) {
            spile_formats::step::read_step(name, bytes)
                .map_err(|e| Refusal { hints: e.hints(), ..Refusal::new(e.to_string()) })?;
        } else {
            read_mesh(name, bytes)?;
        }
        let name = self.folder.write_new(name, bytes)?;
        self.changed();
        Ok(name)
    }

    /// Scan or part where a plane cuts it.
    pub(crate) fn section(&self, asked: PlaneAsked) -> Result<SectionShown, Refusal> {
        if matches!(asked.of, Which::Scan) {
            return self.with_scan_to_cut(|scan| look::cut(scan, asked));
        }
        let part = self.held().part.as_ref().map(|part| Arc::clone(&part.surface));
        let part = part.ok_or_else(|| Refusal::new("there is no part yet"))?;
        look::cut(&part, asked)
    }

    /// The line along the middle of the scan's bore.
    pub(crate) fn line(&self, asked: LineAsked) -> Result<LineShown, Refusal> {
        self.with_scan_to_cut(|scan| look::line(&scan.mesh, asked))
    }

    /// The scan's triangles within reach of an end, as bytes.
    pub(crate) fn reached(&self, asked: ReachAsked) -> Result<Vec<u8>, Refusal> {
        let found = self.with_scan_to_cut(|scan| reached(scan, asked))?;
        Ok(found.iter().flat_map(|t| t.to_le_bytes()).collect())
    }

    /// Asks the scan's surface; what can be seen can be asked, if need be a moment later.
    fn with_scan_to_cut<T>(
        &self,
        ask: impl FnOnce(&Surface) -> Result<T, Refusal>,
    ) -> Result<T, Refusal> {
        let surface = {
            let held = self.held();
            let scan = held.scan.as_ref().filter(|scan| scan.bytes.is_some());
            let scan = scan.ok_or_else(|| Refusal::new("there is no scan yet"))?;
            Arc::clone(&scan.surface)
        };
        ask(surface.wait())
    }

    /// The fittings that are known.
    pub(crate) fn fittings(&self) -> Vec<FittingShown> {
        self.job.fittings()
    }

    /// Writes the scan mended, under a name of its own, and has the case name that.
    ///
    /// # Errors
    /// There is no case, or no scan in one file, or nothing to mend.
    pub(crate) fn mend(self: &Arc<Self>) -> Result<(), Refusal> {
        let (file, text) = {
            let held = self.held();
            let scan = held.scan.as_ref().filter(|scan| scan.files.len() == 1);
            let case = held.case.as_ref().ok_or_else(no_case)?;
            let file = scan.and_then(|scan| scan.files.first()).cloned();
            (file, case.text.clone())
        };
        let file =
            file.ok_or_else(|| Refusal::new("only a scan in one file can be mended here"))?;
        let values = edit::values(&text);
        let unit = values["unit"].as_str().unwrap_or("mm");
        let done = self.with_scan_to_cut(|scan| self.job.mend(&scan.mesh, unit))?;
        if done.mends.is_empty() {
            let mut refusal = Refusal::new("there is nothing that mending would change");
            refusal.hints =
                done.refused.iter().take(5).map(|r| format!("{}: {}", r.kind, r.why)).collect();
            return Err(refusal);
        }
        let stem = file.rsplit_once('.').map_or(file.as_str(), |(stem, _)| stem);
        let stem = stem.rsplit('/').next().unwrap_or(stem);
        let name = self.folder.write_new(&format!("{stem}-mended.stl"), &done.stl)?;
        let shown = MendedShown { of: file, mends: done.mends, refused: done.refused };
        self.held().mended.insert(name.clone(), shown);
        let path = ["scan", "file"].map(|key| Step::Key(key.to_owned())).to_vec();
        self.change("mending the scan", |text| {
            edit::edited(text, &[Edit { path, value: name.into() }])
        })
    }
}

fn read_mesh(name: &str, bytes: &[u8]) -> Result<(), Refusal> {
    spile_formats::read_bytes(name, bytes)
        .map(drop)
        .map_err(|e| Refusal { hints: e.hints(), ..Refusal::new(e.to_string()) })
}

/// Whether a file is a STEP file by its name.
pub(crate) fn is_step(name: &str) -> bool {
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending).to_lowercase();
    ["step", "stp"].contains(&ending.as_str())
}
