//! A case whose every limit is as tight as its own part lets it be.

use spile_case::Case;
use spile_proof::{LimitResult, Verdict, judge};

use crate::made::Made;

/// Halvings of the span in which a limit is sought.
const HALVINGS: usize = 8;

/// The row of a limit at an end.
pub fn row<'a>(rows: &'a [LimitResult], name: &str, end: &str) -> &'a LimitResult {
    rows.iter().find(|l| l.name == name && l.end.as_deref() == Some(end)).expect("such a row")
}

/// The judgement of the made part by its settled case with changed limits.
fn rows(made: &Made, case: &Case) -> (bool, Vec<LimitResult>) {
    let proof = judge(std::slice::from_ref(&made.scan), &made.part, case).unwrap();
    (proof.verdict == Verdict::Held, proof.limits)
}

/// The settled case with each limit at the first end set to what the part measured, its
/// guaranteed bound, so that the part is still held.
///
/// Where another row rests on the same limit and is less far from it, the limit is as
/// near to the measure as lets the part be held: `kink` rules the edges at the border of
/// reach, too; `wall_min` the wall of replaced scan, which may be thinner than the scan's
/// by a tenth of `deviation`.
pub fn tightened(made: &Made) -> Case {
    let mut case = made.settled.clone();
    let end = case.ends[0].name.clone();
    let (is_held, measured) = rows(made, &case);
    assert!(is_held);
    let bound = |name: &str, side: usize| row(&measured, name, &end).bounds.unwrap()[side];
    let own = [
        ("wall_min", bound("wall_min", 0)),
        ("bore_loss", bound("bore_loss", 1)),
        ("ball_min", bound("ball_min", 0)),
        ("chord", bound("fitting", 1)),
        ("deviation", bound("deviation", 1)),
        ("kink", bound("kink", 1)),
    ];
    for (name, value) in own {
        let before = case.limits_at(&case.ends[0]);
        let with = |value: f64| {
            let mut case = case.clone();
            assert!(case.ends[0].limits.set(name, value));
            case
        };
        let (mut tight, mut loose) = match name {
            "kink" => (value, before.kink_deg.unwrap()),
            // The scan's own wall at the seam is thinner than was asked, or than was made.
            "wall_min" => (value, before.wall_min.unwrap().min(value)),
            _ => (value, before.deviation),
        };
        if rows(made, &with(value)).0 {
            loose = value;
        } else {
            assert!(matches!(name, "deviation" | "kink" | "wall_min"), "{name}");
            for _ in 0..HALVINGS {
                let middle = 0.5 * (tight + loose);
                if rows(made, &with(middle)).0 { loose = middle } else { tight = middle }
            }
        }
        case = with(loose);
    }
    case
}
