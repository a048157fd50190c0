//! How a joint is led beyond its limits: its shape, and which places of rim and
//! fitting face each other.

use std::f64::consts::{PI, TAU};

use spile_case::{End, JointShape, Pin};
use spile_mesh::DVec3;

use crate::ends::at_end;
use crate::locate::Located;
use crate::make::MakeError;

use super::way::Frame;

/// How one side of a joint is led.
#[derive(Debug, Clone, Copy)]
pub struct Led<'a> {
    /// How it runs.
    pub shape: JointShape,
    /// Largest angle at a seam, degrees, if asked.
    pub kink_deg: Option<f64>,
    /// Which places face each other.
    pub pins: &'a [Pin],
}

impl Led<'_> {
    /// Tangent, with the least twist.
    pub const FREELY: Led<'static> = Led { shape: JointShape::Tangent, kink_deg: None, pins: &[] };
}

/// Points of the rim may lie by this many times as far apart, or as near, on the
/// fitting's circle: beyond that its triangles would be needles.
const MOST_STRETCH: f64 = 3.0;

/// The place of a closed polygon that is nearest to `p`, in points from the first,
/// and how far it is.
fn place_on(points: &[DVec3], p: DVec3) -> (f64, f64) {
    let n = points.len();
    let on_edge = |k: usize| {
        let (a, b) = (points[k], points[(k + 1) % n]);
        let way = b - a;
        let share =
            ((p - a).dot(way) / way.length_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
        (k as f64 + share, (a + way * share).distance(p))
    };
    (0..n).map(on_edge).min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0.0, f64::INFINITY))
}

/// Pins by their places on a rim, with the turn from each to the next round the
/// fitting, over 0 and up to a whole turn.
fn in_order(rim: &[DVec3], pins: &[Pin]) -> Vec<(f64, f64, f64)> {
    let place = |pin: &Pin| (place_on(rim, DVec3::from(pin.scan)).0, pin.angle_deg.to_radians());
    let mut places: Vec<(f64, f64)> = pins.iter().map(place).collect();
    places.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = places.len();
    let turn = |k: usize| {
        let turn = (places[(k + 1) % n].1 - places[k].1).rem_euclid(TAU);
        if turn == 0.0 { TAU } else { turn }
    };
    (0..n).map(|k| (places[k].0, places[k].1, turn(k))).collect()
}

/// By how much the angle of each point of a seam on the fitting's circle differs
/// from `phase` and even steps, so that what is pinned meets; `face` is the frame
/// of the fitting's face.
pub fn turned(pins: &[Pin], seam: &[DVec3], face: &Frame, phase: f64) -> Vec<f64> {
    let n = seam.len();
    let even = TAU / n as f64;
    let order = in_order(seam, pins);
    let Some(&(first, angle, _)) = order.first() else { return vec![0.0; n] };
    // The same direction for every file: see `Pin::angle_deg`.
    const NEAR_X: f64 = 0.866;
    let along = face.across.cross(face.up);
    let axis = if along.x.abs() > NEAR_X { DVec3::Y } else { DVec3::X };
    let zero = axis.dot(face.up).atan2(axis.dot(face.across));
    let off = zero + angle - (phase + even * first);
    // The way round that twists least.
    let mut offset = (off + PI).rem_euclid(TAU) - PI;
    let mut offsets = vec![0.0; n];
    for (k, &(from, _, turn)) in order.iter().enumerate() {
        let to = if k + 1 == order.len() { order[0].0 + n as f64 } else { order[k + 1].0 };
        let gain = turn - even * (to - from);
        let mut column = from.ceil();
        while column < to {
            let share = (column - from) / (to - from);
            offsets[column as usize % n] = offset + gain * share;
            column += 1.0;
        }
        offset += gain;
    }
    offsets
}

/// By how much the pins of an end spread the points of its rims on the fitting,
/// at most: 1 where they stay evenly spread.
///
/// # Errors
/// A place is off the rims, the places do not go round the rim as their angles go
/// round the fitting, or they would crowd it.
pub fn stretch(end: &End, located: &Located, along: DVec3) -> Result<f64, MakeError> {
    let loops = &located.loops;
    let hint = "angles of `match` count right-handed about the fitting's direction off the scan; leave a pair out";
    let mut most = 1.0f64;
    for rim in std::iter::once(&loops.bore).chain(&loops.outside) {
        if rim.points.is_empty() || end.pins.is_empty() {
            continue;
        }
        let size = rim.perimeter() / TAU;
        for pin in &end.pins {
            let (_, far) = place_on(&rim.points, DVec3::from(pin.scan));
            if far > size {
                let [x, y, z] = pin.scan;
                return Err(at_end(
                    end,
                    format!("({x:.2}, {y:.2}, {z:.2}) of its `match` is {far:.2} from the rim"),
                    &["name a place on the rim, or near it"],
                ));
            }
        }
        // By length along the rim, for its points come out evenly along it.
        let mut points = rim.points.clone();
        if rim.area(along) < 0.0 {
            points.reverse();
        }
        let points = evenly(&points);
        let order = in_order(&points, &end.pins);
        let all: f64 = order.iter().map(|o| o.2).sum();
        if order.len() > 1 && (all / TAU).round() > 1.0 {
            return Err(at_end(
                end,
                "the places of its `match` do not go round the rim in the order in which their angles go round the fitting",
                &[hint],
            ));
        }
        let n = points.len() as f64;
        for (k, &(from, _, turn)) in order.iter().enumerate().filter(|_| order.len() > 1) {
            let to = if k + 1 == order.len() { order[0].0 + n } else { order[k + 1].0 };
            let by = turn / TAU * n / (to - from);
            if !(1.0 / MOST_STRETCH..=MOST_STRETCH).contains(&by) {
                return Err(at_end(
                    end,
                    format!(
                        "its `match` spreads {:.0} degrees of the fitting over {:.0} % of the rim; more than {MOST_STRETCH} times or less than a third of an even spread is too much",
                        turn.to_degrees(),
                        100.0 * (to - from) / n
                    ),
                    &["set angles nearer to where the places are, or leave a pair out"],
                ));
            }
            most = most.max(by);
        }
    }
    Ok(most)
}

/// A closed polygon's points at equal steps along it.
fn evenly(points: &[DVec3]) -> Vec<DVec3> {
    const STEPS: usize = 360;
    let n = points.len();
    let edge = |k: usize| points[k].distance(points[(k + 1) % n]);
    let whole: f64 = (0..n).map(edge).sum();
    let mut found = Vec::with_capacity(STEPS);
    let (mut k, mut before) = (0, 0.0);
    for step in 0..STEPS {
        let at = whole * step as f64 / STEPS as f64;
        while k + 1 < n && before + edge(k) < at {
            before += edge(k);
            k += 1;
        }
        let share = ((at - before) / edge(k).max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
        found.push(points[k].lerp(points[(k + 1) % n], share));
    }
    found
}
