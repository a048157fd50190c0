//! The row `unit`: whether the part's file states the case's unit.

use spile_case::Case;

use crate::proof::{LimitResult, Proof, Verdict};

/// Adds the row `unit` to the proof of a part whose file states a unit of its own; where
/// that is not the case's, the part is not the size that was proved, and the verdict is
/// broken.
///
/// `stated` is the unit's symbol, as the case writes it (`mm`, `cm`, `m`, `in`).
pub fn add_unit(proof: &mut Proof, settled: &Case, stated: &str) {
    let asked = settled.unit.name();
    let (verdict, how) = if stated == asked {
        (Verdict::Held, format!("the part's file states the case's unit, {asked}"))
    } else {
        proof.verdict = Verdict::Broken;
        let how = format!(
            "the part's file states {stated}, the case {asked}: every reader of the file takes the \
             part for another size; all other rows read its numbers as {asked}"
        );
        (Verdict::Broken, how)
    };
    proof.limits.insert(0, LimitResult::plain("unit", None, verdict, how));
}
