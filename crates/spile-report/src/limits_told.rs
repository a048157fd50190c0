//! The verdict, the limits and what would hold, in words and a table.

use spile_proof::{Conflict, KnownBy, LimitResult, Verdict, WantedValue};

use crate::document::{Align, Banner, Block, Cell, Span, Table, Text, plain, with_names};
use crate::evidence::Evidence;
use crate::number::{Sense, asked_text, in_unit, measured_text, place, sense_of};

/// A plain word for each limit, for those who have never seen a case file.
pub(crate) fn plain_word(limit: &str) -> &'static str {
    match limit {
        "case" => "all that was asked is judged",
        "closed" => "one closed solid",
        "untouched" => "scan beyond reach is unchanged",
        "mends" => "mends are what they say",
        "seam" => "seam lies where it was asked",
        "deviation" => "replaced scan to scan, both ways",
        "kink" => "sharpest edge at a seam",
        "kink_border" => "sharpest new edge at the border",
        "seam_height" => "flattest triangle at a seam",
        "fitting" => "fitting's place and shape",
        "wall_min" => "thinnest wall",
        "bore_loss" => "greatest loss of bore area",
        "ball_min" => "ball that passes the bore",
        "end_face" => "end face is flat",
        "clear" => "regions to be left clear",
        "rims" => "other rims are closed",
        _ => "",
    }
}

/// The verdict first.
pub(crate) fn banner(evidence: &Evidence) -> Banner {
    let count = |v: Verdict| evidence.limits.iter().filter(|l| l.verdict == v).count();
    let asked = evidence.limits.len() - count(Verdict::NotAsked);
    let bad = |l: &&LimitResult| matches!(l.verdict, Verdict::Broken | Verdict::NotJudged);
    let failed = evidence.limits.iter().filter(bad).count();
    let (verdict, sentence) = match (evidence.verdict, evidence.mesh) {
        (Verdict::Held, _) => {
            (Verdict::Held, format!("Held: the part holds all {asked} checks that were asked."))
        }
        (_, None) => (Verdict::Broken, "Broken: no part closes under these limits.".to_owned()),
        (_, Some(_)) => {
            (Verdict::Broken, format!("Broken: {failed} of {asked} checks are not held."))
        }
    };
    let points = match evidence.mesh {
        None => Vec::new(),
        Some(_) => evidence.limits.iter().filter(bad).map(|l| failing(l, evidence.unit)).collect(),
    };
    Banner { verdict, sentence, points, caution: evidence.caution.to_owned() }
}

fn failing(limit: &LimitResult, unit: &str) -> Text {
    let mut text = vec![Span::Code(limit.name.clone())];
    if let Some(end) = &limit.end {
        text.push(Span::Plain(format!(" at end {end}")));
    }
    let told = match (limit.measured, limit.asked, limit.verdict) {
        (Some(m), Some(a), Verdict::Broken) => format!(
            ": {} measured, {} {} asked",
            measured_text(&limit.name, m, unit),
            sense_of(&limit.name).words(),
            asked_text(&limit.name, a, unit)
        ),
        (_, _, Verdict::NotJudged) => format!(": not judged; {}", limit.how),
        _ => format!(": {}", limit.how),
    };
    text.push(Span::Plain(told));
    if let Some(at) = limit.where_ {
        text.push(Span::Plain(format!(", near {}", place(at))));
    }
    text
}

/// The table of limits.
pub(crate) fn limits(evidence: &Evidence) -> Vec<Block> {
    let unit = evidence.unit;
    let columns = [
        ("Limit", Align::Left),
        ("End", Align::Left),
        ("Asked", Align::Left),
        ("Measured", Align::Left),
        ("Guaranteed bounds", Align::Left),
        ("Where", Align::Left),
        ("Verdict", Align::Left),
    ];
    let row = |limit: &LimitResult| {
        let measured = |x: f64| measured_text(&limit.name, x, unit);
        let asked = limit.asked.map_or_else(String::new, |a| {
            format!("{} {}", sense_of(&limit.name).words(), asked_text(&limit.name, a, unit))
        });
        let bounds = limit.bounds.map_or_else(String::new, |[low, high]| {
            // Outward, so that the true value is not between narrower ones.
            let low = in_unit(&limit.name, low, "", |x| Sense::AtLeast.digits(x));
            let high = in_unit(&limit.name, high, "", |x| Sense::AtMost.digits(x));
            format!("{} to {}", bare(&low), bare(&high))
        });
        vec![
            Cell::Named(vec![Span::Code(limit.name.clone())], plain_word(&limit.name).to_owned()),
            limit.end.clone().unwrap_or_default().into(),
            asked.into(),
            limit.measured.map_or_else(String::new, measured).into(),
            bounds.into(),
            limit.where_.map_or_else(String::new, place).into(),
            Cell::Verdict(limit.verdict),
        ]
    };
    let table = Table {
        caption: "Each limit as it was asked and as it was measured".to_owned(),
        head: columns.map(|(name, align)| (name.to_owned(), align)).to_vec(),
        rows: evidence.limits.iter().map(row).collect(),
    };
    let note = "Measured is the guaranteed bound on the limit's bad side: the true value is no worse. \
                Bounds come from branch and bound over the whole surface and include rounding; they are \
                not samples. A limit is held only if the bound on its bad side holds it. Places are \
                coordinates of the part's file. How each was measured stands further down.";
    vec![Block::Table(table), Block::Note(plain(note))]
}

/// How each limit was measured, in a sentence.
pub(crate) fn how_measured(evidence: &Evidence) -> Vec<Block> {
    let how = |limit: &LimitResult| {
        let mut text = vec![Span::Code(limit.name.clone())];
        if let Some(end) = &limit.end {
            text.push(Span::Plain(format!(", {end}")));
        }
        text.push(Span::Plain(format!(": {}.", limit.how)));
        text
    };
    vec![
        Block::Heading { level: 2, text: "How each limit was measured".to_owned() },
        Block::List(evidence.limits.iter().map(how).collect()),
    ]
}

/// A number without the words after it.
fn bare(text: &str) -> &str {
    text.split(' ').next().unwrap_or(text)
}

/// Limits that do not hold together, and what would.
pub(crate) fn conflicts(evidence: &Evidence) -> Vec<Block> {
    let mut points = Vec::new();
    for conflict in evidence.conflicts {
        points.push(conflict_told(conflict));
        points.extend(conflict.would_hold.iter().map(|wanted| {
            let value = match wanted.value {
                WantedValue::Number(x) => x.to_string(),
                WantedValue::Point([x, y, z]) => format!("[{x}, {y}, {z}]"),
            };
            let [before, after] = match wanted.known_by {
                KnownBy::Computed => ["These alone would go together with ", "."],
                KnownBy::JudgedAgain => ["This very part holds all limits with ", "."],
                KnownBy::MadeAgain => ["Tried: a part made with ", " holds all limits."],
            };
            vec![
                Span::Strong("Suggestion. ".to_owned()),
                Span::Plain(before.to_owned()),
                Span::Code(format!("{} = {value}", wanted.key)),
                Span::Plain(after.to_owned()),
            ]
        }));
    }
    let mut blocks = Vec::new();
    if !points.is_empty() {
        let text = "Conflicts and suggestions".to_owned();
        blocks.push(Block::Heading { level: 2, text });
        blocks.push(Block::List(points));
    }
    blocks
}

fn conflict_told(conflict: &Conflict) -> Text {
    let mut text = Vec::new();
    for (k, limit) in conflict.limits.iter().enumerate() {
        if k > 0 {
            text.push(Span::Plain(" and ".to_owned()));
        }
        text.push(Span::Code(limit.clone()));
    }
    let said = match (conflict.certain, conflict.limits.len()) {
        (true, _) => " cannot hold together in any part",
        (false, 0 | 1) => " does not hold in this part",
        (false, _) => " do not hold together in this part",
    };
    let end = conflict.end.as_ref().map_or_else(String::new, |e| format!(", at end {e}"));
    let near = conflict.where_.map_or_else(String::new, |at| format!(", near {}", place(at)));
    text.push(Span::Plain(format!("{said}{end}{near}.")));
    text
}

/// Notes of the making, as points.
pub(crate) fn notes(evidence: &Evidence) -> Vec<Block> {
    if evidence.notes.is_empty() {
        return Vec::new();
    }
    let sentence = |note: &String| with_names(note);
    vec![
        Block::Heading { level: 3, text: "Notes of the run".to_owned() },
        Block::List(evidence.notes.iter().map(sentence).collect()),
    ]
}
