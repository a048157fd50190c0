//! Measures: what a part is like, beside what is judged of it.
//!
//! [`Look::measure`] reads them off what the proof was judged from.
//! Nothing here decides a limit. Where a figure is one of the proof's own it
//! keeps the proof's bounds; every other says whether it is certified or
//! estimated, and how it was read ([`Figure`]).

mod ball_along;
mod bulk;
mod deviation_map;
mod figure;
mod lines;
mod part_points;
mod pockets;
mod pressure;
mod printing;
mod seam_angles;
mod section;
mod thickness_map;

pub use ball_along::BallAlong;
pub use bulk::Bulk;
pub use deviation_map::{Deviation, Extreme, Percentile};
pub use figure::{Figure, Histogram, VertexMap};
pub use lines::{FlowLine, LineStation, On, Stop};
pub use pockets::{Opens, Pocket, Pockets};
pub use pressure::PressureLoss;
pub use printing::{ClosedVoid, Overhang};
pub use seam_angles::SeamAngles;
pub use section::Section;
use serde::Serialize;
pub use thickness_map::Thickness;

use crate::claim::Look;
use crate::part_labels::PartLabels;
use crate::proof::{Proof, ProofError};
use part_points::PartPoints;

/// All measures of a part. Lengths in the case's unit, areas in its square.
///
/// Serialised it is the `measures` of `proof.json`: all but the maps, which have one
/// entry a point of the part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Measures {
    /// What could not be told of scan and part, as sentences. Where this is not
    /// empty, sides of the wall may be mistaken, and with them what rests on them.
    pub doubts: Vec<String>,
    /// What each triangle of part and scan is.
    #[serde(skip)]
    pub labels: PartLabels,
    /// How far replaced scan lies from the scan.
    pub deviation: Deviation,
    /// How thick the wall is.
    pub thickness: Thickness,
    /// The bore along its line from each end on.
    pub lines: Vec<FlowLine>,
    /// The angles along each seam.
    pub seams: Vec<SeamAngles>,
    /// Volume, area and mass.
    pub bulk: Bulk,
    /// What overhangs; none without the case's `build_direction`.
    pub overhang: Option<Overhang>,
    /// What does not drain from hollows that have a way out; empty without the case's
    /// `build_direction`, or where the surface is not closed.
    pub pockets: Vec<Pockets>,
    /// Hollows that are shut in.
    pub voids: Vec<ClosedVoid>,
}

impl Look<'_> {
    /// Measures the part beside `proof`, which is what [`Look::judge`] gave of it.
    ///
    /// Maps have one entry for each point of the part, in its order. Cost: a few
    /// searches of a tree for each point; parallel, the same bytes on any number of
    /// threads.
    ///
    /// # Errors
    /// It was stopped; see [`Claim::until`](crate::Claim::until).
    pub fn measure(&self, proof: &Proof) -> Result<Measures, ProofError> {
        let (l, part, welded) = (&self.labelled, self.claim.part, &self.claim.welded);
        let (trees, said) = (self.trees(), &self.claim.settled.output);
        l.stop.go_on()?;
        let points = PartPoints::of(l);
        let is_closed = proof.part.boundary_edges == 0;
        // Marching along a bore is one step after the other: other points are read meanwhile.
        let (lines, (deviation, thickness)) = rayon::join(
            || lines::lines(l, trees, said.flow.as_ref()),
            || {
                let deviation = deviation_map::deviation(l, &points, proof);
                (deviation, thickness_map::thickness(l, &points, trees, proof))
            },
        );
        l.stop.go_on()?;
        let mut measures = Measures {
            doubts: l.faults.iter().map(|fault| fault.text.clone()).collect(),
            labels: self.labels(),
            deviation,
            thickness,
            lines,
            seams: seam_angles::seam_angles(l),
            bulk: bulk::bulk(welded, is_closed, said.density_g_cm3, l.case.unit.in_millimetres()),
            overhang: said.build_direction.map(|up| printing::overhang(welded, up)),
            pockets: said
                .build_direction
                .filter(|_| is_closed)
                .map_or_else(Vec::new, |up| pockets::pockets(welded, up)),
            voids: if proof.part.shells > 1 { printing::closed_voids(welded) } else { Vec::new() },
        };
        let maps = [
            &mut measures.deviation.map,
            &mut measures.thickness.map,
            &mut measures.thickness.ray,
            &mut measures.thickness.ball,
        ];
        for map in maps {
            map.copy_to_twins(part, welded);
        }
        l.stop.go_on()?;
        Ok(measures)
    }

    /// What pictures of the part show, without a proof.
    ///
    /// # Errors
    /// It was stopped; see [`Claim::until`](crate::Claim::until).
    pub fn maps(&self) -> Result<PartMaps, ProofError> {
        let (l, points) = (&self.labelled, PartPoints::of(&self.labelled));
        let mut maps = PartMaps {
            labels: self.labels(),
            deviation: deviation_map::map(l, &points).0,
            wall: thickness_map::shortest(l, &points, self.trees()),
        };
        for map in [&mut maps.deviation, &mut maps.wall] {
            map.copy_to_twins(self.claim.part, &self.claim.welded);
        }
        l.stop.go_on()?;
        Ok(maps)
    }
}

/// What pictures of a part show: the labels and two of the maps of [`Look::measure`], at a
/// small part of its cost.
#[derive(Debug, Clone, PartialEq)]
pub struct PartMaps {
    /// What each triangle of part and scan is.
    pub labels: PartLabels,
    /// That of [`Deviation`].
    pub deviation: VertexMap,
    /// That of [`Thickness`].
    pub wall: VertexMap,
}
