//! `prove` of a case that is not settled: what needs no solving is settled, and
//! what is missing otherwise is said end by end.

use spile_case::{Case, Fitting, Place, Seam, Site};
use spile_joint::{seam_in_plane, settle};
use spile_mesh::Mesh;

use crate::failure::Failure;

/// Whether something that a proof needs is left to be settled.
fn is_open(case: &Case) -> bool {
    case.ends.iter().any(|end| {
        end.seam.is_none()
            || matches!(end.place, Some(Place::Onward(_) | Place::Auto))
            || end.reach_is_auto
            || matches!(end.site, Site::Station(_))
            || matches!(end.fitting, Some(Fitting::Mesh(m)) if m.rim.is_none())
            || matches!(end.site, Site::Rim(r) if r.facing.is_none() || r.trim.is_none())
    })
}

/// The case settled for judging `part`, and a note on each value that was not
/// in it; a settled case comes back as it is.
///
/// `without_seams`: seams that cannot be told are left empty, with a note each; the proof
/// then says of every limit that rests on them that it is not judged.
pub(crate) fn settled_for(
    case: &Case,
    scans: &[Mesh],
    part: &Mesh,
    without_seams: bool,
) -> Result<(Case, Vec<String>), Failure> {
    if case.scan.align.is_some() {
        return Err(Failure::new("the case is not settled: `align` is found by `run`")
            .hint("`run` leaves the settled case as case.toml beside the part"));
    }
    if !is_open(case) {
        return Ok((case.clone(), Vec::new()));
    }
    let mut settled = settle(case, scans)?;
    let mut missing: Vec<String> = Vec::new();
    for end in &settled.ends {
        let is_auto = [("place", end.place == Some(Place::Auto)), ("reach", end.reach_is_auto)];
        missing.extend(is_auto.into_iter().filter(|(_, is_auto)| *is_auto).map(|(key, _)| {
            format!("end `{}`: `{key}`: `auto` is found by making part after part", end.name)
        }));
    }
    let mut untold: Vec<String> = Vec::new();
    for end in settled.ends.iter_mut().filter(|e| e.seam.is_none()) {
        match seam_in_plane(part, case.scan.form, end) {
            Ok(seam) => end.seam = Some(seam),
            Err(why) => {
                untold.push(format!("end `{}`: `seam`: {why}", end.name));
                end.seam = Some(Seam::default());
            }
        }
    }
    if missing.is_empty() && (untold.is_empty() || without_seams) {
        let mut told = notes(case, &settled);
        told.extend(untold.iter().map(|what| format!("not judged for want of it: {what}")));
        return Ok((settled, told));
    }
    let mut failure =
        Failure::new("the case is not settled, and not all of it can be without solving")
            .hint("`run` leaves the settled case as case.toml beside the part");
    if missing.is_empty() {
        failure = failure.hint("with `--without-seams` all that needs no seam is judged");
    }
    missing.extend(untold);
    Err(missing.into_iter().fold(failure, |f, what| f.hint(format!("missing: {what}"))))
}

/// What was settled here, for the reader to check.
fn notes(case: &Case, settled: &Case) -> Vec<String> {
    let point = |p: [f64; 3]| format!("[{:.4}, {:.4}, {:.4}]", p[0], p[1], p[2]);
    let mut notes = Vec::new();
    for (was, is) in case.ends.iter().zip(&settled.ends) {
        let mut note = |what: String| notes.push(format!("end `{}`: settled: {what}", is.name));
        if was.seam.is_none() && is.seam != Some(Seam::default()) {
            note("`seam`: the part's loops in the cut's plane".to_owned());
        }
        if let (Some(Place::Onward(_)), Some(Place::At { at, along })) = (was.place, is.place) {
            note(format!("`place`: at {}, along {}", point(at), point(along)));
        }
        if let (Site::Station(_), Site::Cut(cut)) = (was.site, is.site) {
            let (through, facing) = (point(cut.through), point(cut.facing));
            note(format!("`cut`: through {through}, facing {facing}"));
        }
        if let (Some(Fitting::Mesh(was)), Some(Fitting::Mesh(is))) = (was.fitting, is.fitting)
            && let (None, Some(rim)) = (was.rim, is.rim)
        {
            note(format!("`fitting.rim`: {}", point(rim)));
        }
        if let (Site::Rim(was), Site::Rim(is)) = (was.site, is.site) {
            if let (None, Some(facing)) = (was.facing, is.facing) {
                note(format!("`facing`: {}", point(facing)));
            }
            if let (None, Some(trim)) = (was.trim, is.trim) {
                note(format!("`trim`: {trim:.4}"));
            }
        }
    }
    if settled.mends.len() > case.mends.len() {
        notes.push(format!("settled: {} mends of the scan", settled.mends.len()));
    }
    notes
}
