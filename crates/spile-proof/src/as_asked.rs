//! Whether a settled case asks no less than the case that it settles.
//!
//! A settled case is a claim. Left to itself it could drop a limit, loosen
//! one, widen a reach or forget a keep, and a part judged against it would be
//! held for nothing. Here each value that the user gave is looked for in it.

use spile_case::{
    Case, Cut, End, EndLimits, Fitting, JointGuide, Limits, MeshFitting, Output, Place, Rim, Scan,
    Site, Solid,
};
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
///
/// Each type is taken apart without `..`, so that a key that a case learns later
/// is not forgotten here.
fn departures(settled: &Case, asked: &Case) -> Vec<String> {
    let mut found = Vec::new();
    let mut differs = |is_so: bool, what: &str| {
        if is_so {
            found.push(format!("`{what}` differs"));
        }
    };
    let Case {
        name,
        unit,
        scan,
        ends,
        edge,
        joint: JointGuide { shape, wall },
        // The files of fittings are compared end by end.
        solids: _,
        limits,
        keeps,
        clears,
        output,
        // Found on the scan, and judged by the row `mends`.
        mends: _,
    } = asked;
    // Left out it is named by its file.
    differs(name.is_some() && settled.name != *name, "name");
    differs(settled.unit != *unit, "unit");
    scan_differs(&settled.scan, scan, &mut differs);
    // Left out it is chosen.
    differs(edge.is_some() && !is_same_number(settled.edge, *edge), "joint.edge");
    differs(settled.joint.shape != *shape, "joint.shape");
    differs(settled.joint.wall != *wall, "joint.wall");
    limits_differ(&settled.limits, limits, &mut differs);
    for (k, keep) in keeps.iter().enumerate() {
        differs(!settled.keeps.contains(keep), &format!("keep {}", k + 1));
    }
    for (k, clear) in clears.iter().enumerate() {
        differs(!settled.clears.contains(clear), &format!("clear {}", k + 1));
    }
    output_differs(&settled.output, output, &mut differs);
    let names = |ends: &[End]| ends.iter().map(|e| e.name.clone()).collect::<Vec<_>>();
    differs(names(&settled.ends) != names(ends), "end");
    for (settled_end, end) in settled.ends.iter().zip(ends) {
        let mut at_end = |is_so: bool, what: &str| {
            differs(is_so, &format!("{what} of end {}", end.name));
        };
        end_differs(settled_end, end, &mut at_end);
        at_end(!is_same_fitting((settled, settled_end), (asked, end)), "fitting");
    }
    found
}

fn scan_differs(settled: &Scan, asked: &Scan, differs: &mut impl FnMut(bool, &str)) {
    let Scan {
        // Their contents are compared by what opens them; a settled case has them beside it.
        files,
        form,
        wall,
        hole_max,
        inherit,
        outliers,
        // The motion is judged on the scans.
        align: _,
        moved: _,
    } = asked;
    differs(settled.form != *form, "scan.form");
    differs(settled.files.len() != files.len(), "scan.files");
    differs(settled.wall != *wall, "scan.wall");
    differs(hole_max.is_some() && !is_same_number(settled.hole_max, *hole_max), "scan.hole_max");
    differs(settled.outliers != *outliers, "scan.outliers");
    differs(settled.inherit.iter().any(|i| !inherit.contains(i)), "scan.inherit");
}

fn limits_differ(settled: &Limits, asked: &Limits, differs: &mut impl FnMut(bool, &str)) {
    let &Limits { deviation, wall_min, bore_loss, kink_deg, ball_min, chord } = asked;
    let each = [
        ("limits.deviation", Some(settled.deviation), Some(deviation)),
        ("limits.wall_min", settled.wall_min, wall_min),
        ("limits.bore_loss", settled.bore_loss, bore_loss),
        ("limits.kink", settled.kink_deg, kink_deg),
        ("limits.ball_min", settled.ball_min, ball_min),
        ("limits.chord", Some(settled.chord), Some(chord)),
    ];
    for (name, settled, asked) in each {
        differs(!is_same_number(settled, asked), name);
    }
}

fn end_limits_differ(settled: &EndLimits, asked: &EndLimits, at_end: &mut impl FnMut(bool, &str)) {
    let &EndLimits { deviation, wall_min, bore_loss, kink_deg, ball_min, chord } = asked;
    let each = [
        ("limits.deviation", settled.deviation, deviation),
        ("limits.wall_min", settled.wall_min, wall_min),
        ("limits.bore_loss", settled.bore_loss, bore_loss),
        ("limits.kink", settled.kink_deg, kink_deg),
        ("limits.ball_min", settled.ball_min, ball_min),
        ("limits.chord", settled.chord, chord),
    ];
    for (name, settled, asked) in each {
        at_end(!is_same_number(settled, asked), name);
    }
}

/// What is told and written beside the part. More files than were asked for are none
/// the worse: the command line can ask for all.
fn output_differs(settled: &Output, asked: &Output, differs: &mut impl FnMut(bool, &str)) {
    let Output { density_g_cm3, build_direction, flow, files } = asked;
    differs(!is_same_number(settled.density_g_cm3, *density_g_cm3), "output.density");
    let is_same_way = match (settled.build_direction, *build_direction) {
        (Some(a), Some(b)) => is_same_direction(a, b),
        (a, b) => a == b,
    };
    differs(!is_same_way, "output.build_direction");
    differs(settled.flow != *flow, "output.flow");
    differs(files.iter().any(|kind| !settled.files.contains(kind)), "output.files");
}

fn end_differs(settled: &End, asked: &End, at_end: &mut impl FnMut(bool, &str)) {
    let &End {
        // Compared in their order, and the fitting with its file.
        name: _,
        fitting: _,
        site,
        reach,
        reach_is_auto,
        place,
        ref pins,
        ref limits,
        // Found on the part, and judged by most rows.
        seam: _,
    } = asked;
    at_end(!reach_is_auto && !is_same_number(settled.reach, reach), "reach");
    at_end(settled.pins != *pins, "match");
    end_limits_differ(&settled.limits, limits, at_end);
    match (settled.site, site) {
        (Site::Cut(a), Site::Cut(Cut { through, facing })) => {
            at_end(a.through != through, "cut.through");
            at_end(!is_same_direction(a.facing, facing), "cut.facing");
        }
        (Site::Rim(a), Site::Rim(Rim { near, trim, facing })) => {
            at_end(a.near != near, "rim");
            let more = trim.is_some_and(|most| a.trim.is_none_or(|trim| trim > most));
            at_end(more, "trim");
            let turned =
                matches!((a.facing, facing), (Some(a), Some(b)) if !is_same_direction(a, b));
            at_end(turned || (a.facing.is_none() && facing.is_some()), "facing");
        }
        // Whether the plane is at the station is measured on the scan.
        (Site::Cut(_), Site::Station(_)) => {}
        _ => at_end(true, "cut or rim"),
    }
    match (settled.place, place) {
        (Some(Place::At { at, along }), Some(Place::At { at: a, along: b })) => {
            at_end(at != a, "place.at");
            at_end(!is_same_direction(along, b), "place.along");
        }
        // Whether it follows the bore is measured on the scan.
        (Some(Place::At { .. }), Some(Place::Onward(_) | Place::Auto)) => {}
        (a, b) => at_end(a != b, "place"),
    }
}

fn is_same_number(settled: Option<f64>, asked: Option<f64>) -> bool {
    settled.map(f64::to_bits) == asked.map(f64::to_bits)
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
    // Which of the case's files it is, and where that lies, may differ; the rim is told below.
    let MeshFitting { solid: _, rim: _, roll_deg } = y;
    let Solid { file: _, kind, unit, points, triangles, exact } = t;
    let is_same_file = x.roll_deg == roll_deg
        && s.kind == *kind
        && s.exact == *exact
        && s.unit == *unit
        && s.points == *points
        && s.triangles == *triangles;
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
