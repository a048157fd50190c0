//! The smallest that must be seen where a limit is as tight as the part lets it be.

use super::*;
use attacks::{asked, judged, moved, own, radius, scaled};
use scene::{BORE, NEAR_FACE, UPPER_CUT};

/// `wall_min` set to what the joint measures, its guaranteed bound, holds; the bore's
/// thinnest row of points set back by 1 % of the wall does not, and is told in its place.
#[test]
fn one_per_cent_off_the_joints_wall_at_its_thinnest_is_broken() {
    let mut good = asked();
    let wall_of = |s: &Scene| {
        let rows = judged(s).limits.into_iter();
        let mut rows = rows.filter(|l| l.name == "wall_min" && l.end.as_deref() == UPPER);
        rows.next().expect("a wall")
    };
    let whole = wall_of(&good);
    let bound = whole.bounds.expect("measured")[0];
    good.case.limits.wall_min = Some(bound);
    assert_eq!((offended(&judged(&good)), wall_of(&good).verdict), (vec![], Verdict::Held));
    let spot = DVec3::from_array(whole.where_.expect("a place"));
    let height = own(spot).z;
    let row = good.part.points().iter().copied().filter(|&p| {
        let p = own(p);
        p.z > UPPER_CUT + 0.1 && p.z < NEAR_FACE - 0.1 && radius(p) < 10.0
    });
    let nearest = row.min_by(|&p, &q| {
        let away = |p: DVec3| (own(p).z - height).abs();
        away(p).total_cmp(&away(q))
    });
    let z = own(nearest.expect("a row")).z;
    let by = 1.0 + 0.01 * bound / BORE;
    let thin = moved(&good, |p| (p.z - z).abs() < 1e-3 && radius(p) < 10.0, |p| scaled(p, by));
    let told = wall_of(&thin);
    assert_eq!(told.verdict, Verdict::Broken, "{}", told.how);
    let place = own(DVec3::from_array(told.where_.expect("a place")));
    assert!((place.z - z).abs() < 1.0, "{place} for a row at {z}");
}
