//! Where a proof that was written and one that was made anew differ.

use serde_json::Value;

/// What is about the geometry, and so comes out the same from the same files.
const COMPARED: [&str; 6] = ["unit", "mends", "part", "changed", "ends", "measures"];
/// No more differences are told than this: one in a figure tends to spread.
const MOST: usize = 20;

/// Where the figures of `written` and of the document `again` differ, each as the rest
/// of a sentence about the written file.
///
/// `has_case`: whether the row `case`, which rests on the case as it was asked, is in
/// both; else it is taken from `written` as it stands. Numbers are compared as their
/// shortest decimals, so as they are to the bit.
pub(crate) fn differences(written: &Value, again: &str, has_case: bool) -> Vec<String> {
    let mut found = Vec::new();
    // Both are read by one reader, so that it cannot make a difference.
    let again: Value = match serde_json::from_str(again) {
        Ok(again) => again,
        Err(error) => return vec![format!("cannot be compared: {error}")],
    };
    compare_limits(written, &again, has_case, &mut found);
    compare_inputs(written, &again, &mut found);
    // A run may have left its measures out; no verdict rests on them.
    let is_told = |key: &str| key != "measures" || !written["measures"].is_null();
    for key in COMPARED.into_iter().filter(|key| is_told(key)) {
        compare(key, &written[key], &again[key], &mut found);
    }
    let case_row = rows(written).into_iter().find(|row| is_case(row) && !has_case);
    let case_broken = case_row.is_some_and(|row| row["verdict"] != "held");
    let verdict = if case_broken { Value::from("broken") } else { again["verdict"].clone() };
    compare("verdict", &written["verdict"], &verdict, &mut found);
    if found.len() > MOST {
        let more = found.len() - MOST;
        found.truncate(MOST);
        found.push(format!("differs in {more} more places"));
    }
    found
}

fn rows(proof: &Value) -> Vec<&Value> {
    proof["limits"].as_array().map_or_else(Vec::new, |rows| rows.iter().collect())
}

fn is_case(row: &Value) -> bool {
    row["name"] == "case" && row["end"].is_null()
}

/// A row's name for a sentence.
fn subject(row: &Value) -> String {
    let name = row["name"].as_str().unwrap_or("?");
    match row["end"].as_str() {
        Some(end) => format!("`{name}` at end `{end}`"),
        None => format!("`{name}`"),
    }
}

fn compare_limits(written: &Value, again: &Value, has_case: bool, found: &mut Vec<String>) {
    let of = |proof: &Value| -> Vec<Value> {
        let rows = rows(proof).into_iter().filter(|row| has_case || !is_case(row));
        rows.cloned().collect()
    };
    let (written, again) = (of(written), of(again));
    let is_same_row = |a: &Value, b: &Value| a["name"] == b["name"] && a["end"] == b["end"];
    for row in &written {
        match again.iter().find(|other| is_same_row(row, other)) {
            Some(other) => compare(&subject(row), row, other, found),
            None => found.push(format!("has a row {} that is not judged here", subject(row))),
        }
    }
    for row in &again {
        if !written.iter().any(|other| is_same_row(row, other)) {
            found.push(format!("has no row {}, which is judged here", subject(row)));
        }
    }
    if found.is_empty() && written.len() != again.len() {
        found.push(format!("has {} limits where {} are judged", written.len(), again.len()));
    }
}

/// What the case names is among the inputs as written. There may be more: the scan that
/// a case was written for before it was moved onto this one.
fn compare_inputs(written: &Value, again: &Value, found: &mut Vec<String>) {
    let of = |proof: &Value| proof["inputs"].as_array().cloned().unwrap_or_default();
    for input in of(again) {
        match of(written).iter().find(|other| other["file"] == input["file"]) {
            Some(other) => compare(&format!("input {}", input["file"]), other, &input, found),
            None => found.push(format!("does not list the input {}", input["file"])),
        }
    }
}

/// Goes down where both have the same fields; what differs is told by its way there.
fn compare(way: &str, written: &Value, again: &Value, found: &mut Vec<String>) {
    match (written, again) {
        (Value::Object(a), Value::Object(b)) => {
            for key in a.keys().chain(b.keys().filter(|key| !a.contains_key(*key))) {
                compare(&format!("{way}.{key}"), &written[key], &again[key], found);
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (k, (a, b)) in a.iter().zip(b).enumerate() {
                compare(&format!("{way}[{k}]"), a, b, found);
            }
        }
        _ if written != again => {
            found.push(format!("says {way} is {}, it is {}", short(written), short(again)));
        }
        _ => {}
    }
}

/// A value as it fits a sentence.
fn short(value: &Value) -> String {
    let text = value.to_string();
    match text.char_indices().nth(120) {
        Some((at, _)) => format!("{}…", &text[..at]),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::differences;

    fn proof() -> Value {
        json!({
            "unit": "mm",
            "verdict": "held",
            "limits": [
                { "name": "case", "end": null, "verdict": "held" },
                { "name": "wall_min", "end": "upper", "measured": 1.25, "verdict": "held" },
            ],
            "ends": [{ "name": "upper", "stations": [{ "s": 0.5 }, { "s": 1.5 }] }],
        })
    }

    fn changed(pointer: &str, value: Value) -> Vec<String> {
        let mut other = proof();
        *other.pointer_mut(pointer).unwrap() = value;
        differences(&other, &proof().to_string(), false)
    }

    #[test]
    fn each_figure_is_told_by_its_way() {
        assert!(differences(&proof(), &proof().to_string(), false).is_empty());
        let said = changed("/limits/1/measured", json!(1.250_000_000_000_000_2));
        assert_eq!(
            said,
            ["says `wall_min` at end `upper`.measured is 1.2500000000000002, it is 1.25"]
        );
        assert_eq!(
            changed("/ends/0/stations/1/s", json!(2)),
            ["says ends[0].stations[1].s is 2, it is 1.5"]
        );
        assert_eq!(changed("/verdict", json!("broken")).len(), 1);
        assert_eq!(changed("/limits/1/name", json!("kink")).len(), 2);
    }

    #[test]
    fn a_broken_case_row_explains_a_broken_verdict() {
        let mut written = proof();
        written["limits"][0]["verdict"] = json!("broken");
        assert_eq!(differences(&written, &proof().to_string(), false).len(), 1);
        written["verdict"] = json!("broken");
        assert!(differences(&written, &proof().to_string(), false).is_empty());
        assert_eq!(differences(&written, &proof().to_string(), true).len(), 2);
    }
}
