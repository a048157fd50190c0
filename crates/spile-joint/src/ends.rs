//! One end from cut to joint: cut, lift, refine, fair, span.

use spile_case::{Case, End, Fitting, Onward, Place, Site, SolidKind, Tilt, Unit};
use spile_mesh::{Bvh, DVec3, Mesh, RemeshError, SectionLoop, StopAsked};

use crate::angles::{AngleLimits, Held, hold_angles, loosened};
use crate::cut::{CutLengths, CutSide, cut_side};
use crate::fair::{FairLimits, fair_band, normals_at};
use crate::fitting::Placed;
use crate::folds::clear_of_folds;
use crate::foreign::{Foreign, Wanted};
use crate::least_squares::SolveError;
use crate::locate::{Located, tangent};
use crate::make::{EdgeGaveWay, MakeError, Note, go_on};
use crate::reach::{Band, Depths, lift_band, reached_from, touches, within_reach};
use crate::refine::{RefineError, RefineLimits, refine};
use crate::span::{Grid, SeamLoop};
use crate::surface::Scan;
use crate::walls::WallSide;

/// One side of the wall at one end.
pub struct SideAtEnd {
    /// The cut as it fell on the scan's triangles.
    pub cut: CutSide,
    /// The band between rim and untouched scan, facing away from the bore's
    /// line; none at a plain end.
    pub band: Option<Band>,
    /// Whether the scan's triangles here have to be turned for the solid.
    pub flip: bool,
}

/// The error of an end.
pub fn at_end(end: &End, what: impl std::fmt::Display, hints: &[&str]) -> MakeError {
    MakeError::End {
        end: end.name.clone(),
        what: what.to_string(),
        hints: hints.iter().map(|h| (*h).to_string()).collect(),
    }
}

/// The error of an end whose equations were not solved.
pub fn unsolved(end: &End, why: SolveError) -> MakeError {
    match why {
        SolveError::Stopped => MakeError::Cancelled,
        other => at_end(end, other, &[]),
    }
}

/// Puts the fitting of `end` in its place; none without one.
///
/// # Errors
/// Where it is to be tilted toward the bore's own direction, or its file does not
/// give a fitting.
pub fn place(
    scan: &Scan,
    case: &Case,
    end: &End,
    located: &Located,
) -> Result<Option<Placed>, MakeError> {
    let (Some(fitting), Some(place)) = (end.fitting, end.place) else { return Ok(None) };
    let loops = &located.loops;
    let centre = loops.bore.centroid(loops.plane.normal);
    let placed = match place {
        Place::At { at, along } => Some((DVec3::from(at), DVec3::from(along).normalize_or_zero())),
        Place::Onward(Onward { gap, off, tilt }) => {
            let on = tangent(scan, loops, loops.plane.normal);
            let at = centre + on * gap + DVec3::from(off);
            Some((at, tilt.map_or(Ok(on), |tilt| tilted(end, on, tilt))?))
        }
        Place::AsModelled => None,
        Place::Auto => return Ok(None),
    };
    let Fitting::Mesh(mesh) = fitting else {
        return Ok(placed.and_then(|(at, along)| Placed::new(fitting, case.unit, at, along)));
    };
    let Some(solid) = case.solids.get(mesh.solid) else { return Ok(None) };
    let on_scan = match end.site {
        Site::Cut(cut) => DVec3::from(cut.through),
        Site::Rim(rim) => DVec3::from(rim.near),
        Site::Station(_) => centre,
    };
    let (chord, file) = (case.limits.chord, solid.file.as_str());
    let moved = case.scan.moved;
    let wanted = Wanted { unit: case.unit, on_scan, place: placed, moved, chord, file };
    let foreign =
        Foreign::new(solid, mesh, &wanted).map_err(|w| at_end(end, w.what, &[&w.hint]))?;
    let scanned = (loops.bore.area(loops.plane.normal).abs() / std::f64::consts::PI).sqrt();
    let times = foreign.radii[0] / scanned;
    if !(1.0 / MOST_TIMES..=MOST_TIMES).contains(&times) {
        let what = format!(
            "{file}: its bore is {:.3} across and the scan's {:.3}, in {}",
            2.0 * foreign.radii[0],
            2.0 * scanned,
            case.unit.name()
        );
        return Err(match solid.kind {
            SolidKind::Mesh => {
                at_end(end, what, &["say which unit the file is in: `unit` beside `file`"])
            }
            SolidKind::Step => {
                let said = solid.unit.unwrap_or(case.unit).name();
                let hint = format!(
                    "the file states its unit as {said}{}; if that is wrong, export it anew in the right one",
                    meant(times, solid.scale(case.unit), case.unit)
                );
                at_end(end, format!("{what}, {times:.3} times as much"), &[&hint])
            }
        });
    }
    if placed.is_none() && foreign.along.dot(located.facing) <= 0.0 {
        let what = format!("{file}: as modelled, its rim faces away from the scan's end");
        return Err(at_end(end, what, &["name the rim that faces the scan: `rim = [x, y, z]`"]));
    }
    let gap = foreign.face.distance(centre);
    Ok(Some(Placed::solid(foreign, gap)))
}

/// The unit in which a bore that is `times` as wide as the scan's, with lengths taken times
/// `scale`, would be about as wide; nothing to say where there is none.
fn meant(times: f64, scale: f64, case: Unit) -> String {
    let units = [Unit::Millimetre, Unit::Centimetre, Unit::Metre, Unit::Inch];
    let in_unit = |unit: Unit| times / scale * unit.in_millimetres() / case.in_millimetres();
    let apart = |unit: &Unit| in_unit(*unit).ln().abs();
    let nearest = units.into_iter().min_by(|a, b| apart(a).total_cmp(&apart(b)));
    match nearest.filter(|unit| apart(unit) < 2f64.ln()) {
        Some(unit) => {
            format!("; in {} its bore would be {:.2} times the scan's", unit.name(), in_unit(unit))
        }
        None => String::new(),
    }
}

/// A tilt's direction leads to a side only if it leaves the bore's by this much.
const SIDEWAYS_DEG: f64 = 1.0;

/// The bore's direction `on`, turned as `tilt` asks.
fn tilted(end: &End, on: DVec3, Tilt { tilt_deg, toward }: Tilt) -> Result<DVec3, MakeError> {
    let side = DVec3::from(toward).reject_from_normalized(on);
    if side.length() < SIDEWAYS_DEG.to_radians().sin() {
        return Err(at_end(
            end,
            format!(
                "`toward` runs along the bore, whose direction here is ({:.4}, {:.4}, {:.4}): it leads to no side",
                on.x, on.y, on.z
            ),
            &["point `toward` to the side that the fitting leans to"],
        ));
    }
    let (sin, cos) = tilt_deg.to_radians().sin_cos();
    Ok(cos * on + sin * side.normalize())
}

/// A fitting's bore wider or narrower than the scan's by more than this is in
/// another unit; the units that a case knows are further apart.
const MOST_TIMES: f64 = 8.0;

/// How much of the scan is lifted at an end with a joint.
#[derive(Debug, Clone, Copy)]
pub struct Lifted {
    /// How far from the rim it may be changed.
    pub reach: f64,
    /// Length of the joint's edges.
    pub edge: f64,
    /// How much edges may grow from there a length of way.
    pub grading: f64,
}

/// The triangles to lift: those within reach that some step needs.
fn needed(
    scan: &Scan,
    case: &Case,
    end: &End,
    chosen: &SectionLoop,
    cut: &CutSide,
    lifted: Lifted,
) -> Vec<u32> {
    // Measured from the seam as it comes out, which may lie a deviation
    // away from the loop as cut.
    let reach = lifted.reach - case.limits_at(end).deviation;
    let near = within_reach(scan, chosen, reach);
    let of_scan = scan.median_edge_of(near.iter().copied());
    let depths = Depths::new(lifted.reach, (of_scan, lifted.edge), lifted.grading);
    if depths.band >= reach {
        return near;
    }
    let nearer = within_reach(scan, chosen, depths.band);
    // A long triangle at the cut needs more.
    let has_all = cut.crossed.iter().all(|t| nearer.binary_search(t).is_ok());
    if has_all { nearer } else { near }
}

/// Cuts one side and lifts its band; `lifted` is none at a plain end.
pub fn cut_and_lift(
    scan: &Scan,
    case: &Case,
    end: &End,
    located: &Located,
    bore_side: bool,
    lifted: Option<Lifted>,
) -> Result<SideAtEnd, MakeError> {
    let loops = &located.loops;
    let chosen = if bore_side { Some(&loops.bore) } else { loops.outside.as_ref() };
    let Some(chosen) = chosen else {
        return Err(at_end(end, "the cut meets one wall only", &[]));
    };
    let lengths = CutLengths::of(scan.median_edge(), case.limits_at(end).deviation);
    let lengths = if lifted.is_some() { lengths } else { lengths.flat() };
    let first_new = scan.mesh.points().len() as u32;
    let side = if bore_side { WallSide::Bore } else { WallSide::Outside };
    let cut = cut_side(scan, loops, side, lengths, first_new).map_err(|e| {
        at_end(end, e, &["move `through` onto the branch that is meant, or turn `facing`"])
    })?;
    let at = |v: u32| match (v as usize).checked_sub(scan.mesh.points().len()) {
        Some(k) => cut.new_points[k],
        None => scan.mesh.points()[v as usize],
    };
    // On a surface that faces away from the bore's line the rim runs clockwise
    // seen against the plane's normal.
    let clockwise = area_vector(cut.rim.iter().map(|&v| at(v))).dot(loops.plane.normal) < 0.0;
    let flip = clockwise == bore_side;
    let band = match lifted {
        None => None,
        Some(lifted) => {
            let near = needed(scan, case, end, chosen, &cut, lifted);
            let is_near = |t: &u32| near.binary_search(t).is_ok();
            if let Some(t) = cut.crossed.iter().find(|t| !is_near(t)) {
                let p = scan.mesh.corners(*t as usize)[0];
                return Err(at_end(
                    end,
                    format!(
                        "`reach` {} is shorter than a triangle that the cut crosses near ({:.2}, {:.2}, {:.2})",
                        lifted.reach, p.x, p.y, p.z
                    ),
                    &["make `reach` longer"],
                ));
            }
            let kept =
                |t: u32| case.keeps.iter().any(|k| touches(k, t, scan.mesh.corners(t as usize)));
            if let Some(&t) = cut.crossed.iter().find(|&&t| kept(t)) {
                let p = scan.mesh.corners(t as usize)[0];
                return Err(at_end(
                    end,
                    format!("a keep touches the cut near ({:.2}, {:.2}, {:.2})", p.x, p.y, p.z),
                    &["make the keep smaller, or move the cut away from it"],
                ));
            }
            let whole: Vec<u32> = near
                .iter()
                .copied()
                .filter(|t| {
                    cut.crossed.binary_search(t).is_err()
                        && cut.removed.binary_search(t).is_err()
                        && !kept(*t)
                })
                .collect();
            let whole = reached_from(scan, &cut.crossed, &whole);
            let whole = clear_of_folds(scan, &cut, whole);
            let mut band = lift_band(scan, &cut, &whole);
            if flip != bore_side {
                band.turn_round();
            }
            Some(band)
        }
    };
    Ok(SideAtEnd { cut, band, flip })
}

/// Twice the area of a closed polygon, as a vector.
pub fn area_vector(points: impl Iterator<Item = DVec3>) -> DVec3 {
    let points: Vec<DVec3> = points.collect();
    let Some(&origin) = points.first() else { return DVec3::ZERO };
    (0..points.len())
        .map(|i| (points[i] - origin).cross(points[(i + 1) % points.len()] - origin))
        .sum()
}

/// Where less than this share of the band's area has other edges than wanted,
/// that is not worth telling.
const WORTH_TELLING: f64 = 0.05;

/// Refines a band; notes where edges could not be as long as wanted.
pub fn refined_band(
    band: &Band,
    end: &End,
    limits: &RefineLimits,
    notes: &mut Vec<Note>,
    stop: StopAsked<'_>,
) -> Result<Band, MakeError> {
    let refined = refine(band, limits, stop).map_err(|e| match e {
        RefineError::Remesh(RemeshError::Stopped) => MakeError::Cancelled,
        other => at_end(end, other, &["mend the scan near this end, or move the cut"]),
    })?;
    let area = refined.band.mesh.area();
    if let Some(gave_way) = refined.gave_way.filter(|g| g.area > WORTH_TELLING * area) {
        notes.push(Note::EdgeGaveWay(EdgeGaveWay {
            end: end.name.clone(),
            share: gave_way.area / area,
            at: gave_way.at,
            wanted: gave_way.wanted,
            made: gave_way.made,
        }));
    }
    Ok(refined.band)
}

/// Fairs a refined band, less where the certified deviation from the band as it
/// was would come near `deviation`.
pub fn faired_band(
    surface: &Scan,
    (band, refined): (&Band, Band),
    end: &End,
    fairing: &FairLimits<'_>,
    deviation: f64,
    stop: StopAsked<'_>,
) -> Result<Band, MakeError> {
    let mut fairing = *fairing;
    let surroundings = beside(surface, band);
    for _ in 0..6 {
        go_on(stop)?;
        let faired = fair_band(&refined, (&surface.mesh, &surroundings), &fairing)
            .map_err(|e| at_end(end, e, &[]))?;
        if faired.is_near(&band.mesh, 0.8 * deviation) {
            return Ok(faired);
        }
        fairing.most *= 0.6;
    }
    Ok(refined)
}

/// The band and the joint at its rim, moved a little where an edge at the seam
/// or at the band's border is sharper than `kink_deg` lets it be; `before` is
/// the band as scanned.
pub fn with_angles(
    end: &End,
    surface: &Scan,
    (before, band): (&Mesh, &Band),
    (grid, order): (&Grid, &[usize]),
    (kink_deg, deviation): (Option<f64>, f64),
    stop: StopAsked<'_>,
) -> Result<(Band, Grid), MakeError> {
    let Some(kink_deg) = kink_deg else { return Ok((band.clone(), grid.clone())) };
    let surroundings = beside(surface, band);
    let loose = loosened(surface, band, &surroundings, kink_deg);
    let shapes = if loose.mesh == band.mesh { vec![band] } else { vec![band, &loose] };
    let scanned = Bvh::build(before);
    // Small moves first; where they do not do, as far from the scan as the
    // deviation lets them be.
    let tries = [(0.5, None), (2.0, Some(0.85)), (2.0, Some(0.6)), (0.25, None), (0.1, None)];
    let mut best: Option<Held> = None;
    for (most, near) in tries {
        let limits = AngleLimits { kink_deg, most: most * deviation };
        let near = near.map(|share: f64| (&scanned, share * deviation));
        for band in &shapes {
            go_on(stop)?;
            let held =
                hold_angles(surface, band, &surroundings, Some((grid, order)), limits, near, stop)
                    .map_err(|e| unsolved(end, e))?;
            let is_better = best.as_ref().is_none_or(|b| held.sharpest < b.sharpest);
            if is_better && held.band.is_near(before, 0.95 * deviation) {
                best = Some(held);
            }
            if best.as_ref().is_some_and(|b| b.sharpest < 1.0) {
                break;
            }
        }
        if best.as_ref().is_some_and(|b| b.sharpest < 1.0) {
            break;
        }
    }
    Ok(match best {
        Some(held) => (held.band, held.grid.unwrap_or_else(|| grid.clone())),
        None => (band.clone(), grid.clone()),
    })
}

/// The untouched triangles that share a point with the band.
fn beside(surface: &Scan, band: &Band) -> Vec<[u32; 3]> {
    let mut beside: Vec<u32> = band
        .scan_points
        .iter()
        .flat_map(|&v| surface.fans.of(v))
        .copied()
        .filter(|t| band.replaces.binary_search(t).is_err())
        .collect();
    beside.sort_unstable();
    beside.dedup();
    beside.iter().map(|&t| surface.mesh.triangles()[t as usize]).collect()
}

/// The band's rim as the joint's seam; also tells the order in which the rim's
/// points were taken.
pub fn seam_of(band: &Band, normal: DVec3) -> (SeamLoop, Vec<usize>) {
    let normals = rim_normals(band);
    let points = band.mesh.points();
    let mut order: Vec<usize> = (0..band.rim.len()).collect();
    let clockwise = area_vector(band.rim.iter().map(|&v| points[v as usize])).dot(normal) < 0.0;
    if clockwise {
        order.reverse();
    }
    let seam = SeamLoop {
        points: order.iter().map(|&k| points[band.rim[k] as usize]).collect(),
        normals: order.iter().map(|&k| normals[k]).collect(),
    };
    (seam, order)
}

/// How far round a point of the rim, in its edges, the surface tells its slope.
const SLOPE_EDGES: f64 = 4.0;

/// The band's own normal at each point of the rim: of its shape there, for a
/// single triangle's slope is up to how its corners happen to lie.
fn rim_normals(band: &Band) -> Vec<DVec3> {
    normals_at(&band.mesh, &band.rim, SLOPE_EDGES * band.rim_length() / band.rim.len() as f64)
}

/// The centre of a closed polygon's area.
pub fn polygon_centre(points: &[DVec3], normal: DVec3) -> DVec3 {
    let Some(&origin) = points.first() else { return DVec3::ZERO };
    let (mut twice, mut sum) = (0.0, DVec3::ZERO);
    for i in 0..points.len() {
        let (a, b) = (points[i] - origin, points[(i + 1) % points.len()] - origin);
        let area = a.cross(b).dot(normal);
        twice += area;
        sum += (a + b) * (area / 3.0);
    }
    origin + sum / twice
}
