//! The one folder that the page reads in and writes to.

use std::io::{self, Write as _};
use std::path::{Component, Path, PathBuf};

use tempfile::NamedTempFile;

use crate::messages::Refusal;

/// A folder, and the promise that nothing outside it is touched.
#[derive(Debug, Clone)]
pub struct Folder {
    /// With every link followed.
    real: PathBuf,
}

/// Longest file name that is taken from a browser.
const LONGEST_NAME: usize = 120;

/// Names that some systems keep for devices, whatever the extension.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

impl Folder {
    /// The folder at `path`.
    ///
    /// # Errors
    /// It is not there, or is no folder.
    pub fn new(path: &Path) -> io::Result<Self> {
        let real = path.canonicalize()?;
        if real.is_dir() { Ok(Self { real }) } else { Err(io::ErrorKind::NotADirectory.into()) }
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.real
    }

    /// A file or folder in it that is there, links followed: `name` goes by forward
    /// slashes and must neither lead out as it is written nor by a link.
    ///
    /// # Errors
    /// It leads out, or is not there.
    pub fn inside(&self, name: &str) -> Result<PathBuf, Refusal> {
        let outside = || {
            Refusal::new(format!("{name} is not in the folder that this page works in"))
                .hint("copy it there, or start `spile open` with a case beside it")
        };
        let is_plain = |c: Component<'_>| matches!(c, Component::Normal(_) | Component::CurDir);
        let plain = name.replace('\\', "/");
        if plain.contains(['\0', ':']) || !Path::new(&plain).components().all(is_plain) {
            return Err(outside());
        }
        let real = self
            .real
            .join(&plain)
            .canonicalize()
            .map_err(|_| Refusal::new(format!("{name} is not there")))?;
        if real.starts_with(&self.real) { Ok(real) } else { Err(outside()) }
    }

    /// Where output may go: a folder in this one that is not there yet, or is and is no
    /// link to elsewhere.
    ///
    /// # Errors
    /// It leads out.
    pub fn place_for(&self, name: &str) -> Result<PathBuf, Refusal> {
        checked_name(name)?;
        let path = self.real.join(name);
        match path.symlink_metadata() {
            Err(_) => Ok(path),
            Ok(meta) if meta.is_symlink() => {
                Err(Refusal::new(format!("{name} is a link, and the page writes to no link")))
            }
            Ok(_) => self.inside(name),
        }
    }

    /// Writes a file under this name, or where one of that name is there under the next
    /// that is free: never over another. Gives the name. The same bytes under the same
    /// name are not written again.
    ///
    /// # Errors
    /// The name is no plain file name, or the folder cannot be written to.
    pub fn write_new(&self, name: &str, bytes: &[u8]) -> Result<String, Refusal> {
        checked_name(name)?;
        let refused = |e: io::Error| Refusal::new(format!("cannot write {name}: {e}"));
        let mut staged = staged_in(&self.real).map_err(refused)?;
        staged.write_all(bytes).map_err(refused)?;
        let (stem, ending) = match name.rsplit_once('.') {
            Some((stem, ending)) => (stem, format!(".{ending}")),
            None => (name, String::new()),
        };
        for count in 1..=MOST_OF_A_NAME {
            let name = match count {
                1 => name.to_owned(),
                n => format!("{stem}-{n}{ending}"),
            };
            let path = self.real.join(&name);
            let is_same = |m: std::fs::Metadata| m.is_file() && m.len() == bytes.len() as u64;
            if path.symlink_metadata().is_ok_and(is_same)
                && std::fs::read(&path).is_ok_and(|there| there == bytes)
            {
                return Ok(name);
            }
            match staged.persist_noclobber(&path) {
                Ok(_) => return Ok(name),
                Err(error) if error.error.kind() == io::ErrorKind::AlreadyExists => {
                    staged = error.file;
                }
                Err(error) => return Err(refused(error.error)),
            }
        }
        Err(Refusal::new(format!("there are too many files named like {name}")))
    }

    /// Puts new content in place of a file that holds `before`, whole or not at all.
    ///
    /// # Errors
    /// The file was changed by another since, is a link, or cannot be written.
    pub fn write_over(&self, name: &str, before: &[u8], bytes: &[u8]) -> Result<(), Refusal> {
        checked_name(name)?;
        let path = self.real.join(name);
        let is_file = path.symlink_metadata().is_ok_and(|m| m.is_file());
        if !is_file || !std::fs::read(&path).is_ok_and(|there| there == before) {
            return Err(Refusal::new(format!("{name} was changed outside this page"))
                .hint("save under another name, or open the changed file anew"));
        }
        let refused = |e: io::Error| Refusal::new(format!("cannot write {name}: {e}"));
        let mut staged = staged_in(&self.real).map_err(refused)?;
        staged.write_all(bytes).map_err(refused)?;
        let rights = path.metadata().map_err(refused)?.permissions();
        staged.as_file().set_permissions(rights).map_err(refused)?;
        staged.persist(&path).map(drop).map_err(|e| refused(e.error))
    }

    /// Takes away a plain file in it that holds these very bytes; any other stays.
    pub fn remove_own(&self, name: &str, bytes: &[u8]) {
        let path = self.real.join(name);
        let is_own = checked_name(name).is_ok()
            && path.symlink_metadata().is_ok_and(|m| m.is_file())
            && std::fs::read(&path).is_ok_and(|there| there == bytes);
        if is_own {
            // What cannot be taken away does no harm.
            let _ = std::fs::remove_file(path);
        }
    }

    /// The names of the plain files in it that `wanted` takes, in order.
    pub fn names(&self, wanted: impl Fn(&str) -> bool) -> Vec<String> {
        let entries = std::fs::read_dir(&self.real).into_iter().flatten().flatten();
        let files = entries.filter(|e| e.file_type().is_ok_and(|kind| kind.is_file()));
        let mut names: Vec<String> = files
            .filter_map(|e| e.file_name().into_string().ok())
            .filter(|name| !name.starts_with('.') && wanted(name))
            .collect();
        names.sort();
        names
    }
}

/// A file in a folder that has no name to be found by until it is persisted; with the
/// rights that any new file has there.
///
/// # Errors
/// The folder cannot be written to.
pub fn staged_in(folder: &Path) -> io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".spile-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // Less what the user's mask takes away.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

/// Copies of one name before it is given up.
const MOST_OF_A_NAME: usize = 1000;

/// A name of one file: no way to another folder, nothing hidden, nothing that a system
/// takes for a device.
fn checked_name(name: &str) -> Result<(), Refusal> {
    let stem = name.split('.').next().unwrap_or_default().to_lowercase();
    let is_device = DEVICES.iter().any(|&device| {
        stem.strip_prefix(device).is_some_and(|rest| {
            rest.is_empty() || (rest.len() == 1 && rest.bytes().all(|b| b.is_ascii_digit()))
        })
    });
    let is_bad = |c: char| c.is_control() || "/\\:*?\"<>|".contains(c);
    let bad_ends = name.starts_with(['.', '-', ' ']) || name.ends_with(['.', ' ']);
    if name.is_empty()
        || name.len() > LONGEST_NAME
        || bad_ends
        || name.contains(is_bad)
        || is_device
    {
        return Err(Refusal::new("this is no name for a file")
            .hint("letters, digits, dots, spaces and dashes do; no slashes"));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::{Folder, checked_name};

    #[test]
    fn only_plain_names_are_names() {
        for good in ["a.stl", "left duct 2.stl", "größe.ply", "console.stl", "a..b"] {
            assert!(checked_name(good).is_ok(), "{good}");
        }
        let bad =
            ["", ".", "..", "../a", "a/b", "a\\b", ".hidden", "a:b", "con", "Nul.stl", "com1.x"];
        for name in bad.into_iter().chain(["a\0b", "a\n", "-rf", "end.", "x?"]) {
            assert!(checked_name(name).is_err(), "{name:?}");
        }
        assert!(checked_name(&"x".repeat(121)).is_err());
    }

    #[test]
    fn nothing_is_written_over_and_nothing_partly() {
        let root = tempfile::tempdir().unwrap();
        let folder = Folder::new(root.path()).unwrap();
        assert_eq!(folder.write_new("a.stl", b"one").unwrap(), "a.stl");
        assert_eq!(folder.write_new("a.stl", b"one").unwrap(), "a.stl");
        assert_eq!(folder.write_new("a.stl", b"two").unwrap(), "a-2.stl");
        assert_eq!(std::fs::read(root.path().join("a.stl")).unwrap(), b"one");
        assert!(folder.write_over("a.stl", b"not this", b"three").is_err());
        folder.write_over("a.stl", b"one", b"three").unwrap();
        assert_eq!(std::fs::read(root.path().join("a.stl")).unwrap(), b"three");
        folder.remove_own("a.stl", b"two");
        folder.remove_own("../a.stl", b"three");
        assert_eq!(folder.names(|_| true), ["a-2.stl", "a.stl"]);
        folder.remove_own("a.stl", b"three");
        assert_eq!(folder.names(|_| true), ["a-2.stl"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_new_file_has_the_rights_of_any_and_a_changed_one_keeps_its_own() {
        use std::os::unix::fs::PermissionsExt as _;
        let root = tempfile::tempdir().unwrap();
        let folder = Folder::new(root.path()).unwrap();
        let rights = |name: &str| root.path().join(name).metadata().unwrap().permissions();
        std::fs::write(root.path().join("other"), b"").unwrap();
        folder.write_new("a.stl", b"one").unwrap();
        assert_eq!(rights("a.stl"), rights("other"));
        std::fs::set_permissions(root.path().join("a.stl"), std::fs::Permissions::from_mode(0o640))
            .unwrap();
        folder.write_over("a.stl", b"one", b"two").unwrap();
        assert_eq!(rights("a.stl").mode() & 0o777, 0o640);
    }

    #[cfg(unix)]
    #[test]
    fn no_way_leads_out() {
        let root = tempfile::tempdir().unwrap();
        let (inner, secret) = (root.path().join("in"), root.path().join("secret.stl"));
        std::fs::create_dir(&inner).unwrap();
        std::fs::write(&secret, "secret").unwrap();
        std::os::unix::fs::symlink(&secret, inner.join("link.stl")).unwrap();
        std::os::unix::fs::symlink(root.path(), inner.join("up")).unwrap();
        let folder = Folder::new(&inner).unwrap();
        let out = ["../secret.stl", "link.stl", "up/secret.stl", "..\\secret.stl", "/etc/passwd"];
        for name in out.into_iter().chain(["C:/secret.stl", "./../secret.stl", "a\0"]) {
            assert!(folder.inside(name).is_err(), "{name}");
        }
        assert!(folder.place_for("up").is_err());
        assert!(folder.place_for("new-out").is_ok());
        assert!(folder.write_over("link.stl", b"secret", b"changed").is_err());
        assert_eq!(folder.write_new("link.stl", b"other").unwrap(), "link-2.stl");
        assert_eq!(std::fs::read(&secret).unwrap(), b"secret");
        assert!(folder.names(|_| true).iter().all(|n| n != "link.stl"));
    }
}
