//! A folder to work in, the program run in it, and what came of it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

/// A folder that goes away with the test.
pub struct Work {
    folder: TempDir,
}

/// What came of one run of the program.
pub struct Ran {
    pub code: i32,
    pub stdout: String,
    pub stderr: String,
}

impl Ran {
    /// The whole as one text, with what differs from version to version replaced.
    pub fn whole(&self) -> String {
        format!(
            "exit: {}\n--- stdout\n{}--- stderr\n{}",
            self.code,
            placeholders(&self.stdout),
            placeholders(&self.stderr)
        )
    }

    /// Standard output as the one JSON document that it must be.
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.stdout)
            .unwrap_or_else(|e| panic!("{e}\n{}\n{}", self.stdout, self.stderr))
    }
}

fn placeholders(text: &str) -> String {
    text.replace(env!("CARGO_PKG_VERSION"), "[VERSION]").replace(".exe", "")
}

impl Work {
    pub fn new() -> Work {
        Work { folder: tempfile::tempdir().unwrap() }
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Writes a file, with the folders it needs.
    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> &Work {
        let path = self.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
        self
    }

    /// The text of a file in this folder.
    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path().join(name)).unwrap()
    }

    /// The bytes of a file in this folder.
    pub fn read_bytes(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path().join(name)).unwrap()
    }

    /// Runs the program in this folder.
    pub fn spile(&self, args: &[&str]) -> Ran {
        let output = assert_cmd::Command::new(env!("CARGO_BIN_EXE_spile"))
            .args(args)
            .current_dir(self.path())
            .env_remove("NO_COLOR")
            .env_remove("COLUMNS")
            .output()
            .unwrap();
        Ran {
            code: output.status.code().expect("it ends by itself"),
            stdout: String::from_utf8(output.stdout).unwrap(),
            stderr: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// Every file below this folder, hidden ones too, with its bytes.
    pub fn files(&self) -> BTreeMap<String, Vec<u8>> {
        let mut found = BTreeMap::new();
        let mut folders = vec![self.path().to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    let name = path.strip_prefix(self.path()).unwrap();
                    let name = name.to_string_lossy().replace('\\', "/");
                    found.insert(name, std::fs::read(&path).unwrap());
                }
            }
        }
        found
    }
}

/// A file of the repository's collection of scans.
pub fn repository_scan(name: &str) -> Vec<u8> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans");
    std::fs::read(root.join(name)).unwrap()
}
