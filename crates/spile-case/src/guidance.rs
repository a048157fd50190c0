//! Guidance that a case may give and never needs: limits of one end, regions
//! that the joint must not enter.

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
