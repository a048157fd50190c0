//! What is in hand: scan, case, making and result. The server holds it, every window
//! shows it.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::thread;

use spile_mesh::Mesh;
use tokio::sync::watch;

use crate::edit;
use crate::folder::Folder;
use crate::geometry;
use crate::job::{Job, Looked};
use crate::keep::PaintedFiles;
use crate::messages::{
    CaseShown, Edits, Examined, MendedShown, Refusal, ResultShown, RunShown, ScanShown, State,
};
use crate::run::Making;
use crate::shown;
use crate::surface::Surface;

/// Steps that can be undone; the oldest are forgotten.
const MOST_UNDONE: usize = 200;

/// What to begin with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Start {
    /// Nothing: the user drops or chooses a file.
    Empty,
    /// A scan or case in the folder.
    File(String),
}

/// All that the page shows and steers.
pub struct Session {
    pub(crate) folder: Folder,
    pub(crate) job: Arc<dyn Job>,
    held: Mutex<Held>,
    version: watch::Sender<u64>,
    /// Scans and results read so far.
    read: AtomicU64,
}

/// What is in hand.
#[derive(Default)]
pub(crate) struct Held {
    pub(crate) scan: Option<Scan>,
    pub(crate) case: Option<Case>,
    pub(crate) making: Making,
    pub(crate) result: Option<ResultShown>,
    /// The text that the result was made of, where that is known.
    pub(crate) made_of: Option<String>,
    /// The part for the picture.
    pub(crate) part: Option<PartHeld>,
    /// The result before this one.
    pub(crate) before: Option<ResultShown>,
    /// Files that were painted.
    pub(crate) painted: PaintedFiles,
    /// Scans that were made by mending another, with what that did.
    pub(crate) mended: BTreeMap<String, MendedShown>,
}

pub(crate) struct Scan {
    number: u64,
    pub(crate) files: Vec<String>,
    /// To be cut: it comes soon after the bytes.
    pub(crate) surface: Arc<OnceLock<Surface>>,
    pub(crate) bytes: Option<Arc<Vec<u8>>>,
    pub(crate) examined: Option<Examined>,
    /// The findings' outlines.
    pub(crate) outlines: Vec<Vec<[f32; 3]>>,
    refused: Option<Refusal>,
}

/// A part that was read, shared with whoever is being answered.
pub(crate) struct PartHeld {
    pub(crate) bytes: Arc<Vec<u8>>,
    pub(crate) maps: Option<[Arc<Vec<u8>>; 2]>,
    pub(crate) surface: Arc<Surface>,
}

/// The case in hand.
pub(crate) struct Case {
    pub(crate) file: String,
    /// What the file held when it was last read or written; none where there is none yet.
    pub(crate) on_disk: Option<String>,
    pub(crate) text: String,
    refused: Option<Refusal>,
    past: Vec<(String, String)>,
    future: Vec<(String, String)>,
}

impl Session {
    /// A session in `folder`, opened with `start`.
    ///
    /// # Errors
    /// The file to start with cannot be read.
    pub fn new(folder: Folder, job: Arc<dyn Job>, start: &Start) -> Result<Arc<Self>, Refusal> {
        let (held, version, read) = (Mutex::default(), watch::Sender::new(1), AtomicU64::new(0));
        let session = Arc::new(Self { folder, job, held, version, read });
        if let Start::File(file) = start {
            session.open(file)?;
        }
        Ok(session)
    }

    /// The version of the state, now and whenever it changes.
    pub fn versions(&self) -> watch::Receiver<u64> {
        self.version.subscribe()
    }

    /// Nothing here panics while it holds the lock with half a change made, so what a
    /// panic elsewhere left is whole.
    pub(crate) fn held(&self) -> MutexGuard<'_, Held> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn changed(&self) {
        self.version.send_modify(|v| *v += 1);
    }

    /// All that the page shows.
    pub fn state(&self) -> State {
        let version = *self.version.borrow();
        let held = self.held();
        let result = held.result.clone().map(|result| ResultShown {
            is_of_this_text: match (&held.made_of, &held.case) {
                (Some(made_of), Some(case)) => Some(*made_of == case.text),
                _ => None,
            },
            has_surface: held.part.is_some(),
            has_maps: held.part.as_ref().is_some_and(|part| part.maps.is_some()),
            ..result
        });
        State {
            version,
            folder: self
                .folder
                .path()
                .file_name()
                .map_or_else(String::new, |n| n.to_string_lossy().into_owned()),
            files: self.folder.names(|name| is_case(name) || is_scan(name)),
            scan: held.scan.as_ref().map(|scan| ScanShown {
                mended: scan.files.first().and_then(|file| held.mended.get(file)).cloned(),
                ..scan.shown()
            }),
            case: held.case.as_ref().map(Case::shown),
            run: held.making.shown(),
            result,
            before: held.before.clone(),
        }
    }

    /// Takes a scan or a case of the folder in hand.
    ///
    /// # Errors
    /// It is not there, leads out of the folder, or a making goes on.
    pub fn open(self: &Arc<Self>, file: &str) -> Result<(), Refusal> {
        if matches!(self.held().making.shown(), RunShown::Running { .. }) {
            return Err(Refusal::new("a part is being made").hint("stop it first"));
        }
        let path = self.folder.inside(file)?;
        self.tidy_painted(true);
        if !is_case(file) {
            if !is_scan(file) {
                return Err(Refusal::new(format!("{file} is neither a scan nor a case"))
                    .hint("scans are STL, PLY, OBJ or 3MF; cases are TOML"));
            }
            *self.held() = Held::default();
            self.look_at(vec![file.to_owned()], true);
            return Ok(());
        }
        let bytes =
            std::fs::read(path).map_err(|e| Refusal::new(format!("cannot read {file}: {e}")))?;
        let text = String::from_utf8(bytes)
            .map_err(|_| Refusal::new(format!("{file} is not UTF-8 text")))?;
        let (files, refused) = self.checked(&text, file);
        *self.held() = Held {
            case: Some(Case {
                file: file.to_owned(),
                on_disk: Some(text.clone()),
                text,
                refused,
                past: Vec::new(),
                future: Vec::new(),
            }),
            ..Held::default()
        };
        self.look_at(files.unwrap_or_default(), false);
        self.read_result_beside(None);
        Ok(())
    }

    /// The scan files that a text names and why it cannot be run.
    pub(crate) fn checked(&self, text: &str, file: &str) -> (Option<Vec<String>>, Option<Refusal>) {
        let may_read = |name: &str| self.folder.inside(name).map(drop).map_err(|r| r.message);
        match self.job.check(text, &self.folder.path().join(file), &may_read) {
            Ok(case) => (Some(case.scan.files), None),
            Err(refusal) => (None, Some(refusal)),
        }
    }

    /// Reads scan files on a thread of its own, then examines them; if `starts` a
    /// starter case follows.
    fn look_at(self: &Arc<Self>, files: Vec<String>, starts: bool) {
        let number = self.next();
        self.held().scan = (!files.is_empty()).then(|| Scan::unread(number, files.clone()));
        self.changed();
        if files.is_empty() {
            return;
        }
        let session = Arc::clone(self);
        thread::spawn(move || {
            if let Err(refusal) = session.read_scan(number, &files, starts) {
                session.with_scan(number, |held| {
                    if let Some(scan) = &mut held.scan {
                        scan.refused = Some(refusal);
                    }
                });
            }
        });
    }

    /// A number that no scan or result had before.
    fn next(&self) -> u64 {
        self.read.fetch_add(1, Ordering::Relaxed) + 1
    }

    fn read_scan(&self, number: u64, files: &[String], starts: bool) -> Result<(), Refusal> {
        let mut read = Vec::new();
        for file in files {
            let path = self.folder.inside(file)?;
            let bytes = std::fs::read(path)
                .map_err(|e| Refusal::new(format!("cannot read {file}: {e}")))?;
            let mesh = spile_formats::read_bytes(file, &bytes)
                .map_err(|e| Refusal { hints: e.hints(), ..Refusal::new(e.to_string()) })?;
            read.push((file, bytes, mesh));
        }
        let Some(all) = Mesh::joined(read.iter().map(|(_, _, read)| &read.mesh)) else {
            return Err(Refusal::new("the scan holds more than can be counted"));
        };
        let bytes = Arc::new(geometry::bytes(&all, None));
        let mut surface = Arc::<OnceLock<Surface>>::default();
        self.with_scan(number, |held| {
            if let Some(scan) = &mut held.scan {
                scan.bytes = Some(bytes);
                surface = Arc::clone(&scan.surface);
            }
        });
        let surface = surface.get_or_init(|| Surface::of(all));
        // Of two sheets the inner one has the ends.
        let Some((file, bytes, read)) = read.first() else { return Ok(()) };
        let Looked { examined, starter, outlines } = self.job.examine(file, bytes, read);
        let case = starts.then(|| {
            let stem = file.rsplit_once('.').map_or(file.as_str(), |(stem, _)| stem);
            let name = format!("{stem}.toml");
            let (_, refused) = self.checked(&starter, &name);
            Case {
                file: name,
                on_disk: None,
                text: starter,
                refused,
                past: Vec::new(),
                future: Vec::new(),
            }
        });
        self.with_scan(number, |held| {
            if let Some(scan) = &mut held.scan {
                (scan.examined, scan.outlines) = (Some(examined), outlines);
            }
            if case.is_some() {
                held.case = case;
            }
        });
        surface.prepare();
        Ok(())
    }

    /// Changes what is held, if this scan is still the one in hand.
    fn with_scan(&self, number: u64, change: impl FnOnce(&mut Held)) {
        let mut held = self.held();
        if held.scan.as_ref().is_some_and(|scan| scan.number == number) {
            change(&mut held);
        }
        drop(held);
        self.changed();
    }

    /// Makes changes of the case, to be undone together.
    ///
    /// # Errors
    /// There is no case, or no place that is named.
    pub fn edit(self: &Arc<Self>, edits: &Edits) -> Result<(), Refusal> {
        self.change(&edits.what, |text| edit::edited(text, &edits.edits))
    }

    /// Puts a new text in place of the case's.
    ///
    /// # Errors
    /// There is no case.
    pub fn set_text(self: &Arc<Self>, text: String, what: &str) -> Result<(), Refusal> {
        self.change(what, |_| Ok(text))
    }

    /// Reads, changes and sets the text under one lock, so that of two changes that come
    /// together neither is lost.
    pub(crate) fn change(
        self: &Arc<Self>,
        what: &str,
        make: impl FnOnce(&str) -> Result<String, Refusal>,
    ) -> Result<(), Refusal> {
        let mut held = self.held();
        let case = held.case.as_mut().ok_or_else(no_case)?;
        let text = make(&case.text)?;
        if text == case.text {
            return Ok(());
        }
        let old = std::mem::replace(&mut case.text, text);
        case.past.push((what.to_owned(), old));
        if case.past.len() > MOST_UNDONE {
            case.past.remove(0);
        }
        case.future.clear();
        drop(held);
        self.check_again()
    }

    /// Takes the last change back.
    ///
    /// # Errors
    /// There is none.
    pub fn undo(self: &Arc<Self>) -> Result<(), Refusal> {
        let mut held = self.held();
        let case = held.case.as_mut().ok_or_else(no_case)?;
        let (what, text) = case.past.pop().ok_or_else(|| Refusal::new("nothing to undo"))?;
        let now = std::mem::replace(&mut case.text, text);
        case.future.push((what, now));
        drop(held);
        self.check_again()
    }

    /// Brings the change that was taken back last again.
    ///
    /// # Errors
    /// There is none.
    pub fn redo(self: &Arc<Self>) -> Result<(), Refusal> {
        let mut held = self.held();
        let case = held.case.as_mut().ok_or_else(no_case)?;
        let (what, text) = case.future.pop().ok_or_else(|| Refusal::new("nothing to redo"))?;
        let now = std::mem::replace(&mut case.text, text);
        case.past.push((what, now));
        drop(held);
        self.check_again()
    }

    fn check_again(self: &Arc<Self>) -> Result<(), Refusal> {
        self.tidy_painted(false);
        let (file, text) = {
            let held = self.held();
            let case = held.case.as_ref().ok_or_else(no_case)?;
            (case.file.clone(), case.text.clone())
        };
        let (files, refused) = self.checked(&text, &file);
        let mut held = self.held();
        // Changed again meanwhile: that change looks at its own text.
        let Some(case) = held.case.as_mut().filter(|case| case.text == text) else {
            return Ok(());
        };
        case.refused = refused;
        let is_other = |held: &Held, files: &Vec<String>| {
            held.scan.as_ref().is_none_or(|scan| scan.files != *files)
        };
        let other = files.filter(|files| is_other(&held, files));
        drop(held);
        match other {
            Some(files) => self.look_at(files, false),
            None => self.changed(),
        }
        Ok(())
    }

    /// Writes the case's text to its file: a new one, or the one it was read from if
    /// nobody else has changed that.
    ///
    /// # Errors
    /// There is no case, or the file was changed by another, or cannot be written.
    pub fn save(&self) -> Result<(), Refusal> {
        self.saved().map(drop)
    }

    /// Saves as [`Self::save`] does; the file and the text that is in it.
    pub(crate) fn saved(&self) -> Result<(String, String), Refusal> {
        let mut held = self.held();
        let case = held.case.as_mut().ok_or_else(no_case)?;
        match &case.on_disk {
            Some(there) if *there == case.text => {}
            Some(there) => {
                self.folder.write_over(&case.file, there.as_bytes(), case.text.as_bytes())?;
            }
            None => case.file = self.folder.write_new(&case.file, case.text.as_bytes())?,
        }
        case.on_disk = Some(case.text.clone());
        let saved = (case.file.clone(), case.text.clone());
        drop(held);
        self.changed();
        Ok(saved)
    }

    /// Whether the case can be run.
    pub(crate) fn fit_to_run(&self) -> Result<(), Refusal> {
        let held = self.held();
        let case = held.case.as_ref().ok_or_else(no_case)?;
        case.refused.clone().map_or(Ok(()), Err)
    }

    /// Reads what lies in the case's output folder, its picture on a thread of its own.
    pub(crate) fn read_result_beside(self: &Arc<Self>, made_of: Option<String>) {
        let Some(file) = self.held().case.as_ref().map(|case| case.file.clone()) else { return };
        let Some(result) = shown::result(&self.folder, &shown::out_name(&file)) else { return };
        let number = self.next();
        let mut held = self.held();
        let earlier = held.result.replace(ResultShown { number, ..result.clone() });
        if made_of.is_some() {
            held.before = earlier;
        }
        (held.made_of, held.part) = (made_of, None);
        drop(held);
        self.changed();
        let session = Arc::clone(self);
        thread::spawn(move || {
            let Some(read) = shown::part(&session.folder, &*session.job, &result) else { return };
            let surface = Arc::new(read.surface);
            let mut held = session.held();
            if held.result.as_ref().is_some_and(|r| r.number == number) {
                held.part = Some(PartHeld {
                    bytes: Arc::new(read.bytes),
                    maps: read.maps.map(|maps| maps.map(Arc::new)),
                    surface: Arc::clone(&surface),
                });
            }
            drop(held);
            session.changed();
            surface.prepare();
        });
    }
}

impl Scan {
    fn unread(number: u64, files: Vec<String>) -> Self {
        let (surface, outlines) = (Arc::default(), Vec::new());
        Self { number, files, surface, bytes: None, examined: None, outlines, refused: None }
    }

    fn shown(&self) -> ScanShown {
        ScanShown {
            number: self.number,
            file: self.files.first().cloned().unwrap_or_default(),
            has_surface: self.bytes.is_some(),
            examined: self.examined.clone(),
            refused: self.refused.clone(),
            mended: None,
        }
    }
}

impl Case {
    fn shown(&self) -> CaseShown {
        CaseShown {
            file: self.file.clone(),
            is_saved: self.on_disk.as_ref() == Some(&self.text),
            text: self.text.clone(),
            values: edit::values(&self.text),
            refused: self.refused.clone(),
            undo: self.past.last().map(|(what, _)| what.clone()),
            redo: self.future.last().map(|(what, _)| what.clone()),
        }
    }
}

pub(crate) fn no_case() -> Refusal {
    Refusal::new("there is no case yet").hint("choose a scan first")
}

/// Whether a file is a case by its name.
pub(crate) fn is_case(name: &str) -> bool {
    ends_with(name, &["toml"])
}

/// Whether a file is a scan by its name.
fn is_scan(name: &str) -> bool {
    ends_with(name, &["stl", "ply", "obj", "3mf"])
}

fn ends_with(name: &str, endings: &[&str]) -> bool {
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending).to_lowercase();
    endings.contains(&ending.as_str())
}
