//! Guidance that a case may give and never needs: limits of one end, regions
//! that the joint must not enter, how it runs, how thick its wall is, and which
//! places of rim and fitting face each other.

use crate::types::{Ball, Case, End, Limits, Vec3};

/// A region that no joint may enter, its border included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Clear {
    /// A ball.
    Ball(Ball),
    /// A box along the axes.
    Box {
        /// Its least corner.
        min: Vec3,
        /// Its greatest corner; nowhere less than `min`.
        max: Vec3,
    },
}

/// How joints run between scan and fitting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum JointShape {
    /// With the least bend, on from the scan's tangent planes to the fitting's axis.
    #[default]
    Tangent,
    /// As straight as the limits let it.
    Shortest,
}

/// How a case's joints are to be shaped, beyond their limits.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct JointGuide {
    /// How they run.
    pub shape: JointShape,
    /// Thickness along each joint, by rising places; empty for none.
    pub wall: Vec<WallShare>,
}

/// How thick a joint's wall is at a place of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WallShare {
    /// The place, as a share of the joint's line: 0 at the scan's seam, 1 at the fitting.
    pub at: f64,
    /// The thickness there, as `wall_min` measures it.
    pub thickness: f64,
}

impl JointGuide {
    /// The thickness at a place from 0 to 1: evenly from one given to the next,
    /// none outside all of them.
    pub fn thickness(&self, at: f64) -> Option<f64> {
        let pairs = self.wall.windows(2).find(|w| w[0].at <= at && at <= w[1].at);
        pairs.map(|w| {
            let share = (at - w[0].at) / (w[1].at - w[0].at);
            w[0].thickness + (w[1].thickness - w[0].thickness) * share
        })
    }
}

/// A place of a scan's rim and the place of the fitting's circle that it is to face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pin {
    /// The place on the rim, or near it.
    pub scan: Vec3,
    /// Degrees about the fitting's axis, right-handed about its direction off the
    /// scan, from the case's x axis made square to it; where the axis lies within 30
    /// degrees of that, from the y axis.
    pub angle_deg: f64,
}

/// Limits of one end that differ from the case's; `None` is as in the case.
///
/// Units and meanings are those of [`Limits`].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct EndLimits {
    /// Two-sided distance between replaced scan and the scan it replaced.
    pub deviation: Option<f64>,
    /// Shortest straight distance between bore and outside.
    pub wall_min: Option<f64>,
    /// Share of bore area that may be lost, 0 to 1.
    pub bore_loss: Option<f64>,
    /// Greatest angle between the two triangles at a seam edge, in degrees.
    pub kink_deg: Option<f64>,
    /// Diameter of the ball that must pass.
    pub ball_min: Option<f64>,
    /// How far the fitting's triangles may lie from its exact surface.
    pub chord: Option<f64>,
}

impl EndLimits {
    /// The limit of this name in the case file, if it differs here.
    pub fn by_name(&self, name: &str) -> Option<f64> {
        match name {
            "deviation" => self.deviation,
            "wall_min" => self.wall_min,
            "bore_loss" => self.bore_loss,
            "kink" => self.kink_deg,
            "ball_min" => self.ball_min,
            "chord" => self.chord,
            _ => None,
        }
    }

    /// Sets the limit of this name in the case file; false if there is none.
    pub fn set(&mut self, name: &str, value: f64) -> bool {
        let limit = match name {
            "deviation" => &mut self.deviation,
            "wall_min" => &mut self.wall_min,
            "bore_loss" => &mut self.bore_loss,
            "kink" => &mut self.kink_deg,
            "ball_min" => &mut self.ball_min,
            "chord" => &mut self.chord,
            _ => return false,
        };
        *limit = Some(value);
        true
    }

    /// These limits in place of `case`'s, where they differ.
    pub fn over(&self, case: &Limits) -> Limits {
        Limits {
            deviation: self.deviation.unwrap_or(case.deviation),
            wall_min: self.wall_min.or(case.wall_min),
            bore_loss: self.bore_loss.or(case.bore_loss),
            kink_deg: self.kink_deg.or(case.kink_deg),
            ball_min: self.ball_min.or(case.ball_min),
            chord: self.chord.unwrap_or(case.chord),
        }
    }
}

impl Limits {
    /// Sets the limit of this name in the case file; false if there is none.
    pub fn set(&mut self, name: &str, value: f64) -> bool {
        let mut changes = EndLimits::default();
        let is_set = changes.set(name, value);
        *self = changes.over(self);
        is_set
    }
}

impl Case {
    /// What must hold at `end`: the case's limits, its own where they differ.
    pub fn limits_at(&self, end: &End) -> Limits {
        end.limits.over(&self.limits)
    }
}
