//! The way from a scan to a part: runs the steps in order.

use spile_case::{Case, End, Form, Place, Seam, Site};
use spile_mesh::{Bounds3, Bvh, DVec3, Mesh, Plane, section_near};

use crate::cap::fill_ring;
use crate::close::{Base, Builder};
use crate::cut::EndLoops;
use crate::ends::{
    Joint, Placed, SeamWall, SideAtEnd, at_end, cut_and_lift, finish_band, join_bore, join_outside,
    place, tube_of,
};
use crate::fair::FairLimits;
use crate::locate::{Located, locate};
use crate::offset::{OffsetOptions, Thickness, made_wall};
use crate::reach::Band;
use crate::refine::RefineLimits;
use crate::restore::{WallBefore, thicken, widen};
use crate::span::{Grid, joined};
use crate::surface::Scan;
use crate::walls::{self, WallSide};

/// Told what is going on while a part is made.
pub trait Watch: Sync {
    /// A step begins; `end` names the end it is about, if it is about one.
    fn step(&self, step: &'static str, end: Option<&str>);
    /// Whether to stop as soon as possible.
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
    pub notes: Vec<String>,
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
/// that keeps the part from closing.
pub fn make(case: &Case, scans: &[Mesh], watch: &dyn Watch) -> Result<Made, MakeError> {
    watch.step("walls", None);
    let scan = Scan::of(scans);
    let job = Job { case, scan: &scan, watch };
    match case.scan.form {
        Form::Shell | Form::Sheets => job.two_walls(),
        Form::Bore => job.bore_alone(),
    }
}

/// One run of [`make`].
struct Job<'a> {
    case: &'a Case,
    scan: &'a Scan,
    watch: &'a dyn Watch,
}

/// The work at one end.
struct Work<'a> {
    end: &'a End,
    located: Located,
    placed: Option<Placed>,
    bore: SideAtEnd,
    outside: Option<SideAtEnd>,
    joint: Option<Joint>,
    outside_grid: Option<(Grid, Vec<usize>)>,
}

impl<'a> Job<'a> {
    fn begin(&self, step: &'static str, end: &End) -> Result<(), MakeError> {
        self.watch.step(step, Some(&end.name));
        if self.watch.cancelled() { Err(MakeError::Cancelled) } else { Ok(()) }
    }

    /// Finds, cuts and lifts every end.
    fn cut_ends(&self, two_walls: bool) -> Result<Vec<Work<'a>>, MakeError> {
        let mut works = Vec::new();
        for end in &self.case.ends {
            self.begin("cut", end)?;
            let located = locate(self.scan, end, two_walls)?;
            let placed = place(self.scan, end, &located);
            let reach = placed.and(end.reach);
            let side = |bore| cut_and_lift(self.scan, self.case, end, &located, bore, reach);
            let bore = side(true)?;
            let outside = if two_walls { Some(side(false)?) } else { None };
            works.push(Work {
                end,
                located,
                placed,
                bore,
                outside,
                joint: None,
                outside_grid: None,
            });
        }
        apart(self.scan, &works)?;
        Ok(works)
    }

    /// Share of bore area that may be lost.
    fn loss_share(&self) -> f64 {
        self.case.limits.bore_loss.unwrap_or(0.01)
    }

    /// Edge length at a seam of this radius.
    fn edge(&self, radius: f64) -> f64 {
        // At most 5 degrees a side round the circle, so that the facets of a
        // round seam stay well under any sensible kink, and short enough for
        // the fitting's chord.
        let round = std::f64::consts::TAU * radius / 110.0;
        let chord = (8.0 * radius * self.case.limits.chord).sqrt() * 0.9;
        self.case.edge.unwrap_or(round.min(chord))
    }

    fn refine_limits(&self, edge: f64) -> RefineLimits {
        RefineLimits {
            edge,
            grading: 0.08,
            longest: self.scan.median_edge(),
            deviation: 0.2 * self.case.limits.deviation,
        }
    }

    fn fair_limits(&self, scan: &Scan, reach: f64) -> FairLimits {
        FairLimits {
            most: 0.5 * self.case.limits.deviation,
            wave: 3.0 * scan.median_edge(),
            full: 0.25 * reach,
            border: 3.5 * scan.median_edge(),
        }
    }

    fn two_walls(&self) -> Result<Made, MakeError> {
        let mut works = self.cut_ends(true)?;
        let mut seeds: Vec<(WallSide, &[u32])> = Vec::new();
        for work in &works {
            let loops = &work.located.loops;
            seeds.push((WallSide::Bore, &loops.bore.triangles));
            if let Some(outside) = &loops.outside {
                seeds.push((WallSide::Outside, &outside.triangles));
            }
        }
        let sides = walls::sides(self.scan, &seeds);
        let mut notes = Vec::new();
        let conflicts = Vec::new();
        let dropped = dropped(self.scan, works.iter().flat_map(Work::both));
        for k in 0..works.len() {
            if works[k].placed.is_some() {
                self.join(&mut works, k, &sides, &dropped, &mut notes)?;
            }
        }
        self.close(&works, Outside { scan: self.scan, sides: Some(&sides) }, notes, conflicts)
    }

    /// Refines, fairs and spans one end of a scan with two walls.
    fn join(
        &self,
        works: &mut [Work<'a>],
        k: usize,
        sides: &[Option<WallSide>],
        dropped: &[bool],
        notes: &mut Vec<String>,
    ) -> Result<(), MakeError> {
        let work = &mut works[k];
        let (Some(placed), Some(bore_band)) = (work.placed, work.bore.band.as_ref()) else {
            return Ok(());
        };
        let Some(outside_band) = work.outside.as_ref().and_then(|o| o.band.as_ref()) else {
            return Ok(());
        };
        let scan_reach = work.end.reach.unwrap_or(0.0);
        let edge = self.edge(placed.bore);
        let kept_bore =
            self.near(work, placed, |t| sides[t] == Some(WallSide::Bore) && !dropped[t]);
        let (before_bore, before_outside) = (bore_band.mesh.clone(), outside_band.mesh.clone());
        self.begin("refine", work.end)?;
        let bore_band = self.finish(bore_band, work.end, self.scan, edge, scan_reach)?;
        let mut outside_band = self.finish(outside_band, work.end, self.scan, edge, scan_reach)?;
        let bore_band = self.widened(&work.located, &bore_band, &before_bore, &kept_bore);
        self.begin("span", work.end)?;
        let joint = join_bore(
            work.end,
            &work.located,
            &bore_band,
            &kept_bore,
            &placed,
            edge,
            self.loss_share(),
        )?;
        let bore_all = [
            &bore_band.mesh,
            &Mesh::new(joint.bore.points(), joint.bore.triangles(true)).unwrap_or_default(),
            &tube_of(&joint.bore, placed.along, placed.length),
        ]
        .into_iter()
        .fold(kept_bore, |all, m| joined(&all, m));
        // The scan as given, removed surface included, for its own wall.
        let of_side = |side| Bvh::build(&self.near(work, placed, |t| sides[t] == Some(side)));
        let (scan_bore, scan_outside) = (of_side(WallSide::Bore), of_side(WallSide::Outside));
        let wall_min = self.case.limits.wall_min.unwrap_or(0.0);
        let before = WallBefore {
            outside: &before_outside,
            bore: &before_bore,
            scan_bore: &scan_bore,
            scan_outside: &scan_outside,
            wall_min,
            tolerance: 0.1 * self.case.limits.deviation,
        };
        if wall_min > 0.0 {
            let index = Bvh::build(&bore_all);
            outside_band = thicken(&outside_band, &bore_band.mesh, &index, &before);
        }
        let seam_wall = SeamWall::new(
            &work.located.loops.bore.points,
            work.located.loops.outside.as_ref().map_or(&[], |l| &l.points),
            &scan_bore,
            &scan_outside,
        );
        let asked = |p: DVec3| seam_wall.asked(p, wall_min);
        let (grid, order, spare) = join_outside(
            work.end,
            &work.located,
            &outside_band,
            &joint,
            &bore_all,
            &placed,
            &asked,
            wall_min.max(edge),
            edge,
        )?;
        note_spare(work, &joint, spare, self.case, notes);
        work.bore.band = Some(bore_band);
        if let Some(outside) = &mut work.outside {
            outside.band = Some(outside_band);
        }
        work.joint = Some(joint);
        work.outside_grid = Some((grid, order));
        Ok(())
    }

    /// Refines and fairs a band of `surface`.
    fn finish(
        &self,
        band: &Band,
        end: &End,
        surface: &Scan,
        edge: f64,
        reach: f64,
    ) -> Result<Band, MakeError> {
        let limits = self.refine_limits(edge);
        let fairing = self.fair_limits(surface, reach);
        finish_band(surface, band, end, &limits, &fairing, self.case.limits.deviation)
    }

    /// The bore band with what it lost of bore area given back.
    fn widened(&self, located: &Located, band: &Band, before: &Mesh, kept: &Mesh) -> Band {
        let Some(share) = self.case.limits.bore_loss else { return band.clone() };
        let loops = &located.loops;
        let start = loops.bore.centroid(loops.plane.normal);
        widen(band, before, kept, start, located.facing, share)
    }

    /// The scan's triangles near an end that are wanted, in the direction that
    /// faces away from the bore.
    fn near(&self, work: &Work<'_>, placed: Placed, wanted: impl Fn(usize) -> bool) -> Mesh {
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
        compact(self.scan.mesh.points(), triangles)
    }

    fn close(
        &self,
        works: &[Work<'_>],
        outside: Outside<'_>,
        notes: Vec<String>,
        conflicts: Vec<Conflict>,
    ) -> Result<Made, MakeError> {
        self.watch.step("close", None);
        let mut builder = Builder::default();
        let base = builder.add_surface(self.scan);
        let flip_of = |side: WallSide| {
            works.first().is_some_and(|w| match side {
                WallSide::Bore => w.bore.flip,
                WallSide::Outside => w.outside.as_ref().is_some_and(|o| o.flip),
            })
        };
        let gone = match outside.sides {
            Some(_) => dropped(self.scan, works.iter().flat_map(Work::both)),
            None => dropped(self.scan, works.iter().map(|w| &w.bore)),
        };
        for t in (0..self.scan.mesh.triangles().len()).filter(|&t| !gone[t]) {
            let side = match outside.sides {
                Some(sides) => sides[t],
                None => Some(WallSide::Bore),
            };
            builder.keep(base, self.scan, t, side.is_some_and(flip_of));
        }
        let mut outside_base = base;
        if outside.sides.is_none() {
            outside_base = builder.add_surface(outside.scan);
            let gone = dropped(outside.scan, works.iter().filter_map(|w| w.outside.as_ref()));
            for t in (0..outside.scan.mesh.triangles().len()).filter(|&t| !gone[t]) {
                builder.keep(outside_base, outside.scan, t, flip_of(WallSide::Outside));
            }
        }
        let mut settled = self.case.clone();
        for (work, end) in works.iter().zip(&mut settled.ends) {
            let Some(side) = &work.outside else { continue };
            let surfaces = [(base, self.scan), (outside_base, outside.scan)];
            let mut seam = close_end(&mut builder, surfaces, work, side)?;
            if outside.sides.is_none() && work.placed.is_some() {
                seam.outside.clear();
            }
            settle_end(end, work, seam, self.case.limits.deviation);
        }
        if settled.scan.hole_max.is_none() {
            settled.scan.hole_max = Some(2.0 * self.scan.median_edge());
        }
        Ok(Made { part: Some(builder.finish()), settled, conflicts, notes })
    }

    /// Makes a part of a bore alone: joints first, then the wall round all of it.
    fn bore_alone(&self) -> Result<Made, MakeError> {
        let mut works = self.cut_ends(false)?;
        let dropped_bore = dropped(self.scan, works.iter().map(|w| &w.bore));
        for work in &mut works {
            let (Some(placed), Some(band)) = (work.placed, work.bore.band.as_ref()) else {
                continue;
            };
            self.begin("refine", work.end)?;
            let edge = self.edge(placed.bore);
            let before = band.mesh.clone();
            let band =
                self.finish(band, work.end, self.scan, edge, work.end.reach.unwrap_or(0.0))?;
            let kept = self.near(work, placed, |t| !dropped_bore[t]);
            let band = self.widened(&work.located, &band, &before, &kept);
            self.begin("span", work.end)?;
            let joint =
                join_bore(work.end, &work.located, &band, &kept, &placed, edge, self.loss_share())?;
            work.bore.band = Some(band);
            work.joint = Some(joint);
        }
        self.watch.step("wall", None);
        let thickness = self.case.scan.wall.unwrap_or(0.0);
        let hollow = self.hollow(&works, &dropped_bore)?;
        let made = made_wall(&hollow, &Thickness::Constant(thickness), &OffsetOptions::default())
            .map_err(|e| MakeError::Scan {
            what: e.to_string(),
            hints: vec!["make `wall` thinner".into()],
        })?;
        let wall = Scan::of(std::slice::from_ref(&made));
        let mut notes = Vec::new();
        for work in &mut works {
            self.join_made_wall(work, &wall, &hollow, &mut notes)?;
        }
        self.close(&works, Outside { scan: &wall, sides: None }, notes, Vec::new())
    }

    /// The hollow as a closed surface that faces out of it: kept bore, bands,
    /// joints, and a lid on each end.
    fn hollow(&self, works: &[Work<'_>], dropped: &[bool]) -> Result<Mesh, MakeError> {
        let mut builder = Builder::default();
        let base = builder.add_surface(self.scan);
        let flip = works.first().is_some_and(|w| !w.bore.flip);
        for (t, gone) in dropped.iter().enumerate() {
            if !gone {
                builder.keep(base, self.scan, t, flip);
            }
        }
        for work in works {
            let flip = !work.bore.flip;
            let (rim, normal) = match (&work.bore.band, &work.joint, work.placed) {
                (Some(band), Some(joint), Some(placed)) => {
                    let rim = builder.add_band(base, band, false);
                    let seam: Vec<u32> = joint.bore_order.iter().map(|&k| rim[k]).collect();
                    let along = placed.along;
                    let length = placed.length;
                    (builder.add_joint(&seam, &joint.bore, WallSide::Outside, along, length), along)
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
        Ok(builder.finish())
    }

    /// Cuts the made wall at an end and spans the outside from there.
    fn join_made_wall(
        &self,
        work: &mut Work<'a>,
        wall: &Scan,
        hollow: &Mesh,
        notes: &mut Vec<String>,
    ) -> Result<(), MakeError> {
        self.begin("cut", work.end)?;
        let located = on_made_wall(wall, work.end, &work.located)?;
        let thickness = self.case.scan.wall.unwrap_or(0.0);
        let reach = work.placed.map(|_| 3.0 * thickness);
        let bare = Case { keeps: Vec::new(), ..self.case.clone() };
        let mut side = cut_and_lift(wall, &bare, work.end, &located, false, reach)?;
        if let (Some(placed), Some(joint), Some(band)) =
            (work.placed, work.joint.as_ref(), side.band.as_ref())
        {
            self.begin("refine", work.end)?;
            let edge = self.edge(placed.outside);
            let band = self.finish(band, work.end, wall, edge, reach.unwrap_or(0.0))?;
            self.begin("span", work.end)?;
            let wall_min = self.case.limits.wall_min.unwrap_or(0.5 * thickness);
            let asked = |_: DVec3| wall_min;
            let (grid, order, spare) = join_outside(
                work.end,
                &located,
                &band,
                joint,
                hollow,
                &placed,
                &asked,
                wall_min.max(edge),
                edge,
            )?;
            note_spare(work, joint, spare, self.case, notes);
            side.band = Some(band);
            work.outside_grid = Some((grid, order));
        }
        work.outside = Some(side);
        Ok(())
    }
}

/// Adds one end to the part: bands, joint and fitting, or pieces and a flat
/// ring. Tells the seam as the part carries it.
fn close_end(
    builder: &mut Builder,
    surfaces: [(Base, &Scan); 2],
    work: &Work<'_>,
    outside: &SideAtEnd,
) -> Result<Seam, MakeError> {
    let [(base, scan), (outside_base, outside_scan)] = surfaces;
    let ring_error = |e: crate::cap::CapError| {
        at_end(work.end, e, &["move the cut a little, where its outline is simpler"])
    };
    let normal = work.located.loops.plane.normal;
    let (Some(placed), Some(joint), Some((outside_grid, outside_order))) =
        (work.placed, &work.joint, &work.outside_grid)
    else {
        let bore_rim = builder.add_pieces(base, scan, &work.bore.cut, work.bore.flip);
        let outside_rim =
            builder.add_pieces(outside_base, outside_scan, &outside.cut, outside.flip);
        let loops = [with_points(builder, &outside_rim), with_points(builder, &bore_rim)];
        let ring = fill_ring(&loops, normal).map_err(ring_error)?;
        builder.add_triangles(&ring);
        return Ok(Seam {
            bore: coordinates(builder, &bore_rim),
            outside: coordinates(builder, &outside_rim),
        });
    };
    let (Some(bore_band), Some(outside_band)) = (&work.bore.band, &outside.band) else {
        return Err(at_end(work.end, "the end has no band to join to", &[]));
    };
    let bore_rim = builder.add_band(base, bore_band, true);
    let outside_rim = builder.add_band(outside_base, outside_band, false);
    let taken = |rim: &[u32], order: &[usize]| order.iter().map(|&k| rim[k]).collect::<Vec<u32>>();
    let bore_seam = taken(&bore_rim, &joint.bore_order);
    let outside_seam = taken(&outside_rim, outside_order);
    let (along, length) = (placed.along, placed.length);
    let bore_far = builder.add_joint(&bore_seam, &joint.bore, WallSide::Bore, along, length);
    let outside_far =
        builder.add_joint(&outside_seam, outside_grid, WallSide::Outside, along, length);
    let loops = [with_points(builder, &outside_far), with_points(builder, &bore_far)];
    let ring = fill_ring(&loops, along).map_err(ring_error)?;
    builder.add_triangles(&ring);
    Ok(Seam {
        bore: coordinates(builder, &bore_seam),
        outside: coordinates(builder, &outside_seam),
    })
}

fn with_points(builder: &Builder, rim: &[u32]) -> Vec<(u32, DVec3)> {
    rim.iter().map(|&v| (v, builder.point(v))).collect()
}

fn coordinates(builder: &Builder, rim: &[u32]) -> Vec<[f64; 3]> {
    rim.iter().map(|&v| builder.point(v).to_array()).collect()
}

/// Writes what was chosen into the settled case.
fn settle_end(end: &mut End, work: &Work<'_>, seam: Seam, deviation: f64) {
    end.seam = Some(seam);
    if let Some(placed) = work.placed {
        end.place = Some(Place::At { at: placed.at.to_array(), along: placed.along.to_array() });
    }
    if let Site::Rim(rim) = &mut end.site {
        rim.facing = Some(work.located.facing.to_array());
        // Fairing may move the seam by the deviation.
        let room = 2.0 * deviation;
        rim.trim = rim.trim.or(work.located.given_up.map(|g| g + room));
    }
}

/// Which triangles of a surface are not in the part as they were.
fn dropped<'b>(scan: &Scan, sides: impl Iterator<Item = &'b SideAtEnd>) -> Vec<bool> {
    let mut dropped = vec![false; scan.mesh.triangles().len()];
    for side in sides {
        let replaced = side.band.iter().flat_map(|b| &b.replaces);
        for &t in side.cut.crossed.iter().chain(&side.cut.removed).chain(replaced) {
            dropped[t as usize] = true;
        }
    }
    dropped
}

/// The end's place on the made wall: the loop of its plane round the bore.
fn on_made_wall(wall: &Scan, end: &End, bore: &Located) -> Result<Located, MakeError> {
    let plane = bore.loops.plane;
    let centre = bore.loops.bore.centroid(plane.normal);
    let across = (bore.loops.bore.area(plane.normal).abs()).sqrt();
    let plane = Plane { point: centre, normal: plane.normal };
    let loops = section_near(&wall.mesh, &wall.topology, &wall.bvh, plane, centre, 2.0 * across);
    let (chosen, _) = walls::choose_loops(&loops, plane, false)
        .map_err(|e| at_end(end, e, &["move the cut away from other branches"]))?;
    let outside = loops[chosen].clone();
    let loops = EndLoops { plane, bore: bore.loops.bore.clone(), outside: Some(outside) };
    Ok(Located { loops, facing: bore.facing, given_up: bore.given_up })
}

/// Notes what the joint lacks, for the engineer to see beside the proof.
fn note_spare(work: &Work<'_>, joint: &Joint, spare: f64, case: &Case, notes: &mut Vec<String>) {
    let name = &work.end.name;
    let (least, asked) = joint.area;
    if least < asked * (1.0 - case.limits.bore_loss.unwrap_or(1.0)) {
        notes.push(format!(
            "end `{name}`: the joint's least bore area is {least:.2}, less than the {asked:.2} of its smaller end"
        ));
    }
    if spare < 0.0 {
        notes.push(format!("end `{name}`: the joint's wall is {:.3} under what is asked", -spare));
    }
}

/// The surface that the outside is on.
struct Outside<'s> {
    scan: &'s Scan,
    /// Sides of the scan's triangles where it has both; none where the outside
    /// is a surface of its own.
    sides: Option<&'s [Option<WallSide>]>,
}

impl Work<'_> {
    fn both(&self) -> impl Iterator<Item = &SideAtEnd> {
        std::iter::once(&self.bore).chain(&self.outside)
    }
}

/// Errs where two ends want to change the same triangles.
fn apart(scan: &Scan, works: &[Work<'_>]) -> Result<(), MakeError> {
    let mut owner: std::collections::BTreeMap<u32, usize> = std::collections::BTreeMap::new();
    for (k, work) in works.iter().enumerate() {
        for side in std::iter::once(&work.bore).chain(&work.outside) {
            let band = side.band.iter().flat_map(|b| &b.replaces);
            for &t in side.cut.crossed.iter().chain(&side.cut.removed).chain(band) {
                if let Some(other) = owner.insert(t, k).filter(|&o| o != k) {
                    let p = scan.mesh.corners(t as usize)[0];
                    return Err(at_end(
                        work.end,
                        format!(
                            "its reach meets that of end `{}` near ({:.2}, {:.2}, {:.2})",
                            works[other].end.name, p.x, p.y, p.z
                        ),
                        &["make `reach` of one or both ends shorter, or move the cuts apart"],
                    ));
                }
            }
        }
    }
    Ok(())
}

/// Only the points that the triangles use.
fn compact(points: &[DVec3], triangles: Vec<[u32; 3]>) -> Mesh {
    let mut used: Vec<u32> = triangles.iter().flatten().copied().collect();
    used.sort_unstable();
    used.dedup();
    let place = |v: u32| used.binary_search(&v).unwrap_or(0) as u32;
    let triangles = triangles.iter().map(|t| t.map(place)).collect();
    Mesh::new(used.iter().map(|&v| points[v as usize]).collect(), triangles).unwrap_or_default()
}
