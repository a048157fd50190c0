use std::path::{Path, PathBuf};

use super::*;
use crate::ends::refined_band;

fn repository(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(path)
}

/// Deviation that a remesh of such a part is commonly left with, in mm, where
/// 0.1 to 0.2 is allowed (common practice: edges of about 0.2 mm and a
/// remeshing tolerance of 0.05 mm leave about 0.02).
const REFINED_DEVIATION: f64 = 0.03;

/// The trachea's cut end, refined as the job refines it and before it is
/// faired: both sides stay under the deviation above by certified bound.
#[test]
fn refining_alone_stays_far_under_the_deviation_asked() {
    let text = std::fs::read_to_string(repository("tests/real/trachea-cut.toml")).unwrap();
    let case = spile_case::read_case(&text, "trachea-cut.toml").unwrap();
    assert_eq!(case.limits.deviation, 0.1);
    let file = repository("tests/scans/anatomy/vhm-trachea-jagged-derived.stl");
    let scan = Scan::of(&[spile_formats::read(&file).unwrap().mesh]);
    let watch = UntilStopped::new(&Unwatched);
    let job = Job { case: &case, scan: &scan, watch: &watch };
    let works = job.cut_ends(true, &mut Vec::new()).unwrap();
    let work = &works[0];
    let edge = job.edge(work.end, work.placed.as_ref().unwrap().bore);
    for side in work.both() {
        let band = side.band.as_ref().unwrap();
        let refined = refined_band(
            band,
            work.end,
            &job.refine_limits(work.end, edge),
            &mut Vec::new(),
            spile_mesh::NEVER_STOP,
        )
        .unwrap();
        assert!(refined.mesh.triangles().len() > band.mesh.triangles().len());
        let gap = 0.05 * REFINED_DEVIATION;
        let off = spile_mesh::hausdorff(&band.mesh, &refined.mesh, gap).bounds().hi;
        assert!(off < REFINED_DEVIATION, "{off}");
        // Some of it is used: the bound is not of a band left as it was.
        assert!(off > 0.1 * REFINED_DEVIATION, "{off}");
    }
}
