//! Stations and limits of a proof as tables.

use spile_formats::{PartInfo, csv};
use spile_proof::Proof;

/// A number in the fewest digits that read back the same; nothing where there is none.
fn number(x: Option<f64>) -> String {
    x.map_or_else(String::new, |x| x.to_string())
}

fn names(fixed: &[&str]) -> Vec<String> {
    fixed.iter().map(|&name| name.to_owned()).collect()
}

/// The stations of every end, in the proof's order.
pub(crate) fn stations(proof: &Proof, unit: &str) -> String {
    let mut header = names(&["end"]);
    header.extend(["s", "x", "y", "z"].map(|name| format!("{name}_{unit}")));
    header.extend(names(&["normal_x", "normal_y", "normal_z"]));
    header.extend(["area_scan", "area_part"].map(|name| format!("{name}_{unit}2")));
    header.extend(["hydraulic_diameter", "inscribed_diameter"].map(|n| format!("{n}_{unit}")));
    let records = proof.ends.iter().flat_map(|end| {
        end.stations.iter().map(|s| {
            let mut record = vec![end.name.clone()];
            let known = [s.s].into_iter().chain(s.at).chain(s.normal);
            record.extend(known.map(|x| number(Some(x))));
            let figures = [s.area_scan, s.area_part, s.hydraulic_diameter, s.inscribed_diameter];
            record.extend(figures.map(number));
            record
        })
    });
    csv::text(&header, &records.collect::<Vec<_>>())
}

/// Every row of the proof. Each has the unit of its own figures, since they differ.
pub(crate) fn limits(proof: &Proof, unit: &str) -> String {
    let mut header = names(&[
        "limit",
        "end",
        "asked",
        "measured",
        "lower_bound",
        "upper_bound",
        "unit",
        "verdict",
    ]);
    header.extend(["x", "y", "z"].map(|name| format!("{name}_{unit}")));
    header.push("how".to_owned());
    let records = proof.limits.iter().map(|row| {
        let [lower, upper] = [0, 1].map(|k| row.bounds.map(|b| b[k]));
        let [x, y, z] = [0, 1, 2].map(|k| row.where_.map(|p| p[k]));
        let has_figures = row.asked.or(row.measured).or(lower).is_some();
        let of = if has_figures { unit_of(&row.name, unit) } else { "" };
        let end = row.end.clone().unwrap_or_default();
        let mut record = vec![row.name.clone(), end];
        record.extend([row.asked, row.measured, lower, upper].map(number));
        record.extend(names(&[of, row.verdict.word()]));
        record.extend([x, y, z].map(number));
        record.push(row.how.clone());
        record
    });
    csv::text(&header, &records.collect::<Vec<_>>())
}

/// The unit of a limit's figures; a bare number is `1`.
fn unit_of<'a>(limit: &str, length: &'a str) -> &'a str {
    match limit {
        "kink" | "kink_border" => "deg",
        // Shares and counts.
        "bore_loss" | "seam_height" | "untouched" | "mends" | "case" => "1",
        _ => length,
    }
}

/// What must be said beside tables, which carry no words of their own.
pub(crate) fn cautions(info: &PartInfo) -> String {
    let PartInfo { unit, title, description, application } = info;
    format!(
        "{title}\n\n{description}\n\nLengths are in {}; the tables name the unit of each column, and \
         of each row's figures where they differ (1: a share or a count).\n\nMade by {application}.\n",
        unit.symbol()
    )
}
