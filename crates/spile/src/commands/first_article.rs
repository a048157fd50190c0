//! `compare --align`: a scan of the print laid on the part, and how far it lies from it.

use std::fmt::Write as _;

use serde::Serialize;
use spile_case::Motion;
use spile_joint::{RigidFit, rigid_fit, spread};
use spile_mesh::{Bvh, DVec3, Mesh, farthest_each};
use spile_report::number::digits;

use crate::failure::Failure;
use crate::signed_distance::SignedDistance;

/// Points at which deviations are read: a percentile is then known to about a 200th of
/// its rank.
const SAMPLES: usize = 40_000;
/// Shares of the scan's area, in percent, that deviate no more than is told.
const PERCENTS: [f64; 7] = [1.0, 5.0, 25.0, 50.0, 75.0, 95.0, 99.0];
/// A fit that leaves out more than this share of the scan is none.
const MOST_LEFT_OUT: f64 = 0.4;
/// A fit whose root mean square is above this share of the part's size is none.
const MOST_RMS_SHARE: f64 = 0.02;

/// A deviation that a share of the scan's area does not exceed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub(crate) struct Percentile {
    percent: f64,
    value: f64,
}

/// Another pose that fits about as well.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub(crate) struct AlikePose {
    turned_deg: f64,
    rms: f64,
}

/// How much of the scan lies within the tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub(crate) struct Within {
    tolerance: f64,
    /// Share of the scan's area: every place of its triangles is certified to.
    certified: f64,
    /// Share of the points that were read.
    sampled: f64,
}

/// How a scan of the print lies on the part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct FirstArticle {
    turn: [[f64; 3]; 3],
    shift: [f64; 3],
    rms: f64,
    largest: f64,
    left_out: f64,
    alike: Option<AlikePose>,
    samples: usize,
    /// Signed: above zero where the print stands off the part, below where it lacks.
    deviation: Vec<Percentile>,
    mean: f64,
    /// Of the distances without sign.
    distance_95: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    tolerance: Option<Within>,
}

/// Lays `scan` on `part` and reads how far off it lies; gives the moved scan too.
pub(crate) fn first_article(
    (part, surface): (&Mesh, &SignedDistance),
    scan: &Mesh,
    scan_name: &str,
    tolerance: Option<f64>,
) -> Result<(FirstArticle, Mesh), Failure> {
    let size = crate::commands::compare::size(part);
    let fit = rigid_fit(scan, part);
    let fit = fit.ok_or_else(|| Failure::new(format!("{scan_name} has no pose on the part")))?;
    if fit.left_out > MOST_LEFT_OUT || fit.rms > MOST_RMS_SHARE * size {
        return Err(Failure::new(format!(
            "{scan_name} does not lie on the part: the best pose leaves {:.4} (root mean square) and {:.0} % of it out",
            fit.rms,
            100.0 * fit.left_out
        ))
        .hint("check that it is a scan of this part, in the same unit: nothing is scaled")
        .hint("cut away what the scan holds beside the part: table, clamps, supports"));
    }
    let moved = moved(scan, &fit.motion)?;
    let points = spread(&moved, SAMPLES);
    let mut signed = surface.of_all(&points);
    signed.sort_by(f64::total_cmp);
    let mut plain: Vec<f64> = signed.iter().map(|d| d.abs()).collect();
    plain.sort_by(f64::total_cmp);
    let record = FirstArticle {
        turn: fit.motion.turn,
        shift: fit.motion.shift,
        rms: fit.rms,
        largest: fit.largest,
        left_out: fit.left_out,
        alike: alike(&fit),
        samples: signed.len(),
        deviation: PERCENTS
            .map(|percent| Percentile { percent, value: at_percent(&signed, percent) })
            .to_vec(),
        mean: signed.iter().sum::<f64>() / signed.len().max(1) as f64,
        distance_95: at_percent(&plain, 95.0),
        tolerance: tolerance.map(|tolerance| {
            let within = plain.partition_point(|d| *d <= tolerance);
            Within {
                tolerance,
                certified: certified_share(&moved, surface.tree(), tolerance),
                sampled: within as f64 / plain.len().max(1) as f64,
            }
        }),
    };
    Ok((record, moved))
}

fn alike(fit: &RigidFit) -> Option<AlikePose> {
    fit.alike.map(|(turned_deg, rms)| AlikePose { turned_deg, rms })
}

/// The mesh turned and shifted.
fn moved(mesh: &Mesh, motion: &Motion) -> Result<Mesh, Failure> {
    let (points, triangles) = mesh.clone().into_parts();
    let points = points.into_iter().map(|p| DVec3::from_array(motion.moved(p.to_array())));
    Mesh::new(points.collect(), triangles)
        .map_err(|error| Failure::new(format!("the scan cannot be moved: {error}")))
}

/// The value that this share of the sorted ones does not exceed.
fn at_percent(sorted: &[f64], percent: f64) -> f64 {
    let k = (0.01 * percent * sorted.len() as f64).ceil() as usize;
    sorted.get(k.saturating_sub(1)).or(sorted.last()).copied().unwrap_or(0.0)
}

/// Share of the area of those triangles that lie within `tolerance` with all their places.
fn certified_share(moved: &Mesh, part: &Bvh, tolerance: f64) -> f64 {
    let all: Vec<u32> = (0..moved.triangles().len() as u32).collect();
    let far = farthest_each(moved, &all, part, tolerance);
    let area = |t: usize| 0.5 * moved.area_normal(t).length();
    let within: f64 = (0..far.len()).filter(|&t| far[t] <= tolerance).map(area).sum();
    within / (0..far.len()).map(area).sum::<f64>().max(f64::MIN_POSITIVE)
}

impl FirstArticle {
    /// The record, each figure with its name.
    pub fn facts(&self) -> Vec<(String, String)> {
        let mut facts = Vec::new();
        let mut fact = |name: &str, told: String| facts.push((name.to_owned(), told));
        let rows = self.turn.map(|[x, y, z]| format!("({x:.6}, {y:.6}, {z:.6})"));
        let [x, y, z] = self.shift;
        fact("B turned by the rows", rows.join(" "));
        fact("Then shifted by", format!("({x:.4}, {y:.4}, {z:.4}); no scale"));
        fact(
            "Residual of the fit",
            format!(
                "{} (root mean square), {} at most, over the points that counted",
                digits(self.rms),
                digits(self.largest)
            ),
        );
        fact("Left out of the fit", format!("{:.1} % of B", 100.0 * self.left_out));
        if let Some(AlikePose { turned_deg, rms }) = self.alike {
            let told = format!(
                "turned by {turned_deg:.1} degrees from this one, residual {}: which is meant cannot be told \
                 from the shape",
                digits(rms)
            );
            fact("Another pose fits about as well", told);
        }
        for Percentile { percent, value } in &self.deviation {
            fact(
                &format!("{percent} % of B lies no higher than"),
                format!("{} off A (estimated)", digits(*value)),
            );
        }
        fact("Mean deviation", format!("{} (estimated)", digits(self.mean)));
        fact("95 % of B lies within", format!("{} of A (estimated)", digits(self.distance_95)));
        if let Some(Within { tolerance, certified, sampled }) = self.tolerance {
            let told = format!(
                "{:.2} % of B's area for certain, {:.2} % of the points",
                100.0 * certified,
                100.0 * sampled
            );
            fact(&format!("Within {} of A", digits(tolerance)), told);
        }
        fact("Points read", format!("{}, spread evenly over B's area", self.samples));
        facts
    }

    /// The record as lines for a person.
    pub fn text(&self) -> String {
        let mut out = String::from("B is laid on A: turned by the rows");
        for [x, y, z] in self.turn {
            let _ = write!(out, " ({x:.6}, {y:.6}, {z:.6})");
        }
        let [x, y, z] = self.shift;
        let _ = writeln!(out, ", then shifted by ({x:.4}, {y:.4}, {z:.4}); no scale");
        let _ = writeln!(
            out,
            "fit: residual {} (root mean square), {} at most, over the points that counted; {:.1} % \
             of B left out of the fit",
            digits(self.rms),
            digits(self.largest),
            100.0 * self.left_out
        );
        if let Some(AlikePose { turned_deg, rms }) = self.alike {
            let _ = writeln!(
                out,
                "note: a pose turned by {turned_deg:.1} degrees from this one fits about as well (residual \
                 {}): which is meant cannot be told from the shape",
                digits(rms)
            );
        }
        let _ = writeln!(
            out,
            "deviation of all of B from A, above 0 where B stands off it, at {} points spread evenly \
             over its area:",
            self.samples
        );
        for Percentile { percent, value } in &self.deviation {
            let _ = writeln!(out, "  {percent:>4} % of B lies no higher than {}", digits(*value));
        }
        let _ = writeln!(
            out,
            "  mean {}; 95 % of B lies within {} of A",
            digits(self.mean),
            digits(self.distance_95)
        );
        if let Some(Within { tolerance, certified, sampled }) = self.tolerance {
            let _ = writeln!(
                out,
                "within {} of A: {:.2} % of B's area for certain, {:.2} % of the points",
                digits(tolerance),
                100.0 * certified,
                100.0 * sampled
            );
        }
        out.push_str("guaranteed distances after the fit, nothing left out:\n");
        out
    }
}

#[cfg(test)]
mod tests {
    use super::at_percent;

    #[test]
    fn percentiles_are_values_that_occur() {
        let sorted: Vec<f64> = (1..=100).map(f64::from).collect();
        assert_eq!(
            [1.0, 50.0, 95.0, 100.0].map(|p| at_percent(&sorted, p)),
            [1.0, 50.0, 95.0, 100.0]
        );
        assert_eq!(at_percent(&[7.0], 50.0), 7.0);
    }
}
