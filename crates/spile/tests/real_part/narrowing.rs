//! No narrowing: smoothing by averages shrinks a bore, and is found out.

use std::collections::{BTreeMap, BTreeSet};

use spile_mesh::DVec3;
use spile_proof::Verdict;

use crate::made::{Made, judged, trachea};

/// Each point goes half the way to the middle of its neighbours, some times over:
/// the plain umbrella operator. Only points inside the zone move.
fn smoothed(made: &Made, zone: &[usize], times: usize) -> spile_mesh::Mesh {
    let is_scan = made.scan_points();
    let seams: BTreeSet<u32> = made.seams().into_iter().flatten().collect();
    let mut neighbours: BTreeMap<u32, BTreeSet<u32>> = BTreeMap::new();
    for &t in zone {
        let c = made.part.triangles()[t];
        for k in 0..3 {
            let others = neighbours.entry(c[k]).or_default();
            others.extend([c[(k + 1) % 3], c[(k + 2) % 3]]);
        }
    }
    neighbours.retain(|p, _| !is_scan[*p as usize] && !seams.contains(p));
    assert!(neighbours.len() > 200, "a zone of {} points", neighbours.len());
    made.edited(|points, _| {
        for _ in 0..times {
            let before = points.clone();
            for (&p, others) in &neighbours {
                let middle =
                    others.iter().map(|&q| before[q as usize]).sum::<DVec3>() / others.len() as f64;
                points[p as usize] = before[p as usize].midpoint(middle);
            }
        }
    })
}

#[test]
fn naive_smoothing_of_the_replaced_zone_narrows_the_bore_and_is_broken() {
    let made = trachea();
    let bore_loss = |part: &spile_mesh::Mesh| {
        let proof = judged(made, part, &made.settled);
        let row = proof
            .limits
            .iter()
            .find(|l| l.name == "bore_loss" && l.end.as_deref() == Some("upper"));
        let row = row.expect("bore_loss is judged").clone();
        (proof.verdict, row.verdict, row.measured.unwrap_or(f64::NAN))
    };
    let (whole, own, own_loss) = bore_loss(&made.part);
    assert_eq!((whole, own), (Verdict::Held, Verdict::Held));
    // The zone that spile replaced on the bore, below the cut.
    let [bore, _] = made.seams();
    let zone: Vec<usize> = (made.new_beside(&bore).into_iter())
        .filter(|&t| made.part.corners(t).iter().all(|&p| made.over_cut(p) < 0.1))
        .collect();
    let (whole, naive, loss) = bore_loss(&smoothed(made, &zone, 30));
    assert_eq!((whole, naive), (Verdict::Broken, Verdict::Broken));
    assert!(loss > 0.005 && loss > 2.0 * own_loss.max(0.0), "{loss} against {own_loss}");
}
