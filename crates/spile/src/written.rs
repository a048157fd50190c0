//! A `proof.json` that was written earlier.

use serde_json::Value;

use crate::inputs::sha256;

/// The last key of a proof: the hash of its own text, this value left empty.
pub(crate) const OWN_KEY: &str = "own_sha256";

/// A proof as it was written, as far as it must be understood.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Written {
    /// The whole document.
    pub json: Value,
}

impl Written {
    /// `json`, if its inputs and outputs are files with their hashes.
    pub fn of(json: Value) -> Option<Written> {
        let names_files = |key: &str| {
            let records = json[key].as_array()?;
            let is_file = |r: &Value| r["file"].is_string() && r["sha256"].is_string();
            records.iter().all(is_file).then_some(())
        };
        names_files("inputs")?;
        names_files("outputs")?;
        Some(Written { json })
    }

    /// Every file that it lists, with its hash.
    pub fn files(&self) -> Vec<(&str, &str)> {
        let asked = &self.json["asked"];
        let lists = [&self.json["inputs"], &self.json["outputs"], &asked["painted"]];
        let all = lists.into_iter().filter_map(Value::as_array).flatten().chain([asked]);
        all.filter_map(|r| Some((r["file"].as_str()?, r["sha256"].as_str()?))).collect()
    }

    /// The file of the case as it was asked, if it lists one.
    pub fn asked(&self) -> Option<&str> {
        self.json["asked"]["file"].as_str().filter(|file| self.lists(file) && is_inside(file))
    }

    /// The file in the folder that a name in the asked case stands for.
    pub fn asked_file(&self, name: &str) -> Option<&str> {
        let names = self.json["asked"]["names"].as_array()?;
        let name = name.replace('\\', "/");
        let named = names.iter().find(|record| record["name"] == name.as_str())?;
        named["file"].as_str().filter(|file| self.lists(file) && is_inside(file))
    }

    /// Whether it lists a file of this name.
    pub fn lists(&self, name: &str) -> bool {
        self.files().iter().any(|(file, _)| *file == name)
    }

    /// Whether the case was held against the one that was asked.
    pub fn has_case_row(&self) -> bool {
        self.json["limits"].as_array().is_some_and(|rows| rows.iter().any(|r| r["name"] == "case"))
    }

    /// The version that wrote it.
    pub fn version(&self) -> Option<&str> {
        self.json["spile"].as_str()
    }
}

/// Whether a file that a proof names lies in the proof's own folder.
pub(crate) fn is_inside(file: &str) -> bool {
    !file.is_empty()
        && file.split('/').all(|part| !matches!(part, "" | "." | ".."))
        && !file.contains(['\\', ':'])
}

/// The text of a document whose last key is [`OWN_KEY`] with an empty value, that value
/// filled in.
///
/// It tells a change by accident. It is no signature: who changes the text can hash it anew.
pub(crate) fn sealed(text: &str) -> String {
    let empty = format!("\"{OWN_KEY}\": \"\"");
    let filled = format!("\"{OWN_KEY}\": \"{}\"", sha256(text.as_bytes()));
    match text.rfind(&empty) {
        Some(at) => [&text[..at], &filled, &text[at + empty.len()..]].concat(),
        None => text.to_owned(),
    }
}

/// Whether a text's own hash is that of its text.
pub(crate) fn is_whole(bytes: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(bytes) else { return false };
    let head = format!("\"{OWN_KEY}\": \"");
    let Some(start) = text.rfind(&head).map(|at| at + head.len()) else { return false };
    let Some((hash, tail)) = text[start..].split_once('"') else { return false };
    sha256([&text[..start], "\"", tail].concat().as_bytes()) == hash
}

#[cfg(test)]
mod tests {
    use super::{is_whole, sealed};

    #[test]
    fn any_byte_of_a_sealed_text_counts() {
        let text = sealed("{\n  \"x\": 1.5,\n  \"own_sha256\": \"\"\n}\n");
        assert!(is_whole(text.as_bytes()), "{text}");
        for at in 0..text.len() {
            let mut bytes = text.clone().into_bytes();
            bytes[at] ^= 1;
            assert!(!is_whole(&bytes), "byte {at}");
        }
        assert!(!is_whole(b"{}"));
    }
}
