//! The way from a scan to a part: runs the steps in order.

mod cutting;
mod lengths;
mod notes;
mod ready;
mod until_stopped;

use spile_case::{Case, End, Form, Keep, Seam};
use spile_mesh::{Bounds3, Bvh, DVec3, Mesh, Plane};

pub use notes::{EdgeGaveWay, JointBends, Note};
use ready::{is_closed, is_found};
use until_stopped::UntilStopped;
pub(crate) use until_stopped::go_on;

use crate::bore_side::join_bore;
use crate::close::{Builder, Dropped, Kept};
use crate::fair::OtherSide;
use crate::fitting::Placed;
use crate::locate::line_below;
use crate::mend::{MendOptions, Mended, mend_until};
use crate::outside::{SeamWall, join_outside};
use crate::pierce::pierced;
use crate::reach::Band;
use crate::restore::{WallBefore, section_planes, thicken, widen};
use crate::rings::{nothing_open, rings};
use crate::span::joined;
use crate::station::with_planes;
use crate::surface::Scan;
use crate::walls::{self, WallSide};
use crate::work::{Outside, Work, close_end, dropped, note_joint, settle_end};

/// Told what is going on while a part is made.
pub trait Watch: Sync {
    /// A step begins; `end` names the end it is about, if it is about one.
    fn step(&self, step: &'static str, end: Option<&str>);
    /// Whether to stop as soon as possible; asked at every step and often within the long ones.
    fn cancelled(&self) -> bool {
        false
    }
}

/// A watcher that does not care.
pub struct Unwatched;

impl Watch for Unwatched {
    fn step(&self, _: &'static str, _: Option<&str>) {}
}

/// Limits that cannot hold together.
#[derive(Debug, Clone, PartialEq)]
pub struct Conflict {
    /// The limits, by their names in the case file.
    pub limits: Vec<String>,
    /// The end where it shows.
    pub end: Option<String>,
    /// The place where it shows.
    pub at: Option<DVec3>,
    /// Values that would go together: key of the case file and value.
    pub would_hold: Vec<(String, f64)>,
    /// Whether no part at all can hold them together.
    pub certain: bool,
    /// The whole in one sentence.
    pub sentence: String,
}

/// What came of making a part.
#[derive(Debug, Clone)]
pub struct Made {
    /// The part, closed, its coordinates `f32` values; none if it does not close.
    pub part: Option<Mesh>,
    /// The case with every automatic value written out.
    pub settled: Case,
    /// Limits found to contradict each other.
    pub conflicts: Vec<Conflict>,
    /// What the engineer should know of choices that were made.
    pub notes: Vec<Note>,
}

/// Why no part can be made of this scan and case.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MakeError {
    /// Something in the case does not fit the scan.
    #[error("end `{end}`: {what}")]
    End {
        /// The end's name.
        end: String,
        /// What is wrong and where.
        what: String,
        /// What to do next.
        hints: Vec<String>,
    },
    /// Something in the scan stands in the way.
    #[error("{what}")]
    Scan {
        /// What is wrong and where.
        what: String,
        /// What to do next.
        hints: Vec<String>,
    },
    /// The watcher asked to stop.
    #[error("stopped on request")]
    Cancelled,
}

impl MakeError {
    /// What to do next, one sentence each.
    pub fn hints(&self) -> Vec<String> {
        match self {
            Self::End { hints, .. } | Self::Scan { hints, .. } => hints.clone(),
            Self::Cancelled => Vec::new(),
        }
    }
}

/// Makes the part that `case` asks for.
///
/// # Errors
/// See [`MakeError`]: the case does not fit the scan, or the scan has a fault
/// that keeps the part from closing; or the watcher stopped it.
pub fn make(case: &Case, scans: &[Mesh], watch: &dyn Watch) -> Result<Made, MakeError> {
    let watch = UntilStopped::new(watch);
    let made = all_steps(case, scans, &watch);
    // What a step leaves that was stopped, an error or a shape, is nothing to go by.
    if watch.is_stopped() { Err(MakeError::Cancelled) } else { made }
}

/// The steps in their order.
fn all_steps(case: &Case, scans: &[Mesh], watch: &UntilStopped<'_>) -> Result<Made, MakeError> {
    case.ends.iter().try_for_each(is_found)?;
    let stop = || watch.cancelled();
    watch.begin("mend", None)?;
    let options = MendOptions::of(&case.scan);
    let mended = scans.iter().map(|s| mend_until(s, options, &stop).ok_or(MakeError::Cancelled));
    let mended = mended.collect::<Result<Vec<Mended>, _>>()?;
    watch.begin("walls", None)?;
    let meshes: Vec<Mesh> = mended.iter().map(|m| m.mesh.clone()).collect();
    if case.scan.form == Form::Cavity {
        is_closed(&meshes)?;
    }
    let scan = Scan::of(&meshes);
    go_on(&stop)?;
    let (settled, stations) = with_planes(&scan, case)?;
    go_on(&stop)?;
    let on_mended = Case { keeps: keeps_on(&mended, case), ..settled };
    let job = Job { case: &on_mended, scan: &scan, watch };
    let mut made = match case.scan.form {
        Form::Shell | Form::Sheets => job.two_walls()?,
        Form::Bore | Form::Cavity => job.bore_alone()?,
    };
    made.notes.splice(0..0, stations.into_iter().map(Note::Said));
    made.settled.keeps.clone_from(&case.keeps);
    made.settled.mends = mended.iter().flat_map(|m| &m.mends).map(|m| m.mend).collect();
    made.settled.scan.hole_max = case.scan.hole_max.or(mended.first().map(|m| m.hole_max));
    Ok(made)
}

/// The case's keeps, with triangle numbers of the mended scan where it has
/// fewer or others than the file.
fn keeps_on(mended: &[Mended], case: &Case) -> Vec<Keep> {
    let origins = || mended.iter().flat_map(|m| &m.origin).enumerate();
    case.keeps
        .iter()
        .map(|keep| match keep {
            Keep::Triangles { scan_sha256, triangles } => Keep::Triangles {
                scan_sha256: scan_sha256.clone(),
                triangles: origins()
                    .filter(|(_, o)| o.is_some_and(|o| triangles.contains(&o)))
                    .map(|(t, _)| t as u32)
                    .collect(),
            },
            other => other.clone(),
        })
        .collect()
}

/// One run of [`make`].
pub(crate) struct Job<'a> {
    pub(crate) case: &'a Case,
    pub(crate) scan: &'a Scan,
    pub(crate) watch: &'a UntilStopped<'a>,
}

impl<'a> Job<'a> {
    pub(crate) fn begin(&self, step: &'static str, end: &End) -> Result<(), MakeError> {
        self.watch.begin(step, Some(&end.name))
    }

    /// The answer where a fitting cannot be joined at all, before anything is
    /// solved: no part, and why.
    pub(crate) fn unmade(&self, works: &[Work<'_>]) -> Option<Made> {
        let conflicts = pierced(self.case, self.scan, works);
        if conflicts.is_empty() {
            return None;
        }
        let mut settled = self.case.clone();
        for (work, end) in works.iter().zip(&mut settled.ends) {
            settle_end(end, work, Seam::default(), self.limits(work.end).deviation);
            end.seam = None;
        }
        Some(Made { part: None, settled, conflicts, notes: Vec::new() })
    }

    fn two_walls(&self) -> Result<Made, MakeError> {
        let mut notes = Vec::new();
        let mut works = self.cut_ends(true, &mut notes)?;
        if let Some(made) = self.unmade(&works) {
            return Ok(made);
        }
        let mut seeds: Vec<(WallSide, &[u32])> = Vec::new();
        for work in &works {
            let loops = &work.located.loops;
            seeds.push((WallSide::Bore, &loops.bore.triangles));
            if let Some(outside) = &loops.outside {
                seeds.push((WallSide::Outside, &outside.triangles));
            }
        }
        self.watch.begin("walls", None)?;
        let sides = walls::sides(self.scan, &seeds);
        let dropped = dropped(works.iter().flat_map(Work::both));
        for k in 0..works.len() {
            if works[k].placed.is_some() {
                self.join(&mut works, k, &sides, &dropped, &mut notes)?;
            }
        }
        self.close(&works, Outside { scan: self.scan, sides: Some(&sides) }, notes)
    }

    /// Refines, fairs and spans one end of a scan with two walls.
    fn join(
        &self,
        works: &mut [Work<'a>],
        k: usize,
        sides: &[Option<WallSide>],
        dropped: &Dropped,
        notes: &mut Vec<Note>,
    ) -> Result<(), MakeError> {
        let work = &mut works[k];
        let (Some(placed), Some(bore_band)) = (work.placed.clone(), work.bore.band.as_ref()) else {
            return Ok(());
        };
        let Some(outside_band) = work.outside.as_ref().and_then(|o| o.band.as_ref()) else {
            return Ok(());
        };
        let scan_reach = work.reach.unwrap_or(0.0);
        let edge = self.edge_beside((work.end, &work.located), &placed, placed.bore);
        let kept_bore = self.near(work, &placed, |t| {
            sides[t] == Some(WallSide::Bore) && !dropped.contains(t as u32)
        });
        let (before_bore, before_outside) = (bore_band.mesh.clone(), outside_band.mesh.clone());
        // The scan as given, removed surface included, for its own wall.
        let of_side = |side| Bvh::build(&self.near(work, &placed, |t| sides[t] == Some(side)));
        let (scan_bore, scan_outside) = (of_side(WallSide::Bore), of_side(WallSide::Outside));
        let asked = self.limits(work.end);
        let sizes = (edge, scan_reach);
        let other = |surface, is_outward| {
            asked.wall_min.map(|wall_min| OtherSide { surface, wall_min, is_outward })
        };
        let beyond = other(&scan_outside, true);
        let bore_band = self.finish((bore_band, beyond), work.end, self.scan, sizes, notes)?;
        let within = other(&scan_bore, false);
        let mut outside_band =
            self.finish((outside_band, within), work.end, self.scan, sizes, notes)?;
        let bore_band = self.widened(work, &bore_band, &before_bore, &kept_bore);
        let stop = || self.watch.cancelled();
        self.begin("span", work.end)?;
        let (bore_band, joint) = join_bore(
            (work.end, self.scan, &work.located),
            (&before_bore, &bore_band),
            &kept_bore,
            &placed,
            &self.bore_limits(work.end, edge),
            &stop,
        )?;
        let bore_all =
            [&bore_band.mesh, &joint.bore.mesh(true), &placed.mesh(WallSide::Bore, &joint.bore)]
                .into_iter()
                .fold(kept_bore, |all, m| joined(&all, m));
        let wall_min = asked.wall_min.unwrap_or(0.0);
        let before = WallBefore {
            outside: &before_outside,
            bore: &before_bore,
            scan_bore: &scan_bore,
            scan_outside: &scan_outside,
            wall_min,
            tolerance: 0.1 * asked.deviation,
        };
        if wall_min > 0.0 {
            let index = Bvh::build(&bore_all);
            outside_band = thicken(&outside_band, &bore_band.mesh, &index, &before, &stop);
            go_on(&stop)?;
        }
        let seam_wall = SeamWall::new(
            &work.located.loops.bore.points,
            work.located.loops.outside.as_ref().map_or(&[], |l| &l.points),
            &scan_bore,
            &scan_outside,
        );
        let asked = |p: DVec3| seam_wall.asked(p, wall_min, 1.5 * edge);
        let limits = self.outside_limits(work.end, (&asked, wall_min), edge);
        let outside = join_outside(
            (work.end, self.scan, &work.located),
            (&before_outside, &outside_band),
            &joint,
            &bore_all,
            &placed,
            &limits,
            &stop,
        )?;
        note_joint(work, (&joint, &outside), self.case, notes);
        work.bore.band = Some(bore_band);
        if let Some(side) = &mut work.outside {
            side.band = Some(outside.band);
        }
        work.outside_grid = Some((outside.grid, outside.order));
        work.joint = Some(joint);
        Ok(())
    }

    /// The bore band with what it lost of bore area given back.
    pub(crate) fn widened(&self, work: &Work<'_>, band: &Band, before: &Mesh, kept: &Mesh) -> Band {
        let Some(share) = self.limits(work.end).bore_loss else { return band.clone() };
        let (located, loops) = (&work.located, &work.located.loops);
        let point = loops.bore.centroid(loops.plane.normal);
        let first = Plane { point, normal: located.facing };
        let line = || line_below(self.scan, loops, work.reach.unwrap_or(0.0));
        let stop = || self.watch.cancelled();
        widen((band, before), kept, section_planes(band, first, line, share), share, &stop)
    }

    /// The scan's triangles near an end that are wanted, in the direction that
    /// faces away from the bore.
    pub(crate) fn near(
        &self,
        work: &Work<'_>,
        placed: &Placed,
        wanted: impl Fn(usize) -> bool,
    ) -> Mesh {
        let loops = &work.located.loops;
        let centre = loops.bore.centroid(loops.plane.normal);
        let size = 2.0 * placed.outside + work.end.reach.unwrap_or(0.0);
        let mut near = Vec::new();
        let box_near = Bounds3 { min: centre - size, max: centre + size };
        self.scan.bvh.for_each_touching(box_near, &mut |t| {
            if wanted(t as usize) {
                near.push(t);
            }
        });
        near.sort_unstable();
        // Bore triangles that the solid will turn inward face outward here.
        let flip = !work.bore.flip;
        let triangles = near
            .iter()
            .map(|&t| {
                let c = self.scan.mesh.triangles()[t as usize];
                if flip { [c[0], c[2], c[1]] } else { c }
            })
            .collect();
        Mesh::of_used(self.scan.mesh.points(), triangles).unwrap_or_default()
    }

    pub(crate) fn close(
        &self,
        works: &[Work<'_>],
        outside: Outside<'_>,
        mut notes: Vec<Note>,
    ) -> Result<Made, MakeError> {
        self.watch.begin("close", None)?;
        let flip_of = |side: WallSide| {
            works.first().is_some_and(|w| match side {
                WallSide::Bore => w.bore.flip,
                WallSide::Outside => w.outside.as_ref().is_some_and(|o| o.flip),
            })
        };
        let outsides = || works.iter().filter_map(|w| w.outside.as_ref());
        let (surfaces, gone) = match outside.sides {
            Some(_) => (vec![self.scan], vec![dropped(works.iter().flat_map(Work::both))]),
            None => (
                vec![self.scan, outside.scan],
                vec![dropped(works.iter().map(|w| &w.bore)), dropped(outsides())],
            ),
        };
        let (flip_bore, flip_outside) = (flip_of(WallSide::Bore), flip_of(WallSide::Outside));
        let flip_here = |t: usize| match outside.sides {
            Some(sides) => sides[t].is_some_and(flip_of),
            None => flip_bore,
        };
        let flip_there = |_: usize| flip_outside;
        let mut builder = Builder::over(&surfaces);
        let flips: [&dyn Fn(usize) -> bool; 2] = [&flip_here, &flip_there];
        let kept: Vec<Kept<'_>> = surfaces
            .iter()
            .zip(&gone)
            .zip(flips)
            .enumerate()
            .map(|(k, ((scan, dropped), flip))| Kept { base: builder.base(k), scan, dropped, flip })
            .collect();
        let (base, outside_base) = (builder.base(0), builder.base(surfaces.len() - 1));
        if let Some(sides) = outside.sides {
            let (rings, closed) = rings(self.scan, sides, &gone[0], &flip_of)?;
            builder.add_ring(base, &rings);
            notes.extend(closed.into_iter().map(Note::Said));
        }
        let mut settled = self.case.clone();
        for (work, end) in works.iter().zip(&mut settled.ends) {
            self.watch.go_on()?;
            let Some(side) = &work.outside else { continue };
            let surfaces = [(base, self.scan), (outside_base, outside.scan)];
            let mut seam = close_end(&mut builder, surfaces, work, side)?;
            if outside.sides.is_none() && work.placed.is_some() {
                seam.outside.clear();
            }
            settle_end(end, work, seam, self.limits(work.end).deviation);
        }
        let leaves_rim = builder.leaves_rim(&kept);
        self.watch.begin("assemble", None)?;
        let part = builder.assemble(&kept);
        self.watch.go_on()?;
        if leaves_rim {
            nothing_open(&part)?;
        }
        Ok(Made { part: Some(part), settled, conflicts: Vec::new(), notes })
    }
}

#[cfg(test)]
mod tests;
