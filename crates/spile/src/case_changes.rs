//! Which keys of two cases differ.

use serde::Serialize;
use spile_case::{Case, write_case};

/// A key of the case file with its values, none where it is not there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct KeyChange {
    /// The key with the names of the tables it is in; an end goes by its name.
    pub key: String,
    /// Its value in the first case, as it is written.
    pub a: Option<String>,
    /// In the second.
    pub b: Option<String>,
}

/// The keys whose values differ, in the order of the case file. Left out are seams, which
/// follow from the rest, and what the case is called.
pub(crate) fn changes(a: &Case, b: &Case) -> Vec<KeyChange> {
    let [a, b] = [a, b].map(keys);
    let find = |list: &[(String, String)], key: &str| {
        list.iter().find(|(k, _)| k == key).map(|(_, value)| value.clone())
    };
    let mut all: Vec<&String> = a.iter().map(|(key, _)| key).collect();
    all.extend(b.iter().map(|(key, _)| key).filter(|key| find(&a, key).is_none()));
    let pairs = all.into_iter().map(|key| KeyChange {
        key: key.clone(),
        a: find(&a, key),
        b: find(&b, key),
    });
    pairs.filter(|pair| pair.a != pair.b).collect()
}

/// Every key with its value, read off the fixed layout in which cases are written: one
/// key a line below the head of its table.
fn keys(case: &Case) -> Vec<(String, String)> {
    let mut case = case.clone();
    case.name = None;
    case.ends.iter_mut().for_each(|end| end.seam = None);
    let mut found = Vec::new();
    let (mut table, mut counts) = (String::new(), std::collections::BTreeMap::new());
    for line in write_case(&case).lines() {
        if let Some(head) = line.strip_prefix("[[").and_then(|l| l.strip_suffix("]]")) {
            let count = counts.entry(head.to_owned()).or_insert(0);
            *count += 1;
            table = format!("{head} {count}.");
        } else if let Some(head) = line.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
            table = format!("{head}.");
        } else if let Some((key, value)) = line.split_once(" = ") {
            if table.starts_with("end ") && key == "name" {
                table = format!("end {}.", value.trim_matches('"'));
            }
            found.push((format!("{table}{key}"), value.to_owned()));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use spile_case::read_case;

    use super::{KeyChange, changes};

    const CASE: &str = "unit = \"mm\"\n\n[scan]\nfile = \"a.stl\"\nform = \"shell\"\n\n[[end]]\nname = \"upper\"\n\
        cut = { through = [0, 0, 40], facing = [0, 0, 1] }\n\n[limits]\ndeviation = 0.1\nkink = 10\n\n\
        [[keep]]\nball = { at = [0, 0, 0], radius = 1 }\n";

    #[test]
    fn keys_are_told_with_their_tables_and_ends_by_name() {
        let first = read_case(CASE, "a.toml").unwrap();
        assert!(changes(&first, &first).is_empty());
        let text = CASE.replace("kink = 10", "wall_min = 1.5").replace("radius = 1", "radius = 2");
        let second = read_case(&text.replace("40]", "41]"), "b.toml").unwrap();
        let found = changes(&first, &second);
        let told: Vec<&str> = found.iter().map(|c| c.key.as_str()).collect();
        assert_eq!(told, ["end upper.cut", "limits.kink", "keep 1.ball", "limits.wall_min"]);
        let kink = KeyChange { key: "limits.kink".into(), a: Some("10.0".into()), b: None };
        assert_eq!(found[1], kink);
    }
}
