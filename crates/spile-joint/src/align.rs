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
use spile_mesh::{Bounds3, Bvh, DVec3, Mesh};

use crate::make::{MakeError, Note};
pub use fit::spread;
use fit::{Fit, Pose, fitted, refined, starts};
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
    let fits = fits(&first, scan);
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
    if let Some(other) = alike(&fits, &first, size) {
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

/// The corners of a mesh's box.
fn box_corners(mesh: &Mesh) -> [DVec3; 8] {
    let Bounds3 { min, max } = mesh.bounds();
    let at = |k: usize, axis: usize| if k >> axis & 1 == 0 { min[axis] } else { max[axis] };
    std::array::from_fn(|k| DVec3::from([0, 1, 2].map(|axis| at(k, axis))))
}

/// How far two poses put these places apart.
fn apart(corners: &[DVec3; 8], a: &Pose, b: &Pose) -> f64 {
    corners.iter().map(|&p| a.at(p).distance(b.at(p))).fold(0.0, f64::max)
}

/// Poses of `first` on `scan` that were followed to the end, the best first.
fn fits(first: &Mesh, scan: &Mesh) -> Vec<Fit> {
    let size = scan.bounds().diagonal();
    let onto = Bvh::build(scan);
    let coarse = spread(first, COARSE);
    let mut poses: Vec<Fit> = starts(&coarse, &spread(scan, COARSE))
        .into_iter()
        .map(|pose| fitted(&coarse, (scan, &onto), pose))
        .collect();
    poses.sort_by(|a, b| a.rms.total_cmp(&b.rms));
    // Of poses that have come together one is followed.
    let corners = box_corners(first);
    let mut different: Vec<Fit> = Vec::new();
    for pose in poses {
        let is_new = different
            .iter()
            .all(|d| apart(&corners, &d.pose, &pose.pose) > OTHER_POSE_SHARE * size);
        if is_new && different.len() < FOLLOWED {
            different.push(pose);
        }
    }
    let fine = spread(first, FINE);
    let mut fits: Vec<Fit> =
        different.iter().map(|pose| refined(&fine, (scan, &onto), pose.pose)).collect();
    fits.sort_by(|a, b| a.rms.total_cmp(&b.rms));
    fits
}

/// Another pose that fits about as well as the best, the first of `fits`.
fn alike<'a>(fits: &'a [Fit], first: &Mesh, size: f64) -> Option<&'a Fit> {
    let best = fits.first()?;
    let corners = box_corners(first);
    let is_other = |f: &&Fit| apart(&corners, &f.pose, &best.pose) > OTHER_POSE_SHARE * size;
    let other = fits[1..].iter().find(is_other)?;
    (other.rms <= AS_WELL * best.rms + AS_WELL_SHARE * size).then_some(other)
}

/// The best rigid fit of one surface to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RigidFit {
    /// Takes the first surface onto the other: a rotation and a shift, no scale.
    pub motion: Motion,
    /// Root mean square of the distances, to the other surface, of the points that count.
    pub rms: f64,
    /// The largest of them.
    pub largest: f64,
    /// Share of the first surface's points that did not count, 0 to 1: those that lie
    /// farther off than four times the root mean square of the nearest 70 %.
    pub left_out: f64,
    /// Another pose that fits about as well: its turn from the best in degrees, and its
    /// root mean square. Which of the two is meant cannot be told from the shape.
    pub alike: Option<(f64, f64)>,
}

/// The best rigid fit of `first` to `onto`, both with triangles; none where no pose settles.
///
/// Method: closest points, the farthest left out, from many poses; see this module. The
/// same surfaces give the same bits on any number of threads.
///
/// # Source
/// Chetverikov et al. 2005, with point-to-plane steps of Chen and Medioni 1992.
pub fn rigid_fit(first: &Mesh, onto: &Mesh) -> Option<RigidFit> {
    if first.triangles().is_empty() || onto.triangles().is_empty() {
        return None;
    }
    let fits = fits(first, onto);
    let best = fits.first()?;
    let alike = alike(&fits, first, onto.bounds().diagonal());
    Some(RigidFit {
        motion: best.pose.motion(),
        rms: best.rms,
        largest: best.largest,
        left_out: best.left_out,
        alike: alike.map(|other| (other.pose.degrees_from(&best.pose), other.rms)),
    })
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
