//! The whole judgement: labels once, then limit by limit.

use spile_case::{Case, Form, Place, Site};
use spile_mesh::Mesh;

use crate::claim::{Claim, Look};
use crate::clear::judge_clear;
use crate::closed::judge_closed;
use crate::conflicts::{add_broken_limits, conflicts_at};
use crate::deviation::judge_deviation;
use crate::end_face::{judge_end_face, judge_other_rims};
use crate::figures::changed;
use crate::fitting::judge_fitting;
use crate::flow_limits::judge_flow;
use crate::kink::judge_kink;
use crate::labels::{Labelled, LabelledEnd, label};
use crate::mends::kind_name;
use crate::proof::{EndStations, LimitResult, MendRecord, Proof, ProofError, Verdict};
use crate::seam::judge_seam;
use crate::untouched::{judge_mends, judge_untouched};
use crate::wall_limit::{judge_wall, judge_wall_everywhere};

/// Judges `part` against `settled` and the scan files' meshes.
///
/// `scans` has one mesh, for form sheets two (inner, outer), as read.
/// `part` carries the coordinates of the written file (`f32` values). What the
/// settled case claims (seams, mends) is looked up and tested; where it does
/// not fit, the limits that rest on it are not judged, and the verdict is broken.
///
/// # Errors
/// The inputs do not belong together; see [`ProofError`].
pub fn judge(scans: &[Mesh], part: &Mesh, settled: &Case) -> Result<Proof, ProofError> {
    Claim::new(scans, part, settled)?.look()?.judge()
}

impl Look<'_> {
    /// Judges the part; see [`judge`].
    ///
    /// # Errors
    /// It was stopped; see [`Claim::until`].
    pub fn judge(&self) -> Result<Proof, ProofError> {
        let Claim { scans, part, settled, ref welded, ref stop } = *self.claim;
        let mut proof = judge_once(&self.labelled, part)?;
        let again = |changed: &Case| judge_once(&label(scans, welded, changed, stop)?, part);
        add_broken_limits(&mut proof, settled, &again)?;
        stop.go_on()?;
        Ok(proof)
    }
}

/// Every limit, and the conflicts that no part can resolve.
fn judge_once(l: &Labelled, part: &Mesh) -> Result<Proof, ProofError> {
    let stop = l.stop;
    let closed = judge_closed(l, part);
    stop.go_on()?;
    let mut limits = vec![closed.result, judge_untouched(l)];
    limits.extend(judge_mends(l));
    stop.go_on()?;
    let mut conflicts = Vec::new();
    let mut stations = Vec::new();
    limits.extend(judge_wall_everywhere(l));
    stop.go_on()?;
    limits.extend(other_rims(l));
    for end in &l.ends {
        limits.extend(limits_at(l, end, &mut stations)?);
        conflicts.extend(conflicts_at(l, end));
        stop.go_on()?;
    }
    let held = limits.iter().all(|r| matches!(r.verdict, Verdict::Held | Verdict::NotAsked));
    Ok(Proof {
        verdict: if held && conflicts.is_empty() { Verdict::Held } else { Verdict::Broken },
        limits,
        conflicts,
        mends: mends(l.case),
        part: closed.figures,
        changed: changed(l),
        ends: stations,
    })
}

/// The limits of one end. Where labels are in doubt, all that rest on them are
/// not judged: a doubt at one end may have spread to the next.
fn limits_at(
    l: &Labelled,
    end: &LabelledEnd,
    stations: &mut Vec<EndStations>,
) -> Result<Vec<LimitResult>, ProofError> {
    if !l.faults.is_empty() {
        let mut limits = all_in_doubt(l, end);
        limits.extend(judge_fitting(l, end));
        return Ok(limits);
    }
    let stop = l.stop;
    let mut limits = vec![judge_seam(l, end)];
    stop.go_on()?;
    limits.push(judge_deviation(l, end));
    stop.go_on()?;
    limits.extend(judge_end_face(l, end));
    if end.fitting.is_some() {
        limits.extend(judge_kink(l, end));
    }
    stop.go_on()?;
    limits.extend(judge_fitting(l, end));
    stop.go_on()?;
    limits.extend(judge_wall(l, end));
    stop.go_on()?;
    limits.extend(judge_clear(l, end));
    stop.go_on()?;
    let flow = judge_flow(l, end);
    limits.push(flow.bore_loss);
    limits.extend(flow.ball_min);
    stations.push(flow.stations);
    stop.go_on()?;
    Ok(limits)
}

/// Rings at rims that no end names, where the labels tell which they are.
fn other_rims(l: &Labelled) -> Option<LimitResult> {
    if l.faults.is_empty() { judge_other_rims(l) } else { None }
}

/// Every limit that rests on the labels, not judged.
fn all_in_doubt(l: &Labelled, end: &LabelledEnd) -> Vec<LimitResult> {
    let asked = &l.limits(end);
    let mut names = vec![
        ("seam", None, true),
        ("deviation", Some(asked.deviation), true),
        ("wall_min", asked.wall_min, asked.wall_min.is_some()),
        ("bore_loss", asked.bore_loss, asked.bore_loss.is_some()),
    ];
    if end.fitting.is_some() {
        names.push(("kink", asked.kink_deg, asked.kink_deg.is_some()));
        names.push(("ball_min", asked.ball_min, asked.ball_min.is_some()));
        if !l.case.clears.is_empty() {
            names.push(("clear", Some(0.0), true));
        }
    } else {
        names.push(("end_face", None, true));
    }
    names.into_iter().map(|(name, asked, wanted)| in_doubt(l, end, name, asked, wanted)).collect()
}

/// A limit that cannot be judged because the labels are in doubt; says why, the
/// end's own doubt first.
pub(crate) fn in_doubt(
    l: &Labelled,
    end: &LabelledEnd,
    name: &str,
    asked: Option<f64>,
    is_asked: bool,
) -> LimitResult {
    let own = l.faults.iter().find(|f| f.end == Some(end.index));
    let fault = own.or(l.faults.first());
    let text = fault.map_or("the labels are in doubt", |f| f.text.as_str());
    LimitResult {
        asked,
        where_: fault.and_then(|f| f.at).map(|p| p.to_array()),
        ..LimitResult::plain(
            name,
            Some(&end.name),
            if is_asked { Verdict::NotJudged } else { Verdict::NotAsked },
            format!("cannot be judged: {text}"),
        )
    }
}

fn mends(case: &Case) -> Vec<MendRecord> {
    case.mends
        .iter()
        .map(|m| MendRecord {
            kind: kind_name(m.kind).to_owned(),
            where_: m.ball.at,
            size: 2.0 * m.ball.radius,
        })
        .collect()
}

/// Whether scans, part and case belong together and the case is settled.
pub(crate) fn check_inputs(scans: &[Mesh], part: &Mesh, case: &Case) -> Result<(), ProofError> {
    let needed = if case.scan.form == Form::Sheets { 2 } else { 1 };
    if scans.len() != needed {
        return Err(ProofError::ScanFiles { needed, given: scans.len() });
    }
    if scans.iter().any(|s| s.triangles().is_empty()) {
        return Err(ProofError::Empty { what: "scan" });
    }
    if part.triangles().is_empty() {
        return Err(ProofError::Empty { what: "part" });
    }
    for end in &case.ends {
        let missing = |key| Err(ProofError::NotSettled { end: end.name.clone(), missing: key });
        if end.seam.is_none() {
            return missing("seam");
        }
        if end.fitting.is_some() && end.reach.is_none() {
            return missing("reach");
        }
        if end.fitting.is_some() && !matches!(end.place, Some(Place::At { .. } | Place::AsModelled))
        {
            return missing("place.at");
        }
        if matches!(end.site, Site::Station(_)) {
            return missing("cut.through");
        }
        if let Site::Rim(rim) = end.site {
            if rim.facing.is_none() {
                return missing("facing");
            }
            if rim.trim.is_none() {
                return missing("trim");
            }
        }
    }
    Ok(())
}
