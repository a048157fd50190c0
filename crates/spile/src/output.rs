//! The output folder: all new files take the place of all old ones, or none.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use spile_page::staged_in;
use tempfile::TempDir;

use crate::failure::Failure;
use crate::inputs::{said, shown};

/// One file to be written: its path inside the folder, with forward slashes,
/// and its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct OutputFile {
    /// Path inside the folder.
    pub name: String,
    /// Content.
    pub bytes: Vec<u8>,
}

/// All that a run may have left in its folder before; whatever else is there
/// belongs to the user and stays.
const OURS: [&str; 3] = ["proof.json", "case.toml", "inputs"];

/// The files of the report: a page for a browser, and one for keeping and print.
pub(crate) const REPORTS: [&str; 2] = ["report.html", "report.pdf"];

/// The part's files, held or broken: how their names begin, and go on.
pub(crate) const PARTS: [&str; 2] = ["part", "part-broken"];
const OF_PART: [&str; 10] = [
    ".stl",
    ".3mf",
    ".obj",
    ".ply",
    ".glb",
    ".step",
    "-sections",
    "-stations.csv",
    "-limits.csv",
    "-cautions.txt",
];

fn ours() -> impl Iterator<Item = String> {
    let parts = PARTS.iter().flat_map(|part| OF_PART.map(|more| format!("{part}{more}")));
    OURS.into_iter().chain(REPORTS).map(str::to_owned).chain(parts)
}

/// Makes `folder` hold `files` in place of what an earlier run left there.
///
/// Everything is written beside its final place first and then moved; if a
/// move fails, the earlier files are moved back.
pub(crate) fn replace(folder: &Path, files: &[OutputFile]) -> Result<(), Failure> {
    let folder = std::path::absolute(folder)
        .map_err(|e| Failure::new(format!("cannot write to {}: {}", shown(folder), said(&e))))?;
    let fail = |what: &str, error: &std::io::Error| {
        let name = folder.file_name().map_or_else(String::new, |n| n.to_string_lossy().into());
        Failure::new(format!("cannot {what} the output folder {name}: {}", said(error)))
            .hint("nothing was changed; check the folder's place and rights, or choose another with `--out`")
    };
    if folder.exists() {
        let staging = staging_in(&folder).map_err(|e| fail("write into", &e))?;
        let (new, old) = (staging.path().join("new"), staging.path().join("old"));
        write_all(&new, files).map_err(|e| fail("write into", &e))?;
        std::fs::create_dir(&old).map_err(|e| fail("write into", &e))?;
        exchange(&folder, &new, &old).map_err(|e| fail("replace the files in", &e))
    } else {
        let parent = folder.parent().unwrap_or(Path::new("."));
        std::fs::create_dir_all(parent).map_err(|e| fail("make", &e))?;
        let staging = staging_in(parent).map_err(|e| fail("make", &e))?;
        let new = staging.path().join("new");
        write_all(&new, files).map_err(|e| fail("write", &e))?;
        std::fs::rename(&new, &folder).map_err(|e| fail("make", &e))
    }
}

/// A folder that wipes itself out, on the same disk as `beside`.
fn staging_in(beside: &Path) -> std::io::Result<TempDir> {
    tempfile::Builder::new().prefix(".spile-").tempdir_in(beside)
}

fn write_all(folder: &Path, files: &[OutputFile]) -> std::io::Result<()> {
    std::fs::create_dir(folder)?;
    for file in files {
        let path = folder.join(&file.name);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent)?;
        }
        std::fs::write(path, &file.bytes)?;
    }
    Ok(())
}

/// Moves our earlier files from `folder` to `old` and all of `new` to `folder`.
fn exchange(folder: &Path, new: &Path, old: &Path) -> std::io::Result<()> {
    let mut moves: Vec<(PathBuf, PathBuf)> = Vec::new();
    for name in ours() {
        if folder.join(&name).symlink_metadata().is_ok() {
            moves.push((folder.join(&name), old.join(&name)));
        }
    }
    for name in ours() {
        if new.join(&name).exists() {
            moves.push((new.join(&name), folder.join(&name)));
        }
    }
    for (done, (from, to)) in moves.iter().enumerate() {
        if let Err(error) = std::fs::rename(from, to) {
            for (from, to) in moves[..done].iter().rev() {
                std::fs::rename(to, from)?;
            }
            return Err(error);
        }
    }
    Ok(())
}

/// One file outside an output folder: all of it, or nothing.
pub(crate) fn write_whole(out: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let fail = |error: &std::io::Error| {
        Failure::new(format!("cannot write {}: {}", shown(out), said(error)))
            .hint("check that the folder is there and may be written to")
    };
    let folder = out.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut file = staged_in(folder).map_err(|error| fail(&error))?;
    file.write_all(bytes).map_err(|error| fail(&error))?;
    file.persist(out).map_err(|error| fail(&error.error))?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::{OutputFile, replace};

    fn file(name: &str, text: &str) -> OutputFile {
        OutputFile { name: name.to_owned(), bytes: text.as_bytes().to_owned() }
    }

    fn listed(folder: &std::path::Path) -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn replaces_its_own_files_together_and_leaves_others() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("deep/out");
        let first = [file("part.stl", "a"), file("inputs/scan.stl", "s"), file("proof.json", "p")];
        replace(&out, &first).unwrap();
        assert_eq!(listed(&out), ["inputs", "part.stl", "proof.json"]);
        std::fs::write(out.join("mine.txt"), "kept").unwrap();
        std::fs::write(out.join("inputs/stray.txt"), "goes with its folder").unwrap();
        replace(&out, &[file("part-broken.stl", "b"), file("inputs/other.stl", "t")]).unwrap();
        assert_eq!(listed(&out), ["inputs", "mine.txt", "part-broken.stl"]);
        assert_eq!(listed(&out.join("inputs")), ["other.stl"]);
        assert_eq!(listed(root.path().join("deep").as_path()), ["out"]);
    }

    #[test]
    fn a_failed_exchange_puts_everything_back() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("out");
        replace(&out, &[file("part.stl", "old"), file("proof.json", "old")]).unwrap();
        // A new file whose parent is a file cannot be written.
        let bad = [file("part.stl", "new"), file("proof.json", "new"), file("part.stl/x", "no")];
        let failure = replace(&out, &bad).unwrap_err();
        assert!(failure.message.contains("output folder out"), "{failure:?}");
        assert_eq!(listed(&out), ["part.stl", "proof.json"]);
        assert_eq!(std::fs::read_to_string(out.join("part.stl")).unwrap(), "old");
    }

    #[test]
    fn a_file_in_the_folders_place_is_named() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("out");
        std::fs::write(&out, "a file").unwrap();
        assert!(replace(&out, &[file("part.stl", "new")]).is_err());
        assert_eq!(std::fs::read_to_string(&out).unwrap(), "a file");
    }
}
