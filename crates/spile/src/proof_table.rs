//! The proof as a table that a person can read.

use std::fmt::Write as _;

use spile_proof::{Conflict, KnownBy, LimitResult, MendRecord, Verdict, WantedValue};
use spile_report::number::{asked_text, digits, measured_text, place, sense_of};

use crate::proof_file::{Body, CAUTION, ProofFile};
use crate::table::{Align, Table};

/// The table of limits, what gave, what was mended and changed, the verdict.
pub(crate) fn proof_text(file: &ProofFile) -> String {
    let mut out = limits_table(file.body.limits(), file.unit);
    out.push('\n');
    for limit in file.body.limits() {
        if matches!(limit.verdict, Verdict::Broken | Verdict::NotJudged) {
            let _ = writeln!(out, "{}: {}: {}", limit.verdict.word(), subject(limit), limit.how);
        }
    }
    for conflict in file.body.conflicts() {
        write_conflict(&mut out, conflict);
    }
    for note in &file.notes {
        let _ = writeln!(out, "note: {note}");
    }
    write_mends(&mut out, file.body.mends(), &file.case);
    if let Body::Judged(proof) = &file.body {
        let changed = &proof.changed;
        let _ = writeln!(
            out,
            "changed: {} scan triangles kept bit for bit, {} replaced ({} {unit}^2), {} {unit}^2 given up",
            changed.triangles_kept,
            changed.triangles_replaced,
            digits(changed.area_replaced),
            digits(changed.area_given_up),
            unit = file.unit,
        );
    }
    let verdict = match file.body.verdict() {
        Verdict::Held => "held: all limits that were asked",
        _ => "broken: not all limits are held",
    };
    let _ = writeln!(out, "verdict: {verdict}\n\n{CAUTION}");
    out
}

fn limits_table(limits: &[LimitResult], unit: &str) -> String {
    let mut table = Table::new(&[
        ("limit", Align::Left),
        ("end", Align::Left),
        ("asked", Align::Left),
        ("measured", Align::Left),
        ("where", Align::Left),
        ("verdict", Align::Left),
    ]);
    for limit in limits {
        let asked = limit.asked.map_or_else(String::new, |a| {
            let words = sense_of(&limit.name).words();
            format!("{words} {}", asked_text(&limit.name, a, unit))
        });
        let measured =
            limit.measured.map_or_else(String::new, |m| measured_text(&limit.name, m, unit));
        let at = limit.where_.map_or_else(String::new, place);
        table.row([
            limit.name.clone(),
            limit.end.clone().unwrap_or_default(),
            asked,
            measured,
            at,
            limit.verdict.word().to_owned(),
        ]);
    }
    let mut out = table.text();
    out.push_str("measured: the guaranteed bound on the limit's bad side\n");
    out
}

fn subject(limit: &LimitResult) -> String {
    match &limit.end {
        Some(end) => format!("`{}` at end `{end}`", limit.name),
        None => format!("`{}`", limit.name),
    }
}

fn write_conflict(out: &mut String, conflict: &Conflict) {
    let limits: Vec<String> = conflict.limits.iter().map(|l| format!("`{l}`")).collect();
    let said = if conflict.certain {
        "cannot hold together in any part"
    } else if limits.len() > 1 {
        "do not hold together in this part"
    } else {
        "does not hold in this part"
    };
    let _ = write!(out, "conflict: {} {said}", limits.join(" and "));
    if let Some(end) = &conflict.end {
        let _ = write!(out, ", at end `{end}`");
    }
    if let Some(at) = conflict.where_ {
        let _ = write!(out, ", near {}", place(at));
    }
    out.push('\n');
    for wanted in &conflict.would_hold {
        let value = match wanted.value {
            WantedValue::Number(x) => x.to_string(),
            WantedValue::Point([x, y, z]) => format!("[{x}, {y}, {z}]"),
        };
        let [before, after] = match wanted.known_by {
            KnownBy::Computed => ["these alone would go together with", ""],
            KnownBy::JudgedAgain => ["this very part holds all limits with", ""],
            KnownBy::MadeAgain => ["tried: a part made with", " holds all limits"],
        };
        let _ = writeln!(out, "hint: {before} `{}` = {value}{after}", wanted.key);
    }
}

fn write_mends(out: &mut String, mends: &[MendRecord], case: &str) {
    if mends.is_empty() {
        return;
    }
    let mut kinds: Vec<&str> = mends.iter().map(|m| m.kind.as_str()).collect();
    kinds.sort_unstable();
    kinds.dedup();
    let counts: Vec<String> = kinds
        .iter()
        .map(|kind| format!("{} {kind}", mends.iter().filter(|m| m.kind == *kind).count()))
        .collect();
    let _ = writeln!(out, "mended: {}; each is listed in {case}", counts.join(", "));
}

#[cfg(test)]
mod tests {
    use spile_mesh::DVec3;
    use spile_proof::{
        Changed, Conflict, KnownBy, LimitResult, MendRecord, PartFigures, Proof, Verdict, Wanted,
        WantedValue,
    };

    use super::proof_text;
    use crate::proof_file::{Body, CAUTION, ProofFile};

    fn proof() -> Proof {
        let (upper, at) = (Some("upper"), DVec3::new(12.0, -0.5, 80.123));
        let deviation = [0.0411, 0.0412];
        let limits = vec![
            LimitResult::plain("closed", None, Verdict::Held, "one outward shell"),
            LimitResult::at_most("deviation", upper, Some(0.1), deviation, at, "certified"),
            LimitResult::at_least("wall_min", upper, Some(1.5), [1.41, 1.42], at, "thinnest here"),
            LimitResult::at_most("bore_loss", upper, Some(0.01), [0.0, 0.00312], at, "exact"),
            LimitResult::at_most("kink", upper, None, [7.25, 7.25], at, "at the seam"),
            LimitResult::plain("ball_min", upper, Verdict::NotJudged, "the bore cannot be told"),
        ];
        let conflict = Conflict {
            limits: vec!["wall_min".into(), "deviation".into()],
            end: Some("upper".into()),
            where_: Some(at.to_array()),
            would_hold: vec![
                Wanted {
                    key: "limits.wall_min".into(),
                    value: WantedValue::Number(1.4),
                    known_by: KnownBy::JudgedAgain,
                },
                Wanted {
                    key: "end.place.at".into(),
                    value: WantedValue::Point([12.0, 0.0, 116.5]),
                    known_by: KnownBy::MadeAgain,
                },
            ],
            certain: false,
        };
        let mend = |kind: &str| MendRecord { kind: kind.into(), where_: [0.0; 3], size: 0.2 };
        Proof {
            verdict: Verdict::Broken,
            limits,
            conflicts: vec![conflict],
            mends: vec![mend("hole"), mend("duplicate"), mend("hole")],
            part: PartFigures {
                triangles: 4,
                vertices: 4,
                area: 1.0,
                volume: 1.0,
                shells: 1,
                boundary_edges: 0,
                self_intersections: 0,
            },
            changed: Changed {
                triangles_kept: 12_000,
                triangles_replaced: 431,
                area_replaced: 22.1234,
                area_given_up: 0.0,
            },
            ends: Vec::new(),
        }
    }

    #[test]
    fn the_table_reads_as_a_whole() {
        let file = ProofFile {
            spile: "[VERSION]",
            case: "case.toml".into(),
            unit: "mm",
            inputs: Vec::new(),
            outputs: Vec::new(),
            asked: None,
            body: Body::Judged(Box::new(proof())),
            notes: vec!["end `upper`: the edge length is 0.25 mm".into()],
            gave_way: None,
            align: None,
            bending: None,
            measures: None,
            recomputed: None,
            caution: CAUTION,
        };
        insta::assert_snapshot!("proof table", proof_text(&file));
    }
}
