//! The lengths that the steps at one end work with, and the steps on one band.

use spile_case::End;
use spile_mesh::{DVec3, SectionLoop};

use super::{Job, MakeError, Note};
use crate::bore_side::BoreLimits;
use crate::ends::{Lifted, faired_band, refined_band};
use crate::fair::{FairLimits, OtherSide};
use crate::fitting::Placed;
use crate::locate::Located;
use crate::outside::OutsideLimits;
use crate::reach::{Band, Depths};
use crate::refine::RefineLimits;
use crate::span::{Led, stretch};
use crate::surface::Scan;

/// How much edges may grow a length of way from the rim.
const GRADING: f64 = 0.08;

impl Job<'_> {
    /// What the bore side of a joint must hold.
    pub(crate) fn bore_limits<'e>(&self, end: &'e End, edge: f64) -> BoreLimits<'e> {
        let limits = self.limits(end);
        BoreLimits {
            loss_share: limits.bore_loss.unwrap_or(0.01),
            edge,
            kink_deg: limits.kink_deg,
            deviation: limits.deviation,
            led: self.led(end),
        }
    }

    /// What the outside of a joint must hold: at each place the wall that
    /// `wall_min` tells, nowhere more than `most`.
    pub(crate) fn outside_limits<'e>(
        &'e self,
        end: &'e End,
        (wall_min, most): (&'e dyn Fn(DVec3) -> f64, f64),
        edge: f64,
    ) -> OutsideLimits<'e> {
        let limits = self.limits(end);
        OutsideLimits {
            wall_min,
            wall_most: most,
            clears: &self.case.clears,
            led: self.led(end),
            wall: &self.case.joint,
            edge,
            kink_deg: limits.kink_deg,
            deviation: limits.deviation,
        }
    }

    /// How the joint of an end is led beyond its limits.
    pub(crate) fn led<'e>(&self, end: &'e End) -> Led<'e> {
        let kink_deg = self.limits(end).kink_deg;
        Led { shape: self.case.joint.shape, kink_deg, pins: &end.pins }
    }

    /// Edge length at a seam of this radius.
    pub(crate) fn edge(&self, end: &End, radius: f64) -> f64 {
        // At most 5 degrees a side round the circle, so that the facets of a
        // round seam stay well under any sensible kink, and short enough for
        // the fitting's chord.
        let round = std::f64::consts::TAU * radius / 110.0;
        let chord = (8.0 * radius * self.limits(end).chord).sqrt() * 0.9;
        self.case.edge.unwrap_or(round.min(chord))
    }

    /// Edge length at a seam of this radius, short enough for the circle that is
    /// widest on the outside of the fitting: it has as many sides as the rim.
    pub(crate) fn edge_beside(
        &self,
        (end, located): (&End, &Located),
        placed: &Placed,
        radius: f64,
    ) -> f64 {
        let edge = self.edge(end, radius);
        if self.case.edge.is_some() {
            return edge;
        }
        // A polygon of n sides and the circle's area leaves it by
        // pi^2 r / (3 n^2); this many leave room.
        let sides = 2.0 * (placed.widest() / self.limits(end).chord).sqrt();
        let shortest = |rim: &SectionLoop| edge.min(rim.perimeter() / sides);
        let edge = located.loops.outside.as_ref().map_or(edge, shortest);
        // Where pins spread them, the sides are as long as elsewhere without.
        edge / stretch(end, located, placed.along).unwrap_or(1.0)
    }

    /// How much of the scan is lifted at an end that may be changed up to `reach` and
    /// whose seam has this radius.
    pub(crate) fn lifted(&self, end: &End, reach: f64, radius: f64) -> Lifted {
        Lifted { reach, edge: self.edge(end, radius), grading: GRADING }
    }

    pub(super) fn refine_limits(&self, end: &End, edge: f64) -> RefineLimits {
        RefineLimits { edge, grading: GRADING, deviation: 0.2 * self.limits(end).deviation }
    }

    fn fair_limits(
        &self,
        end: &End,
        (scan, band): (&Scan, &Band),
        (edge, reach): (f64, f64),
    ) -> FairLimits<'static> {
        // What is wobble and what is shape is told by the scan's edges here.
        let of_scan = scan.median_edge_of(band.replaces.iter().copied());
        let depths = Depths::new(reach, (of_scan, edge), GRADING);
        FairLimits {
            most: 0.5 * self.limits(end).deviation,
            wave: 3.0 * of_scan,
            full: depths.faired,
            border: depths.border,
            other: None,
        }
    }

    /// Refines and fairs a band of `surface`; `other` is the other side of its wall.
    pub(crate) fn finish(
        &self,
        (band, other): (&Band, Option<OtherSide<'_>>),
        end: &End,
        surface: &Scan,
        (edge, reach): (f64, f64),
        notes: &mut Vec<Note>,
    ) -> Result<Band, MakeError> {
        let limits = self.refine_limits(end, edge);
        let fairing = FairLimits { other, ..self.fair_limits(end, (surface, band), (edge, reach)) };
        let stop = || self.watch.cancelled();
        self.begin("refine", end)?;
        let refined = refined_band(band, end, &limits, notes, &stop)?;
        self.begin("fair", end)?;
        faired_band(surface, (band, refined), end, &fairing, self.limits(end).deviation, &stop)
    }
}
