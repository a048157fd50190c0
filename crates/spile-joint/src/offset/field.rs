//! How far a place is outside a level.

use rayon::prelude::*;
use spile_mesh::{Bvh, DVec3, Mesh, StopAsked};

use super::Thickness;

/// A surface seen from one place near it.
#[derive(Clone, Copy)]
pub(super) struct Sight {
    /// Unit vector along which the excess grows fastest; zero where there is none.
    pub away: DVec3,
    /// How far outside the level the place is; negative inside.
    pub excess: f64,
}

/// A level surface that points can be moved to.
pub(super) trait Level: Sync {
    fn sight(&self, p: DVec3) -> Sight;

    /// A length that does not count.
    fn hair(&self) -> f64;

    /// Whether nobody wants the surface any more: then points stay where they are.
    fn is_stopped(&self) -> bool;

    /// `p` moved outward until its excess is `rise`, or as near as a valley allows.
    ///
    /// Each step goes straight away from the nearest point; in a valley the
    /// steps go to and fro between its flanks and climb slowly.
    fn lifted(&self, p: DVec3, rise: f64) -> DVec3 {
        const STEPS: usize = 24;
        let mut p = p;
        for _ in 0..STEPS {
            let sight = self.sight(p);
            let lack = rise - sight.excess;
            if lack <= 0.0 || sight.away == DVec3::ZERO {
                break;
            }
            // A hair more than is lacking, so that the loop ends.
            p += sight.away * (lack + self.hair());
        }
        p
    }

    /// `p` moved to the level from either side, or very near it.
    fn nearer(&self, p: DVec3) -> DVec3 {
        let sight = self.sight(p);
        p - sight.away * sight.excess
    }

    /// `p` moved to the level from either side.
    fn settled(&self, p: DVec3) -> DVec3 {
        self.lifted(self.nearer(p), 0.0)
    }
}

/// The distance from the bore less what is asked of it, and a little more.
pub(super) struct Distance<'a> {
    pub bvh: &'a Bvh,
    pub thickness: &'a Thickness<'a>,
    /// Added to the thickness: what rounding of the result may take away.
    pub margin: f64,
    /// Added to the thickness for some end of the caller's.
    pub further: f64,
    /// Asked at each place whether to stop.
    pub stop: StopAsked<'a>,
}

impl Level for Distance<'_> {
    fn sight(&self, p: DVec3) -> Sight {
        let asked = self.thickness.at(p) + self.margin + self.further;
        match self.bvh.closest(p) {
            Some(closest) => {
                let away = (p - closest.point).normalize_or_zero();
                Sight { away, excess: closest.distance - asked }
            }
            None => Sight { away: DVec3::ZERO, excess: f64::INFINITY },
        }
    }

    fn hair(&self) -> f64 {
        1e-3 * self.margin
    }

    fn is_stopped(&self) -> bool {
        (self.stop)()
    }
}

impl Distance<'_> {
    /// The excess at many places, each in its own slot.
    pub fn excesses(&self, places: &[DVec3]) -> Vec<f64> {
        let excess = |p: DVec3| if self.is_stopped() { 0.0 } else { self.sight(p).excess };
        places.par_iter().map(|&p| excess(p)).collect()
    }
}

/// A level with its valleys rounded out: what no ball of radius `depth` can
/// reach from outside counts as inside.
///
/// The ball's middle stays outside the level that lies `depth` further out, so
/// the rounded level lies `depth` within that one. Elsewhere than in valleys it
/// is the level itself, since that turns outward nowhere more sharply than a
/// ball of the wall's thickness.
pub(super) struct Rounded<'a> {
    /// The level `depth` further out.
    further: &'a Distance<'a>,
    tree: Bvh,
    depth: f64,
}

impl<'a> Rounded<'a> {
    /// `outer` is the level surface of `further`, which lies `depth` further
    /// out than the level that is to be rounded.
    pub fn new(outer: &Mesh, further: &'a Distance<'a>, depth: f64) -> Self {
        Self { further, tree: Bvh::build(outer), depth }
    }

    /// The excess at many places, near the surface or not.
    pub fn excesses(&self, places: &[DVec3]) -> Vec<f64> {
        let excess = |p: DVec3| {
            if self.is_stopped() {
                return 0.0;
            }
            let within = self.sight(p).excess;
            // Beyond the outer surface its distance counts the other way.
            if self.further.sight(p).excess >= 0.0 { 2.0 * self.depth - within } else { within }
        };
        places.par_iter().map(|&p| excess(p)).collect()
    }
}

impl Level for Rounded<'_> {
    /// Only for places within the outer surface.
    fn sight(&self, p: DVec3) -> Sight {
        match self.tree.closest(p) {
            Some(closest) => Sight {
                away: (closest.point - p).normalize_or_zero(),
                excess: self.depth - closest.distance,
            },
            None => Sight { away: DVec3::ZERO, excess: f64::INFINITY },
        }
    }

    fn hair(&self) -> f64 {
        self.further.hair()
    }

    fn is_stopped(&self) -> bool {
        self.further.is_stopped()
    }
}
