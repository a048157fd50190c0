//! What a file of a part carries beside its shape.

use std::fmt::Write as _;

use spile_mesh::Mesh;

use crate::FileUnit;
use crate::error::WriteError;

/// What a file says of the part in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartInfo {
    /// The unit of the mesh's coordinates.
    pub unit: FileUnit,
    /// The part's title.
    pub title: String,
    /// What the part is, with the cautions that must travel with it.
    pub description: String,
    /// The program that made it, with its version.
    pub application: String,
}

impl PartInfo {
    /// The whole as lines of ASCII, for formats that carry comments.
    pub(crate) fn lines(&self) -> Vec<String> {
        let unit = format!("lengths are in {}", self.unit.symbol());
        [&self.title, &self.description, &unit, &self.application]
            .into_iter()
            .flat_map(|text| text.lines())
            .map(ascii)
            .collect()
    }
}

/// `text` in printable ASCII: whatever else it holds stands as `\u{..}`, for old readers
/// take nothing else.
pub(crate) fn ascii(text: &str) -> String {
    text.chars().fold(String::new(), |mut out, c| {
        match c {
            ' '..='~' => out.push(c),
            other => {
                // Writing to a string cannot fail.
                let _ = write!(out, "{}", other.escape_unicode());
            }
        }
        out
    })
}

/// A named group of triangles.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// Its name: letters, digits, `-` and `_`, since all else ends a name somewhere.
    pub name: String,
    /// Its colour, red, green and blue, in sRGB.
    pub colour: [u8; 3],
}

/// The triangles of a mesh, each in one named group.
///
/// Invariants: names are not empty, of letters, digits, `-` and `_`, and differ; `of`
/// has one entry a triangle, the number of a group.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Groups {
    /// The groups.
    pub groups: Vec<Group>,
    /// The group of each triangle.
    pub of: Vec<u32>,
}

impl Groups {
    /// The numbers of a group's triangles, in order.
    pub(crate) fn triangles(&self, group: usize) -> impl Iterator<Item = usize> + '_ {
        (0..self.of.len()).filter(move |&t| self.of[t] as usize == group)
    }

    /// Whether the invariants hold for a mesh.
    pub(crate) fn check(&self, mesh: &Mesh, format: &'static str) -> Result<(), WriteError> {
        let unfit = |what: String| Err(WriteError::Unfit { format, what });
        let is_fit = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
        for (k, Group { name, .. }) in self.groups.iter().enumerate() {
            if name.is_empty() || !name.chars().all(is_fit) {
                return unfit(format!("the group name '{name}' is not letters, digits, - and _"));
            }
            if self.groups[..k].iter().any(|earlier| earlier.name == *name) {
                return unfit(format!("the group name '{name}' comes twice"));
            }
        }
        let count = self.groups.len();
        if self.of.len() != mesh.triangles().len() || self.of.iter().any(|&g| g as usize >= count) {
            return unfit("not every triangle has a group".to_owned());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::ascii;

    #[test]
    fn what_old_readers_do_not_take_is_written_out() {
        assert_eq!(ascii("left duct, 1 % \u{e9}\t"), "left duct, 1 % \\u{e9}\\u{9}");
    }
}
