//! Whether what a settled case gives for `auto`, and for places that follow the bore,
//! is what was asked.
//!
//! That a value is the least that holds is not judged: that is a claim about parts that
//! were not made. What is judged is that it is no more than spile may choose, and that
//! the fitting lies straight on along the bore, whose direction the proof takes from
//! the scan its own way.

use spile_case::{Case, End, Onward, Place, Site, Tilt};
use spile_mesh::{DVec3, Mesh};

use crate::centreline::{CentrePoint, March, centreline};
use crate::flow_section::BoreSurface;
use crate::identity::weld;
use crate::polyline::{area_vector, best_plane};
use crate::stations::loop_centre;

/// A gap that is `auto` is at most this many diameters of the scan's bore at the cut,
const MOST_GAP: f64 = 5.0;
/// and a reach this many.
const MOST_REACH: f64 = 2.0;
/// Two readings of that diameter agree within this share.
const SAME_WIDTH_SHARE: f64 = 0.05;
/// Two readings of the direction of a bore that is no even tube agree within this
/// angle, in degrees.
const SAME_DIRECTION_DEG: f64 = 10.0;
/// Stations of the line a radius.
const STATIONS_A_RADIUS: f64 = 12.0;
/// A line shorter than this share of a diameter tells no direction.
const LEAST_LINE_SHARE: f64 = 0.25;

/// Each place of `settled` that does not follow the bore as `asked`, and each value for
/// `auto` that is more than may be chosen, as parts of a sentence.
pub(crate) fn found_differ(scans: &[Mesh], settled: &Case, asked: &Case) -> Vec<String> {
    let pairs = || settled.ends.iter().zip(&asked.ends);
    let follows = |end: &End| matches!(end.place, Some(Place::Onward(_) | Place::Auto));
    if !pairs().any(|(_, asked)| asked.reach_is_auto || follows(asked)) {
        return Vec::new();
    }
    let welded: Vec<Mesh> = scans.iter().map(weld).collect();
    let whole = Mesh::joined(&welded).unwrap_or_default();
    let all: Vec<u32> = (0..whole.triangles().len() as u32).collect();
    let bore = BoreSurface::of(&whole, &all);
    let mut found = Vec::new();
    for (end, asked) in pairs() {
        let Some(seam) = Seam::of(end) else { continue };
        let mut differs = |what: Result<(), String>| {
            found.extend(what.err().map(|what| format!("{what} at end {}", asked.name)));
        };
        if asked.reach_is_auto {
            differs(seam.check_reach(end.reach));
        }
        let deviation = settled.limits_at(end).deviation;
        if let (Some(Place::At { at, along }), true) = (end.place, follows(asked)) {
            let along = DVec3::from_array(along).normalize_or_zero();
            differs(seam.check_place(DVec3::from_array(at), along, asked.place, deviation));
            differs(seam.check_direction(&bore, along, asked.place));
        }
    }
    found
}

/// The bore's loop on the scan's side.
struct Seam {
    centre: DVec3,
    /// Diameter of the circle of its area.
    across: f64,
    /// Unit direction off the scan, square to the plane of the cut or of the rim.
    facing: DVec3,
}

impl Seam {
    /// None at an end whose seam is not settled; that is judged apart.
    fn of(end: &End) -> Option<Self> {
        let points: Vec<DVec3> =
            end.seam.as_ref()?.bore.iter().map(|&p| DVec3::from_array(p)).collect();
        let facing = match end.site {
            Site::Cut(cut) => cut.facing,
            Site::Rim(rim) => rim.facing?,
            Site::Station(_) => return None,
        };
        let facing = DVec3::from_array(facing).try_normalize()?;
        let facing = match end.site {
            Site::Rim(_) => best_plane(&points, facing).map_or(facing, |plane| plane.normal),
            _ => facing,
        };
        let across = 2.0 * (area_vector(&points).length() / std::f64::consts::PI).sqrt();
        Some(Self { centre: loop_centre(&points)?, across, facing })
    }

    fn check_reach(&self, reach: Option<f64>) -> Result<(), String> {
        let most = MOST_REACH * self.across * (1.0 + SAME_WIDTH_SHARE);
        match reach {
            Some(reach) if reach > most => Err(format!(
                "`reach` is {reach}, more than {MOST_REACH} diameters of the bore, {:.3},",
                self.across
            )),
            Some(_) => Ok(()),
            None => Err("`reach` is missing".to_owned()),
        }
    }

    /// Whether the near face lies straight on, and aside as asked. The seam may lie off
    /// its plane by a deviation, and its middle as much off the middle of the scan's
    /// own loop.
    fn check_place(
        &self,
        at: DVec3,
        along: DVec3,
        asked: Option<Place>,
        deviation: f64,
    ) -> Result<(), String> {
        let on = bore_direction(along, asked);
        let (off, gap) = match asked {
            Some(Place::Onward(Onward { gap, off, .. })) => (DVec3::from_array(off), gap),
            _ => (DVec3::ZERO, (at - self.centre).dot(on)),
        };
        if (at - off - gap * on).distance(self.centre) > 2.0 * deviation {
            return Err("`place` is not straight on along its direction, as far as asked,".into());
        }
        let most = MOST_GAP * self.across * (1.0 + SAME_WIDTH_SHARE);
        let is_found = asked == Some(Place::Auto);
        if is_found && !(-2.0 * deviation..=most).contains(&gap) {
            return Err(format!(
                "`place` lies {gap:.3} on, not between 0 and {MOST_GAP} diameters of the bore, {:.3},",
                self.across
            ));
        }
        Ok(())
    }

    fn check_direction(
        &self,
        bore: &BoreSurface,
        along: DVec3,
        asked: Option<Place>,
    ) -> Result<(), String> {
        let on = bore_direction(along, asked);
        let read = self.direction(bore).unwrap_or(self.facing);
        let turned = on.dot(read).clamp(-1.0, 1.0).acos().to_degrees();
        if turned > SAME_DIRECTION_DEG {
            return Err(format!(
                "`place` leads {turned:.2} degrees off the bore's direction, ({:.4}, {:.4}, {:.4}),",
                read.x, read.y, read.z
            ));
        }
        Ok(())
    }

    /// The tangent of the scan's centreline at the seam, off the scan: the slope there of
    /// the least-squares parabola from the seam's centre through a diameter of the line.
    fn direction(&self, bore: &BoreSurface) -> Option<DVec3> {
        let radius = 0.5 * self.across;
        let march = March {
            from: self.centre,
            facing: self.facing,
            length: self.across,
            spacing: radius / STATIONS_A_RADIUS,
            radius,
        };
        let line = centreline(bore, &march).points;
        if line.last()?.s > -LEAST_LINE_SHARE * self.across {
            return None;
        }
        let depth = |p: &CentrePoint| -p.s / self.across;
        // Normal equations of centre - at = a t + b t^2.
        let (mut t2, mut t3, mut t4, mut y1, mut y2) = (0.0, 0.0, 0.0, DVec3::ZERO, DVec3::ZERO);
        for (t, off) in line.iter().map(|p| (depth(p), self.centre - p.at)) {
            (t2, t3, t4) = (t2 + t * t, t3 + t.powi(3), t4 + t.powi(4));
            (y1, y2) = (y1 + t * off, y2 + t * t * off);
        }
        ((t4 * y1 - t3 * y2) / (t2 * t4 - t3 * t3)).try_normalize()
    }
}

/// The direction of the bore that a fitting's own axis and the asked tilt leave.
fn bore_direction(along: DVec3, asked: Option<Place>) -> DVec3 {
    match asked {
        // Turned back, away from `toward`, in the plane of the two.
        Some(Place::Onward(Onward { tilt: Some(Tilt { tilt_deg, toward }), .. })) => {
            let side = DVec3::from_array(toward).reject_from_normalized(along);
            let (sin, cos) = tilt_deg.to_radians().sin_cos();
            cos * along - sin * side.normalize_or_zero()
        }
        _ => along,
    }
}
