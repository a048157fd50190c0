//! Moves a case from the scan that it was written for onto another scan of the same
//! part that lies elsewhere. The scan never moves.
//!
//! The motion is the best rigid fit of the first scan's surface to the other's: points
//! spread evenly over the area of the first go to the closest points of the other, again
//! and again, those that lie farthest off left out each time. It begins from many poses
//! and the best is taken; if another pose fits as well, which of the two is meant is
//! not to be told from the shape.

mod fit;
mod moved;

use spile_case::{Case, Motion, Vec3};
use spile_mesh::{Bvh, DVec3, Mesh};

use crate::make::{MakeError, Note};
use fit::{Fit, Pose, fitted, refined, spread, starts};
use moved::moved;

/// A case on the scan that it is to be run on.
#[derive(Debug, Clone)]
pub struct Aligned {
    /// The case with its places moved and the motion in [`spile_case::Scan::moved`].
    pub case: Case,
    /// What was done, in words.
    pub note: Note,
}

/// Points of the first scan while poses are sought, and at the end.
const COARSE: usize = 300;
const FINE: usize = 3000;
/// Poses that are followed to the end.
const FOLLOWED: usize = 8;
/// A fit whose root mean square is above this share of the scan's size is none.
const MOST_RMS_SHARE: f64 = 0.005;
/// A fit that leaves out more than this share of the first scan is none.
const MOST_LEFT_OUT: f64 = 0.4;
/// A pose is another one if it puts some corner of the scan's box off by this share of its size.
const OTHER_POSE_SHARE: f64 = 0.02;
/// Another pose fits as well if it leaves no more than this many times as much, and
const AS_WELL: f64 = 1.5;
/// this share of the size.
const AS_WELL_SHARE: f64 = 0.001;

/// Moves `case` onto `scan`; a case without [`spile_case::Scan::align`] comes back as none.
///
/// # Errors
/// The first scan does not lie on this one, or two poses fit alike.
pub fn align(case: &Case, scan: &Mesh) -> Result<Option<Aligned>, MakeError> {
    let Some(align) = &case.scan.align else { return Ok(None) };
    let points = align.points.iter().map(|&p| DVec3::from(p)).collect();
    let first = Mesh::new(points, align.triangles.clone()).unwrap_or_default();
    if first.triangles().is_empty() || scan.triangles().is_empty() {
        return Err(wrong(format!("{} has no surface to align to", align.to), &[]));
    }
    let size = scan.bounds().diagonal();
    let onto = Bvh::build(scan);
    let coarse = spread(&first, COARSE);
    let mut poses: Vec<Fit> = starts(&coarse, &spread(scan, COARSE))
        .into_iter()
        .map(|pose| fitted(&coarse, (scan, &onto), pose))
        .collect();
    poses.sort_by(|a, b| a.rms.total_cmp(&b.rms));
    let box_of = first.bounds();
    let apart = |a: &Pose, b: &Pose| {
        let corner =
            |k: usize| {
                DVec3::from([0, 1, 2].map(|axis| {
                    if k >> axis & 1 == 0 { box_of.min[axis] } else { box_of.max[axis] }
                }))
            };
        (0..8).map(|k| a.at(corner(k)).distance(b.at(corner(k)))).fold(0.0, f64::max)
    };
    // Of poses that have come together one is followed.
    let mut different: Vec<Fit> = Vec::new();
    for pose in poses {
        let is_new = different.iter().all(|d| apart(&d.pose, &pose.pose) > OTHER_POSE_SHARE * size);
        if is_new && different.len() < FOLLOWED {
            different.push(pose);
        }
    }
    let fine = spread(&first, FINE);
    let mut fits: Vec<Fit> =
        different.iter().map(|pose| refined(&fine, (scan, &onto), pose.pose)).collect();
    fits.sort_by(|a, b| a.rms.total_cmp(&b.rms));
    let Some(best) = fits.first() else {
        return Err(wrong(format!("{} has no pose on this scan", align.to), &[]));
    };
    if best.rms > MOST_RMS_SHARE * size || best.left_out > MOST_LEFT_OUT {
        return Err(wrong(
            format!(
                "{} does not lie on this scan: the best pose leaves {:.3} (root mean square) and {:.0} % of it out",
                align.to,
                best.rms,
                100.0 * best.left_out
            ),
            &[
                "check that both are scans of one part, in one unit",
                "move the case's places by hand",
            ],
        ));
    }
    let other = fits[1..].iter().find(|f| apart(&f.pose, &best.pose) > OTHER_POSE_SHARE * size);
    if let Some(other) = other
        && other.rms <= AS_WELL * best.rms + AS_WELL_SHARE * size
    {
        return Err(wrong(
            format!(
                "{} lies on this scan in two ways alike: one leaves {:.4} (root mean square), another, \
                 turned by {:.0} degrees from it, {:.4}",
                align.to,
                best.rms,
                other.pose.degrees_from(&best.pose),
                other.rms
            ),
            &["the part looks the same from several sides: move the case's places by hand"],
        ));
    }
    let motion = best.pose.motion();
    let mut case = moved(case, &motion);
    (case.scan.align, case.scan.moved) = (None, Some(motion));
    let note = Note::Said(sentence(&align.to, best, &motion));
    Ok(Some(Aligned { case, note }))
}

fn sentence(first: &str, best: &Fit, Motion { turn, shift }: &Motion) -> String {
    let first = first.rsplit(['/', '\\']).next().unwrap_or(first);
    let row = |[x, y, z]: Vec3| format!("({x:.5}, {y:.5}, {z:.5})");
    format!(
        "aligned to {first}: the case's places are turned by the rows {} {} {} and shifted by ({:.4}, {:.4}, {:.4}); what \
         is left is {:.4} (root mean square), {:.4} at most, with {:.0} % of the first scan left out",
        row(turn[0]),
        row(turn[1]),
        row(turn[2]),
        shift[0],
        shift[1],
        shift[2],
        best.rms,
        best.largest,
        100.0 * best.left_out
    )
}

fn wrong(what: String, hints: &[&str]) -> MakeError {
    MakeError::Scan { what, hints: hints.iter().map(|h| (*h).to_owned()).collect() }
}
