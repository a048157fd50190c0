//! Whether a settled case asks no less than the case that it settles.
//!
//! A settled case is a claim. Left to itself it could drop a limit, loosen
//! one, widen a reach or forget a keep, and a part judged against it would be
//! held for nothing. Here each value that the user gave is looked for in it.

use spile_case::{Case, End, Fitting, Limits, Place, Scan, Site};
use spile_mesh::{DVec3, Mesh};

use crate::align_asked::on_scan;
use crate::claim::{Claim, Look};
use crate::fitting_mesh::given;
use crate::found_asked::found_differ;
use crate::proof::{LimitResult, Proof, ProofError, Verdict};
use crate::scan_view::median_edge;
use crate::station_asked::stations_differ;
use crate::stop::Stop;

/// Name of the row in the proof.
const NAME: &str = "case";
/// Directions are the same within this angle, in radians: what making a unit
/// vector of one and writing it out can do.
const SAME_DIRECTION: f64 = 1e-9;

/// Judges `part` as [`judge`](crate::judge) does, and `settled` against the case `asked` that
/// it settles: a further row `case` is broken where the settled case asks less
/// or other than was asked.
///
/// # Errors
/// The inputs do not belong together; see [`ProofError`].
pub fn judge_as_asked(
    scans: &[Mesh],
    part: &Mesh,
    settled: &Case,
    asked: &Case,
) -> Result<Proof, ProofError> {
    Claim::new(scans, part, settled)?.look()?.judge_as_asked(asked)
}

impl Look<'_> {
    /// Judges the part, and its settled case against the one that was asked; see
    /// [`judge_as_asked`].
    ///
    /// # Errors
    /// It was stopped; see [`Claim::until`].
    pub fn judge_as_asked(&self, asked: &Case) -> Result<Proof, ProofError> {
        let mut proof = self.judge()?;
        let Claim { scans, settled, ref stop, .. } = *self.claim;
        let row = compared(scans, settled, asked, stop)?;
        if row.verdict != Verdict::Held {
            proof.verdict = Verdict::Broken;
        }
        proof.limits.insert(0, row);
        Ok(proof)
    }
}

fn compared(
    scans: &[Mesh],
    settled: &Case,
    asked: &Case,
    stop: &Stop<'_>,
) -> Result<LimitResult, ProofError> {
    let (asked, mut found) = on_scan(scans, settled, asked);
    stop.go_on()?;
    let asked = &asked;
    found.extend(departures(settled, asked));
    found.extend(stations_differ(scans, settled, asked));
    stop.go_on()?;
    found.extend(found_differ(scans, settled, asked));
    stop.go_on()?;
    let longest = 2.0 * scans.iter().map(median_edge).fold(0.0, f64::max);
    if asked.scan.hole_max.is_none()
        && settled.scan.hole_max.is_some_and(|h| h > longest * (1.0 + SAME_DIRECTION))
    {
        found.push(format!("`scan.hole_max` is above twice the median edge, {longest:.6}"));
    }
    let how = if found.is_empty() {
        "the settled case asks all that was asked, and leaves nothing looser".to_owned()
    } else {
        format!("the settled case is not the one that was asked: {}", found.join("; "))
    };
    let verdict = if found.is_empty() { Verdict::Held } else { Verdict::Broken };
    Ok(LimitResult {
        asked: Some(0.0),
        measured: Some(found.len() as f64),
        ..LimitResult::plain(NAME, None, verdict, how)
    })
}

/// Every value of `asked` that `settled` does not have, as parts of a sentence.
fn departures(settled: &Case, asked: &Case) -> Vec<String> {
    let mut found = Vec::new();
    let mut differs = |is_so: bool, what: &str| {
        if is_so {
            found.push(format!("`{what}` differs"));
        }
    };
    differs(settled.unit != asked.unit, "unit");
    scan_differs(&settled.scan, &asked.scan, &mut differs);
    limits_differ(&settled.limits, &asked.limits, &mut differs);
    for (k, keep) in asked.keeps.iter().enumerate() {
        differs(!settled.keeps.contains(keep), &format!("keep {}", k + 1));
    }
    for (k, clear) in asked.clears.iter().enumerate() {
        differs(!settled.clears.contains(clear), &format!("clear {}", k + 1));
    }
    let names = |case: &Case| case.ends.iter().map(|e| e.name.clone()).collect::<Vec<_>>();
    differs(names(settled) != names(asked), "end");
    for (settled_end, end) in settled.ends.iter().zip(&asked.ends) {
        let mut at_end = |is_so: bool, what: &str| {
            differs(is_so, &format!("{what} of end {}", end.name));
        };
        end_differs(settled_end, end, &mut at_end);
        at_end(!is_same_fitting((settled, settled_end), (asked, end)), "fitting");
    }
    found
}

fn scan_differs(settled: &Scan, asked: &Scan, differs: &mut impl FnMut(bool, &str)) {
    differs(settled.form != asked.form, "scan.form");
    differs(settled.files.len() != asked.files.len(), "scan.files");
    differs(settled.wall != asked.wall, "scan.wall");
    let hole_max = asked.hole_max;
    differs(hole_max.is_some() && settled.hole_max != hole_max, "scan.hole_max");
    differs(settled.outliers != asked.outliers, "scan.outliers");
    differs(settled.inherit.iter().any(|i| !asked.inherit.contains(i)), "scan.inherit");
}

fn limits_differ(settled: &Limits, asked: &Limits, differs: &mut impl FnMut(bool, &str)) {
    let same = |a: f64, b: f64| a.to_bits() == b.to_bits();
    differs(!same(settled.deviation, asked.deviation), "limits.deviation");
    differs(!same(settled.chord, asked.chord), "limits.chord");
    let each = [
        ("limits.wall_min", settled.wall_min, asked.wall_min),
        ("limits.bore_loss", settled.bore_loss, asked.bore_loss),
        ("limits.kink", settled.kink_deg, asked.kink_deg),
        ("limits.ball_min", settled.ball_min, asked.ball_min),
    ];
    for (name, settled, asked) in each {
        differs(settled.map(f64::to_bits) != asked.map(f64::to_bits), name);
    }
}

fn end_differs(settled: &End, asked: &End, differs: &mut impl FnMut(bool, &str)) {
    differs(settled.reach != asked.reach && !asked.reach_is_auto, "reach");
    differs(settled.limits != asked.limits, "limits");
    match (settled.site, asked.site) {
        (Site::Cut(a), Site::Cut(b)) => {
            differs(a.through != b.through, "cut.through");
            differs(!is_same_direction(a.facing, b.facing), "cut.facing");
        }
        (Site::Rim(a), Site::Rim(b)) => {
            differs(a.near != b.near, "rim");
            let more = b.trim.is_some_and(|most| a.trim.is_none_or(|trim| trim > most));
            differs(more, "trim");
            let turned =
                matches!((a.facing, b.facing), (Some(a), Some(b)) if !is_same_direction(a, b));
            differs(turned || (a.facing.is_none() && b.facing.is_some()), "facing");
        }
        // Whether the plane is at the station is measured on the scan.
        (Site::Cut(_), Site::Station(_)) => {}
        _ => differs(true, "cut or rim"),
    }
    match (settled.place, asked.place) {
        (Some(Place::At { at, along }), Some(Place::At { at: a, along: b })) => {
            differs(at != a, "place.at");
            differs(!is_same_direction(along, b), "place.along");
        }
        // Whether it follows the bore is measured on the scan.
        (Some(Place::At { .. }), Some(Place::Onward(_) | Place::Auto)) => {}
        (a, b) => differs(a != b, "place"),
    }
}

/// Whether the fittings are one: of files also their triangles, their unit, and
/// the rim that is joined, which may be named by the settled case alone, and the roll.
fn is_same_fitting((settled, a): (&Case, &End), (asked, b): (&Case, &End)) -> bool {
    let (Some(Fitting::Mesh(x)), Some(Fitting::Mesh(y))) = (a.fitting, b.fitting) else {
        return a.fitting == b.fitting;
    };
    let (Some(s), Some(t)) = (settled.solids.get(x.solid), asked.solids.get(y.solid)) else {
        return false;
    };
    let is_same_file = x.roll_deg == y.roll_deg
        && s.kind == t.kind
        && s.exact == t.exact
        && s.unit == t.unit
        && s.points == t.points
        && s.triangles == t.triangles;
    let rim = |case: &Case, end: &End, place| {
        let placed = End { place, site: a.site, ..end.clone() };
        given(case, &placed).and_then(Result::ok).map(|given| given.rim)
    };
    // That the site is the same is judged apart. Which rim a place along the bore means is told by the rim that is named, too.
    let follows = matches!(b.place, Some(Place::Onward(_) | Place::Auto));
    let was = rim(asked, b, if follows { a.place } else { b.place });
    is_same_file && was.is_some() && was == rim(settled, a, a.place)
}

fn is_same_direction(a: [f64; 3], b: [f64; 3]) -> bool {
    let [a, b] = [a, b].map(|v| DVec3::from_array(v).normalize_or_zero());
    (a - b).length() <= SAME_DIRECTION
}
