//! The guide's table of real scans under hard limits: each row must say what the
//! run of its case measured.

use serde_json::Value;

use crate::{Fault, root};

/// The page with the table.
const PAGE: &str = "docs/src/real-scans.md";
/// Columns of figures, counted from the case's name: deviation, kink, least wall, triangles.
const COLUMNS: [usize; 4] = [2, 3, 5, 6];

/// Holds the table to the proofs of all cases under hard limits, by name.
///
/// # Errors
/// A row is missing, is of no case, or says another figure; the message has every
/// figure as it should be.
pub fn is_true(proofs: &[(String, Value)]) -> Result<(), Fault> {
    let page = root().join(PAGE);
    let text = std::fs::read_to_string(&page).map_err(|e| format!("{}: {e}", page.display()))?;
    compared(&text, proofs)
}

fn compared(text: &str, proofs: &[(String, Value)]) -> Result<(), Fault> {
    let rows: Vec<(&str, Vec<&str>)> = text.lines().filter_map(row).collect();
    let mut wrong = Vec::new();
    for (name, cells) in &rows {
        let Some((_, proof)) = proofs.iter().find(|(case, _)| case == name) else {
            wrong.push(format!("`{name}` is no case under hard limits"));
            continue;
        };
        let told = COLUMNS.map(|k| cells.get(k).copied().unwrap_or_default());
        let measured = figures(proof);
        if told != measured.each_ref().map(String::as_str) {
            wrong.push(format!("`{name}` measures {}", measured.join(" | ")));
        }
    }
    let untold = proofs.iter().filter(|(case, _)| !rows.iter().any(|(name, _)| name == case));
    wrong.extend(untold.map(|(case, proof)| {
        format!("`{case}` has no row: it measures {}", figures(proof).join(" | "))
    }));
    if wrong.is_empty() { Ok(()) } else { Err(format!("{PAGE}:\n    {}", wrong.join("\n    "))) }
}

/// A row of the table: its case, and all its cells.
fn row(line: &str) -> Option<(&str, Vec<&str>)> {
    let (name, _) = line.strip_prefix("| `")?.split_once('`')?;
    name.ends_with("-hard")
        .then(|| (name, line.trim_matches('|').split('|').map(str::trim).collect()))
}

/// The worst that was measured at any end, as the table writes it.
fn figures(proof: &Value) -> [String; 4] {
    let of = |name: &str| -> Vec<f64> {
        let rows = proof["limits"].as_array().into_iter().flatten();
        let asked = rows.filter(|row| row["name"] == name && !row["asked"].is_null());
        asked.filter_map(|row| row["measured"].as_f64()).collect()
    };
    let most = |name: &str| of(name).into_iter().fold(f64::NEG_INFINITY, f64::max);
    let least = of("wall_min").into_iter().fold(f64::INFINITY, f64::min);
    let triangles = proof["part"]["triangles"].as_u64().unwrap_or_default();
    [
        format!("{:.3}", most("deviation")),
        format!("{:.2}", most("kink")),
        format!("{least:.3}"),
        grouped(triangles),
    ]
}

/// A number with a comma between thousands.
fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut told = String::new();
    for (k, digit) in digits.chars().enumerate() {
        if k > 0 && (digits.len() - k).is_multiple_of(3) {
            told.push(',');
        }
        told.push(digit);
    }
    told
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn rows_that_say_another_figure_are_told() {
        let limit = |name, measured| json!({ "name": name, "asked": 1, "measured": measured });
        let proof = json!({
            "limits": [limit("deviation", 0.0644), limit("deviation", 0.01), limit("kink", 3.906),
                limit("wall_min", 1.0963), limit("wall_min", 1.68)],
            "part": { "triangles": 1_030_572 },
        });
        let proofs = [("a-hard".to_owned(), proof)];
        let row = |kink: &str| {
            format!("| `a-hard`, wavy | shell | 0.064 | {kink} | 1.2 | 1.096 | 1,030,572 |")
        };
        assert_eq!(compared(&row("3.91"), &proofs), Ok(()));
        let said = compared(&row("3.94"), &proofs).unwrap_err();
        assert!(said.contains("`a-hard` measures 0.064 | 3.91 | 1.096 | 1,030,572"), "{said}");
        assert!(compared("", &proofs).is_err_and(|said| said.contains("has no row")));
        assert!(compared(&row("3.91"), &[]).is_err_and(|said| said.contains("is no case")));
    }
}
