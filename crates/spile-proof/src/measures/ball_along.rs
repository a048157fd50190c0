//! The largest ball that travels a line, and where it gets stuck next.

use serde::Serialize;
use spile_mesh::{Bvh, DVec3};

use super::figure::Figure;
use super::lines::{LineStation, On, Pick};
use crate::ball::{Gate, PassingBall, passing_ball};

/// A ball that travels a stretch of a line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BallAlong {
    /// Its diameter. Certified from below by a line of centres; from above no ball
    /// passes that is wider than the narrowest section's largest circle.
    pub diameter: Figure,
    /// The bottleneck: where on the line of centres it has no more room.
    #[serde(rename = "where")]
    pub where_: [f64; 3],
    /// Length along the line there.
    pub s: f64,
    /// What the bottleneck lies on.
    pub on: On,
}

/// The ball that travels these stations, first to last; `surface` is what it must stay clear
/// of. Of a blind bore the last stations are left out where a ball that touches the tip is no
/// narrower than the bore.
pub(super) fn ball_along(
    surface: &Bvh,
    stations: &[&LineStation],
    pick: Pick,
    is_blind: bool,
) -> Option<BallAlong> {
    let circle =
        |s: &LineStation| pick(s).map(|found| (found.inscribed_diameter, found.inscribed_centre));
    let mut travelled: Vec<(&LineStation, [f64; 2], DVec3)> = (stations.iter())
        .filter_map(|s| circle(s).map(|(d, centre)| (*s, d, DVec3::from_array(centre))))
        .collect();
    if is_blind {
        let tip = travelled.last()?.2;
        let widest = travelled.iter().map(|t| t.1[0]).fold(0.0, f64::max);
        while travelled.last().is_some_and(|t| t.2.distance(tip) < widest) {
            travelled.pop();
        }
    }
    let gates: Vec<Gate> = (travelled.iter())
        .map(|(s, _, centre)| Gate { at: *centre, along: -DVec3::from_array(s.normal) })
        .collect();
    let PassingBall { lo, at, .. } = passing_ball(surface, &gates)?;
    let most = travelled.iter().map(|t| t.1[1]).fold(f64::INFINITY, f64::min);
    let nearest = travelled.iter().min_by(|a, b| a.2.distance(at).total_cmp(&b.2.distance(at)))?;
    let how = "a line of centres with certified clearance; above, the narrowest section's circle";
    Some(BallAlong {
        diameter: Figure::certified(lo, [lo, most.max(lo)], how),
        where_: at.to_array(),
        s: nearest.0.s,
        on: nearest.0.on,
    })
}
