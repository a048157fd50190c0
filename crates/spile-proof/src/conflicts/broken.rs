//! Limits that this part breaks, or does not let be judged at some place, what they
//! trade against, and the value at which the same part would hold: read off the
//! proof's own results alone.
//!
//! That a part breaks a limit does not show that none can hold it, so these
//! conflicts are not called certain. Named after what is broken is what the
//! shape trades it against: the fitting's size and place where the joint is
//! concerned, a keep that lies close by, and limits that are held with little
//! room to spare. What is broken over the whole part is told at the end where
//! the rest is broken.

use spile_case::{Ball, Case, Clear, Keep, Site};
use spile_mesh::DVec3;

use super::rounded::{down, up};
use crate::proof::{
    Conflict, KnownBy, LimitResult, Proof, ProofError, Verdict, Wanted, WantedValue,
};

/// A limit that uses more than this share of what it is allowed has little room.
const TIGHT_SHARE: f64 = 0.8;

/// A limit from below that is held by less than this share has little room.
const TIGHT_ABOVE: f64 = 1.05;

/// The name in the case file under which a row of the proof is asked for, as
/// far as the part's shape can trade it against others.
fn asked_as(row: &LimitResult, case: &Case) -> Option<&'static str> {
    match row.name.as_str() {
        "closed" => Some("closed"),
        "deviation" => Some("deviation"),
        "wall_min" => Some("wall_min"),
        "bore_loss" => Some("bore_loss"),
        "ball_min" => Some("ball_min"),
        "fitting" => Some("fitting"),
        "clear" => Some("clear"),
        "kink" | "kink_border" | "seam_height" => Some("kink"),
        "seam" => {
            let end = case.ends.iter().find(|e| Some(&e.name) == row.end.as_ref())?;
            Some(if matches!(end.site, Site::Cut(_)) { "deviation" } else { "trim" })
        }
        _ => None,
    }
}

/// Judges the same part against another case.
type Again<'a> = dyn Fn(&Case) -> Result<Proof, ProofError> + 'a;

/// Adds to `proof` the conflicts that its rows show beyond those it names
/// already, and the value at which the same part would hold.
///
/// `again` judges the same part against another case. Nothing is added where
/// the part breaks what no shape is traded against (`untouched`, `mends`), or
/// has open edges: that is no attempt at the job.
///
/// # Errors
/// Those of `again`.
pub(crate) fn add_broken_limits(
    proof: &mut Proof,
    case: &Case,
    again: &Again<'_>,
) -> Result<(), ProofError> {
    let broken: Vec<&LimitResult> = proof.limits.iter().filter(|r| is_broken(r)).collect();
    let all_trade = broken.iter().all(|r| asked_as(r, case).is_some());
    if broken.is_empty() || !all_trade || proof.part.boundary_edges > 0 {
        return Ok(());
    }
    let value = value_that_holds(proof, case, again)?;
    let mut ends: Vec<Option<&str>> = broken.iter().map(|r| end_of(r, case, &broken)).collect();
    ends.sort_unstable();
    ends.dedup();
    let found: Vec<Conflict> = ends
        .into_iter()
        .filter_map(|end| {
            let here = broken.iter().copied().filter(|r| end_of(r, case, &broken) == end);
            let unnamed = here.filter(|r| !is_named(proof, end, asked_as(r, case)));
            conflict_of(proof, case, end, &unnamed.collect::<Vec<_>>(), value.as_ref())
        })
        .collect();
    if let Some(value) = value {
        // What holds everything is worth more than what two limits alone allow.
        let offered = proof.conflicts.iter_mut().flat_map(|c| &mut c.would_hold);
        offered.filter(|w| w.key == value.key).for_each(|w| *w = value.clone());
    }
    proof.conflicts.extend(found);
    Ok(())
}

/// Whether the part's shape does not hold what a row asks: it breaks it, or has a place
/// where it cannot be judged.
fn is_broken(row: &LimitResult) -> bool {
    row.verdict == Verdict::Broken || (row.verdict == Verdict::NotJudged && row.where_.is_some())
}

/// The end at which a row is told: its own; where it is about the whole part,
/// the only end that has broken rows, or the only one with a fitting.
fn end_of<'a>(row: &'a LimitResult, case: &'a Case, broken: &[&'a LimitResult]) -> Option<&'a str> {
    if row.end.is_some() {
        return row.end.as_deref();
    }
    let only = |mut names: Vec<&'a str>| {
        names.sort_unstable();
        names.dedup();
        if let [name] = names[..] { Some(name) } else { None }
    };
    let with_fitting = case.ends.iter().filter(|e| e.fitting.is_some());
    only(broken.iter().filter_map(|r| r.end.as_deref()).collect())
        .or_else(|| only(with_fitting.map(|e| e.name.as_str()).collect()))
}

/// The conflict of the rows that are broken at one end; none of a fitting that
/// is broken alone, which nothing was traded for.
fn conflict_of(
    proof: &Proof,
    case: &Case,
    end: Option<&str>,
    here: &[&LimitResult],
    value: Option<&Wanted>,
) -> Option<Conflict> {
    let first = here.iter().find(|r| r.name != "fitting")?;
    let mut limits: Vec<String> = Vec::new();
    let against = traded_against(proof, case, first, end);
    for name in here.iter().filter_map(|r| asked_as(r, case)).chain(against) {
        if !limits.iter().any(|l| l == name) {
            limits.push(name.to_owned());
        }
    }
    Some(Conflict {
        limits,
        end: end.map(str::to_owned),
        where_: here.iter().find_map(|r| r.where_),
        would_hold: value.into_iter().cloned().collect(),
        certain: false,
    })
}

/// Whether a conflict that no part can resolve names this limit at this end.
fn is_named(proof: &Proof, end: Option<&str>, limit: Option<&str>) -> bool {
    let named = |c: &Conflict| {
        (c.end.as_deref() == end || end.is_none())
            && c.limits.iter().any(|l| Some(l.as_str()) == limit)
    };
    proof.conflicts.iter().any(named)
}

/// What a broken limit is traded against.
fn traded_against(
    proof: &Proof,
    case: &Case,
    broken: &LimitResult,
    end: Option<&str>,
) -> Vec<&'static str> {
    let at = broken.where_.map(DVec3::from_array);
    let asked = case.ends.iter().find(|e| Some(e.name.as_str()) == end);
    let mut against = Vec::new();
    if asked.is_some_and(|e| e.fitting.is_some()) {
        against.push("fitting");
    }
    if broken.name == "wall_min" && case.scan.wall.is_some() {
        against.push("wall");
    }
    let reach = asked.and_then(|e| e.reach).unwrap_or(0.0);
    if at.is_some_and(|at| case.keeps.iter().any(|k| is_near(k, at, 0.5 * reach))) {
        against.push("keep");
    }
    let is_beside = |clear: &Clear| match *clear {
        Clear::Ball(ball) => at.is_some_and(|at| is_near(&Keep::Ball(ball), at, reach)),
        Clear::Box { min, max } => at.is_some_and(|at| is_near(&Keep::Box { min, max }, at, reach)),
    };
    if broken.name != "clear" && case.clears.iter().any(is_beside) {
        against.push("clear");
    }
    let held = proof.limits.iter().filter(|r| r.verdict == Verdict::Held);
    let here = held.filter(|r| r.end.as_deref() == end && has_little_room(r));
    against.extend(here.filter_map(|r| asked_as(r, case)));
    against
}

fn is_near(keep: &Keep, p: DVec3, within: f64) -> bool {
    match keep {
        Keep::Ball(ball) => p.distance(DVec3::from_array(ball.at)) - ball.radius < within,
        Keep::Box { min, max } => {
            let inside = p.clamp(DVec3::from_array(*min), DVec3::from_array(*max));
            p.distance(inside) < within
        }
        // A list of triangles has no place without the scan.
        Keep::Triangles { .. } => false,
    }
}

fn has_little_room(row: &LimitResult) -> bool {
    let (Some(asked), Some(measured)) = (row.asked, row.measured) else { return false };
    match row.name.as_str() {
        "wall_min" | "ball_min" => measured <= TIGHT_ABOVE * asked,
        "deviation" | "bore_loss" | "kink" => measured >= TIGHT_SHARE * asked,
        _ => false,
    }
}

/// The largest ball in place of the case's only region that this part keeps clear
/// of, by judging it again.
fn smaller_ball(
    case: &Case,
    clearance: f64,
    again: &Again<'_>,
) -> Result<Option<Wanted>, ProofError> {
    let [Clear::Ball(ball)] = case.clears[..] else { return Ok(None) };
    // A border that touches is not clear.
    let radius = down((ball.radius + clearance) * (1.0 - 1e-9));
    if radius.is_nan() || radius <= 0.0 {
        return Ok(None);
    }
    let mut changed = case.clone();
    changed.clears = vec![Clear::Ball(Ball { radius, ..ball })];
    let holds = again(&changed)?.verdict == Verdict::Held;
    Ok(holds.then(|| Wanted {
        key: "clear.ball.radius".to_owned(),
        value: WantedValue::Number(radius),
        known_by: KnownBy::JudgedAgain,
    }))
}

/// Where one key of the case alone stands against the whole part: the value of
/// it at which the same part holds everything, by judging it again.
fn value_that_holds(
    proof: &Proof,
    case: &Case,
    again: &Again<'_>,
) -> Result<Option<Wanted>, ProofError> {
    let rows =
        || proof.limits.iter().filter(|r| !matches!(r.verdict, Verdict::Held | Verdict::NotAsked));
    let Some(name) = rows().next().and_then(|row| asked_as(row, case)) else { return Ok(None) };
    if rows().any(|r| asked_as(r, case) != Some(name) || r.verdict != Verdict::Broken) {
        return Ok(None);
    }
    let measured = || rows().filter(|r| r.name != "seam_height").filter_map(|r| r.measured);
    let most = measured().fold(f64::NEG_INFINITY, f64::max);
    let least = measured().fold(f64::INFINITY, f64::min);
    let mut changed = case.clone();
    let value = match name {
        "wall_min" | "ball_min" => down(least),
        "clear" => return smaller_ball(case, least, again),
        _ => up(most),
    };
    if !value.is_finite() || value < 0.0 {
        return Ok(None);
    }
    // An end that has its own limit is not helped by the case's; rows at two
    // such ends, or at one such and one other, would need two keys.
    let own = |end: &str| {
        let end = case.ends.iter().find(|e| e.name == end)?;
        end.limits.by_name(name).map(|_| end.name.as_str())
    };
    let mut at: Vec<Option<&str>> = rows().map(|r| r.end.as_deref().and_then(own)).collect();
    at.sort_unstable();
    at.dedup();
    let [only] = at[..] else { return Ok(None) };
    let key = if only.is_some() { format!("end.limits.{name}") } else { format!("limits.{name}") };
    let no_limit = match name {
        "bore_loss" => value >= 1.0,
        "kink" => value >= 90.0,
        _ => false,
    };
    let is_set = match changed.ends.iter_mut().find(|e| only == Some(e.name.as_str())) {
        Some(end) => end.limits.set(name, value),
        None => changed.limits.set(name, value),
    };
    if no_limit || !is_set {
        return Ok(None);
    }
    let holds = again(&changed)?.verdict == Verdict::Held;
    let value = WantedValue::Number(value);
    Ok(holds.then_some(Wanted { key, value, known_by: KnownBy::JudgedAgain }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::proof::PartFigures;

    const CASE: &str = "unit = \"mm\"\n[scan]\nfile = \"a.stl\"\nform = \"shell\"\n\
        [[end]]\nname = \"upper\"\ncut = { through = [0, 0, 9], facing = [0, 0, 1] }\nreach = 5\n\
        fitting = { kind = \"tube\", bore = 9.0, outside = 12.0, length = 6.0 }\n\
        place = { gap = 9.0 }\n[limits]\ndeviation = 0.1\nbore_loss = 0.01\n";

    fn proof_with(row: LimitResult) -> Proof {
        let part = PartFigures {
            triangles: 1,
            vertices: 3,
            area: 1.0,
            volume: 0.0,
            shells: 1,
            boundary_edges: 0,
            self_intersections: 0,
        };
        let changed = crate::proof::Changed {
            triangles_kept: 0,
            triangles_replaced: 0,
            area_replaced: 0.0,
            area_given_up: 0.0,
        };
        let (limits, verdict) = (vec![row], Verdict::Broken);
        let (conflicts, mends, ends) = (Vec::new(), Vec::new(), Vec::new());
        Proof { verdict, limits, conflicts, mends, part, changed, ends }
    }

    #[test]
    fn what_a_place_of_the_part_does_not_let_be_judged_is_a_conflict() {
        let case = spile_case::read_case(CASE, "a.toml").unwrap();
        let row = LimitResult::plain("bore_loss", Some("upper"), Verdict::NotJudged, "it folds");
        let again = |_: &Case| -> Result<Proof, ProofError> { panic!("no value would help") };
        let mut without = proof_with(row.clone());
        add_broken_limits(&mut without, &case, &again).unwrap();
        assert_eq!(without.conflicts, []);
        let mut with = proof_with(LimitResult { where_: Some([1.0, 2.0, 3.0]), ..row });
        add_broken_limits(&mut with, &case, &again).unwrap();
        let [conflict] = &with.conflicts[..] else { panic!("{:?}", with.conflicts) };
        assert_eq!(conflict.limits, ["bore_loss", "fitting"]);
        assert_eq!((conflict.end.as_deref(), conflict.certain), (Some("upper"), false));
        assert_eq!(conflict.where_, Some([1.0, 2.0, 3.0]));
    }
}
