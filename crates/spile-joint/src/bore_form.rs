//! The form `bore`: the wall is made round bore and joints.

use spile_case::{Case, Wall};
use spile_mesh::{DVec3, Mesh};

use crate::bore_side::join_bore;
use crate::cap::fill_ring;
use crate::close::{Builder, Dropped, Kept};
use crate::ends::{at_end, cut_and_lift};
use crate::make::{Job, Made, MakeError, Note};
use crate::offset::{OffsetError, OffsetOptions, Thickness, made_wall};
use crate::outside::join_outside;
use crate::rings::none_left;
use crate::surface::Scan;
use crate::walls::WallSide;
use crate::work::{Outside, Work, dropped, note_joint, on_made_wall, with_points};

impl<'a> Job<'a> {
    /// Makes a part of a bore alone: joints first, then the wall round all of it.
    pub fn bore_alone(&self) -> Result<Made, MakeError> {
        let mut notes = Vec::new();
        let mut works = self.cut_ends(false, &mut notes)?;
        if let Some(made) = self.unmade(&works) {
            return Ok(made);
        }
        let dropped_bore = dropped(works.iter().map(|w| &w.bore));
        none_left(self.scan, &dropped_bore)?;
        for work in &mut works {
            let (Some(placed), Some(band)) = (work.placed.clone(), work.bore.band.as_ref()) else {
                continue;
            };
            let edge = self.edge_beside((work.end, &work.located), &placed, placed.bore);
            let before = band.mesh.clone();
            let sizes = (edge, work.reach.unwrap_or(0.0));
            let band = self.finish((band, None), work.end, self.scan, sizes, &mut notes)?;
            let kept = self.near(work, &placed, |t| !dropped_bore.contains(t as u32));
            let band = self.widened(work, &band, &before, &kept);
            let stop = || self.watch.cancelled();
            self.begin("span", work.end)?;
            let (band, joint) = join_bore(
                (work.end, self.scan, &work.located),
                (&before, &band),
                &kept,
                &placed,
                &self.bore_limits(work.end, edge),
                &stop,
            )?;
            work.bore.band = Some(band);
            work.joint = Some(joint);
        }
        let stop = || self.watch.cancelled();
        self.watch.begin("wall", None)?;
        let hollow = self.hollow(&works, &dropped_bore)?;
        let graded = |p: DVec3| self.wall_at(p);
        let thickness = match self.case.scan.wall {
            Some(Wall::Graded(_)) => Thickness::Varying(&graded),
            _ => Thickness::Constant(self.wall_at(DVec3::ZERO)),
        };
        let made = made_wall(&hollow, &thickness, &OffsetOptions::default(), &stop);
        let made = made.map_err(|e| match e {
            OffsetError::Stopped => MakeError::Cancelled,
            other => MakeError::Scan {
                what: other.to_string(),
                hints: vec!["make `wall` thinner".into()],
            },
        })?;
        let wall = Scan::of(std::slice::from_ref(&made));
        for work in &mut works {
            self.join_made_wall(work, &wall, &hollow, &mut notes)?;
        }
        self.close(&works, Outside { scan: &wall, sides: None }, notes)
    }

    /// The thickness that the made wall is to have at `p`.
    fn wall_at(&self, p: DVec3) -> f64 {
        self.case.scan.wall.map_or(0.0, |wall| wall.at(p.to_array()))
    }

    /// The hollow as a closed surface that faces out of it: kept bore, bands,
    /// joints, and a lid on each end.
    fn hollow(&self, works: &[Work<'_>], dropped: &Dropped) -> Result<Mesh, MakeError> {
        let mut builder = Builder::over(&[self.scan]);
        let base = builder.base(0);
        let flip = works.first().is_some_and(|w| !w.bore.flip);
        for work in works {
            let flip = !work.bore.flip;
            let (rim, normal) = match (&work.bore.band, &work.joint, &work.placed) {
                (Some(band), Some(joint), Some(placed)) => {
                    let rim = builder.add_band(base, band, false);
                    let seam: Vec<u32> = joint.bore_order.iter().map(|&k| rim[k]).collect();
                    let side = (WallSide::Bore, true);
                    let far = builder.add_joint(&seam, &joint.bore, side, placed);
                    (far, placed.along)
                }
                _ => (
                    builder.add_pieces(base, self.scan, &work.bore.cut, flip),
                    work.located.loops.plane.normal,
                ),
            };
            let lid = fill_ring(&[with_points(&builder, &rim)], normal)
                .map_err(|e| at_end(work.end, e, &[]))?;
            builder.add_triangles(&lid);
        }
        let flip = |_: usize| flip;
        Ok(builder.assemble(&[Kept { base, scan: self.scan, dropped, flip: &flip }]))
    }

    /// Cuts the made wall at an end and spans the outside from there.
    fn join_made_wall(
        &self,
        work: &mut Work<'a>,
        wall: &Scan,
        hollow: &Mesh,
        notes: &mut Vec<Note>,
    ) -> Result<(), MakeError> {
        self.begin("cut", work.end)?;
        let thickness =
            self.wall_at(work.located.loops.bore.centroid(work.located.loops.plane.normal));
        let located = on_made_wall(wall, thickness, work.end, &work.located)?;
        let reach = work.placed.as_ref().map(|_| 3.0 * thickness);
        let bare = Case { keeps: Vec::new(), ..self.case.clone() };
        let radius = work.placed.as_ref().map_or(0.0, |placed| placed.outside);
        let lifted = reach.map(|reach| self.lifted(work.end, reach, radius));
        let mut side = cut_and_lift(wall, &bare, work.end, &located, false, lifted)?;
        if let (Some(placed), Some(joint), Some(band)) =
            (&work.placed, work.joint.as_ref(), side.band.as_ref())
        {
            let edge = self.edge_beside((work.end, &located), placed, placed.outside);
            let before = band.mesh.clone();
            let band =
                self.finish((band, None), work.end, wall, (edge, reach.unwrap_or(0.0)), notes)?;
            self.begin("span", work.end)?;
            let wall_min = self.limits(work.end).wall_min.unwrap_or(0.5 * thickness);
            let asked = |_: DVec3| wall_min;
            let limits = self.outside_limits(work.end, (&asked, wall_min), edge);
            let outside = join_outside(
                (work.end, wall, &located),
                (&before, &band),
                joint,
                hollow,
                placed,
                &limits,
                &|| self.watch.cancelled(),
            )?;
            note_joint(work, (joint, &outside), self.case, notes);
            side.band = Some(outside.band);
            work.outside_grid = Some((outside.grid, outside.order));
        }
        work.outside = Some(side);
        Ok(())
    }
}
