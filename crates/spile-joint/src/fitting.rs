//! A fitting in its place: rings of points from its near face to its far one.

use std::sync::Arc;

use spile_case::{Fitting, Flange, Gender, Unit};
use spile_mesh::{DVec3, Mesh};

use crate::foreign::Foreign;
use crate::span::Grid;
use crate::walls::WallSide;

/// A fitting in its place.
#[derive(Debug, Clone)]
pub struct Placed {
    /// Where the joint's last row is: the centre of the near face, or before the
    /// rim of a solid from a file.
    pub at: DVec3,
    /// Unit direction off the scan.
    pub along: DVec3,
    /// Bore radius at the near face.
    pub bore: f64,
    /// Outer radius at the near face.
    pub outside: f64,
    /// Length.
    pub length: f64,
    /// What it is beyond a plain tube.
    pub shape: Shape,
    /// The solid from a file that it is.
    pub foreign: Option<Arc<Foreign>>,
}

/// From the joint's last row to the rim of a solid it is this share of the rim's
/// longest edge: near enough to follow the circle, far enough for triangles
/// over a long edge to be no needles and turn little.
const LEAD_SHARE: f64 = 0.7;
/// And no more than this share of the way from the scan.
const MOST_LEAD_SHARE: f64 = 0.25;

/// What a fitting is beyond a plain tube.
#[derive(Debug, Clone, Copy, Default)]
pub struct Shape {
    /// A side that tapers, the height at which that begins, and its radius at
    /// the far face.
    pub taper: Option<(WallSide, f64, f64)>,
    /// A flat ring round it.
    pub flange: Option<Flange>,
}

impl Placed {
    /// A solid from a file, `gap` from the scan.
    pub fn solid(foreign: Foreign, gap: f64) -> Self {
        let lead = (LEAD_SHARE * foreign.longest).min(MOST_LEAD_SHARE * gap);
        let [bore, outside] = foreign.radii;
        let (at, along) = (foreign.face - foreign.along * lead, foreign.along);
        let shape = Shape::default();
        Self { at, along, bore, outside, length: lead, shape, foreign: Some(Arc::new(foreign)) }
    }

    /// Centre of the near face.
    pub fn near_face(&self) -> DVec3 {
        self.foreign.as_ref().map_or(self.at, |f| f.face)
    }

    /// A drawn fitting at a place; none for a solid from a file.
    pub fn new(fitting: Fitting, unit: Unit, at: DVec3, along: DVec3) -> Option<Self> {
        let foreign = None;
        Some(match fitting {
            Fitting::Mesh(_) => return None,
            Fitting::Tube { bore, outside, length, flange } => {
                let shape = Shape { taper: None, flange };
                let (bore, outside) = (bore / 2.0, outside / 2.0);
                Self { at, along, bore, outside, length, shape, foreign }
            }
            Fitting::Cone(cone) => {
                let [free, wide] = cone.ends_in(unit).map(|d| d / 2.0);
                let other = cone.other / 2.0;
                let (side, bore, outside) = match cone.gender {
                    Gender::Male => (WallSide::Outside, other, wide),
                    Gender::Female => (WallSide::Bore, wide, other),
                };
                let begin = (cone.length - cone.taper_in(unit)).max(0.0);
                let shape = Shape { taper: Some((side, begin, free)), flange: cone.flange };
                Self { at, along, bore, outside, length: cone.length, shape, foreign }
            }
        })
    }

    /// The radius of a side at the near face.
    pub fn near_radius(&self, side: WallSide) -> f64 {
        match side {
            WallSide::Bore => self.bore,
            WallSide::Outside => self.outside,
        }
    }

    /// The radius of a side at a height over the near face, its flange apart.
    pub fn radius_at(&self, side: WallSide, height: f64) -> f64 {
        let near = self.near_radius(side);
        match self.shape.taper {
            Some((tapers, begin, far)) if tapers == side && height > begin => {
                near + (far - near) * (height - begin) / (self.length - begin)
            }
            _ => near,
        }
    }

    /// Height and radius of each ring of a side, from the one beyond the near
    /// face to that of the far face.
    fn rings(&self, side: WallSide) -> Vec<(f64, f64)> {
        let mut rings = Vec::new();
        let body = |h: f64| (h, self.radius_at(side, h));
        let flange = self.shape.flange.filter(|_| side == WallSide::Outside);
        let begin = self.shape.taper.filter(|t| t.0 == side && t.1 > 0.0).map(|t| t.1);
        let mut to = 0.0;
        if let Some(flange) = flange {
            let at_far = flange.is_at_far_face(self.length);
            to = if at_far { self.length } else { flange.at + flange.thickness };
            let radius = flange.outside / 2.0;
            rings.extend(begin.filter(|&h| h < flange.at).map(body));
            rings.extend([body(flange.at), (flange.at, radius), (to, radius)]);
            if at_far {
                return rings;
            }
            rings.push(body(to));
        }
        rings.extend(begin.filter(|&h| h > to).map(body));
        rings.push(body(self.length));
        rings
    }

    /// The rings of a side beyond its polygon at the near face; none of a solid
    /// from a file.
    ///
    /// All are that polygon, carried along the axis and scaled: so a polygon of
    /// the circle's area keeps to the circle's area at every height of a taper.
    pub fn rows(&self, side: WallSide, near: &[DVec3]) -> Vec<Vec<DVec3>> {
        if self.foreign.is_some() {
            return Vec::new();
        }
        let ring = |(height, radius): (f64, f64)| {
            let wider = radius / self.near_radius(side) - 1.0;
            near.iter().map(|&p| p + self.along * height + (p - self.at) * wider).collect()
        };
        self.rings(side).into_iter().map(ring).collect()
    }

    /// A side between near and far face, as triangles that face away from the
    /// axis; it begins at the last row of `grid`.
    pub fn mesh(&self, side: WallSide, grid: &Grid) -> Mesh {
        if let Some(foreign) = &self.foreign {
            return foreign.mesh(side, grid);
        }
        let near = grid.rows[grid.rows.len() - 1].clone();
        let mut rows = self.rows(side, &near);
        rows.insert(0, near);
        let tube = Grid { rows };
        Mesh::new(tube.points(), tube.triangles(true)).unwrap_or_default()
    }

    /// The largest radius anywhere.
    pub fn widest(&self) -> f64 {
        let rings = self.rings(WallSide::Outside);
        rings.iter().map(|ring| ring.1).fold(self.outside, f64::max)
    }
}
