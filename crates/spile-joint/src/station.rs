//! A cut at a station: a place named by the scan's centreline, so that a case
//! outlives its scan.
//!
//! The line begins in the middle of a rim and is marched into the bore by planes
//! square to its last stretch; then it is cut again, twice, square to the
//! least-squares parabola through its neighbours. Where a section does not close,
//! or its area jumps, the line ends and the place is kept for the error.

use std::f64::consts::PI;

use spile_case::{Case, Cut, End, Site, Station, StationCut};
use spile_mesh::{DVec3, Plane, SectionLoop, nesting, section_near};

use crate::locate::{below_the_teeth, loops_at, wrong};
use crate::make::MakeError;
use crate::surface::Scan;
use crate::walls::choose_loops;

/// Stations of the line a radius of the bore where it begins.
const A_RADIUS: f64 = 8.0;
/// Half the width, in stations, of the parabolas through the line and its figures.
const WINDOW: usize = 6;
/// The line is cut again square to itself this many times.
const ROUNDS: usize = 2;
/// A bore whose area changes by more than this from one station to the next has
/// taken in a branch, or lost one.
const JUMP: f64 = 1.3;
/// A loop beside the bore's with more than this share of its area is a branch.
const BRANCH_SHARE: f64 = 0.1;
/// Stations of one line at most.
const MOST: usize = 4000;

/// A case whose stations are cuts by planes, and what was found, in words.
pub type Settled = (Case, Vec<String>);

/// The case with a plane for each cut at a station.
///
/// # Errors
/// Where a station is not on the centreline, with where the line ends and why.
pub fn with_planes(scan: &Scan, case: &Case) -> Result<Settled, MakeError> {
    let two_walls = !case.scan.form.makes_wall();
    let (mut settled, mut said) = (case.clone(), Vec::new());
    for end in &mut settled.ends {
        let Site::Station(cut) = end.site else { continue };
        let found = find_station(scan, end, &cut, two_walls)?;
        said.push(found.sentence(end, &cut));
        let Plane { point, normal } = found.plane;
        end.site = Site::Cut(Cut { through: point.to_array(), facing: normal.to_array() });
    }
    Ok((settled, said))
}

/// A station on the scan.
pub struct Found {
    /// The plane square to the centreline there; its normal points to where the
    /// line begins.
    pub plane: Plane,
    /// Length along the line.
    s: f64,
    /// Area and roundness of the bore there.
    figures: [f64; 2],
    /// Whether a narrowest or roundest place lies at a border of its span.
    at_border: bool,
}

impl Found {
    fn sentence(&self, end: &End, cut: &StationCut) -> String {
        let what = match cut.station {
            Station::Along(_) => String::new(),
            Station::Narrowest([a, b]) => format!(" (the narrowest from {a} to {b})"),
            Station::Roundest([a, b]) => format!(" (the roundest from {a} to {b})"),
        };
        let border = if self.at_border {
            "; that is a border of the span, and beyond it the bore may go on so"
        } else {
            ""
        };
        let ([area, roundness], p, n) = (self.figures, self.plane.point, self.plane.normal);
        format!(
            "end `{}`: cut {:.3} along the centreline{what}, through ({:.3}, {:.3}, {:.3}) facing \
             ({:.4}, {:.4}, {:.4}), where the bore's area is {area:.2} and its roundness {roundness:.3}{border}",
            end.name, self.s, p.x, p.y, p.z, n.x, n.y, n.z
        )
    }
}

/// Finds the station that `cut` names.
///
/// # Errors
/// Where the line does not reach so far, with where it ends and why.
pub fn find_station(
    scan: &Scan,
    end: &End,
    cut: &StationCut,
    two_walls: bool,
) -> Result<Found, MakeError> {
    let mut beginning = beginning(scan, end, cut, two_walls)?;
    let (from, to) = match cut.station {
        Station::Along(s) => (s, s),
        Station::Narrowest([from, to]) | Station::Roundest([from, to]) => (from, to),
    };
    let mut line = Line::marched(scan, &beginning, to, two_walls);
    if line.places.is_empty() && cut.facing.is_none() {
        // Long teeth can hide which side of a rim the scan lies on.
        beginning = Beginning { facing: -beginning.facing, first: beginning.centre, ..beginning };
        line = Line::marched(scan, &beginning, to, two_walls);
    }
    let length = line.places.last().map_or(0.0, |p| p.s);
    if line.places.len() < 3 || length < to {
        return Err(line.too_short(end, &beginning, length, to));
    }
    let (s, at_border) = match cut.station {
        Station::Along(s) => (s, false),
        Station::Narrowest(_) => line.least((from, to), |p| p.area),
        Station::Roundest(_) => line.least((from, to), |p| -p.roundness),
    };
    let (at, normal) = line.at(s);
    let Ok(section) = Section::of(scan, Plane { point: at, normal }, line.across, two_walls) else {
        return Err(line.too_short(end, &beginning, length, s));
    };
    let plane = Plane { point: section.centre, normal };
    Ok(Found { plane, s, figures: [section.area, section.roundness()], at_border })
}

/// Where a line begins.
struct Beginning {
    /// In the middle of the bore.
    centre: DVec3,
    /// Unit direction off the scan.
    facing: DVec3,
    /// The first plane in which sections are sought.
    first: DVec3,
    /// Roughly across the bore.
    across: f64,
}

fn beginning(
    scan: &Scan,
    end: &End,
    cut: &StationCut,
    two_walls: bool,
) -> Result<Beginning, MakeError> {
    let from = DVec3::from(cut.from);
    if let Some(facing) = cut.facing {
        let plane = Plane { point: from, normal: DVec3::from(facing).normalize_or_zero() };
        let bore = loops_at(scan, end, plane, two_walls)?.bore;
        let across = 2.0 * (bore.area(plane.normal).abs() / PI).sqrt();
        let centre = bore.centroid(plane.normal);
        return Ok(Beginning { centre, facing: plane.normal, first: centre, across });
    }
    let (plane, rims) = below_the_teeth(scan, end, from, two_walls)?;
    let outlines = rims
        .iter()
        .map(|rim| -> Vec<DVec3> { rim.iter().map(|&v| scan.mesh.points()[v as usize]).collect() });
    // Of two rims the bore's is the smaller.
    let area = |points: &[DVec3]| crate::ends::area_vector(points.iter().copied()).length();
    let bore = outlines.min_by(|a, b| area(a).total_cmp(&area(b))).unwrap_or_default();
    let across = (2.0 * area(&bore) / PI).sqrt();
    let flat = crate::ends::polygon_centre(&bore, plane.normal);
    let centre = flat + plane.normal * (mean_height(&bore, plane) - plane.height(flat));
    if centre.distance(from) > across.max(spile_mesh::Bounds3::of(bore.iter().copied()).diagonal())
    {
        return Err(wrong(
            end,
            format!(
                "no open rim lies near `from`: the middle of the nearest is at ({:.2}, {:.2}, {:.2}), {:.2} away",
                centre.x,
                centre.y,
                centre.z,
                centre.distance(from)
            ),
            &[
                "move `from` to the rim that is meant",
                "where the scan is closed, give `facing` beside `from`: the line then begins in the bore's section there",
            ],
        ));
    }
    let first = centre - plane.normal * plane.height(centre).max(0.0);
    Ok(Beginning { centre, facing: plane.normal, first, across })
}

/// Mean height of a closed outline over a plane, by length.
fn mean_height(points: &[DVec3], plane: Plane) -> f64 {
    let sides = (0..points.len()).map(|i| [points[i], points[(i + 1) % points.len()]]);
    let (sum, length) = sides.fold((0.0, 0.0), |(sum, length), [a, b]| {
        let side = a.distance(b);
        (sum + side * plane.height(a.midpoint(b)), length + side)
    });
    sum / length
}

/// The bore in one plane.
struct Section {
    centre: DVec3,
    area: f64,
    perimeter: f64,
}

impl Section {
    /// The bore round the plane's point; `Err` says why there is none.
    fn of(scan: &Scan, plane: Plane, across: f64, two_walls: bool) -> Result<Self, String> {
        let loops =
            section_near(&scan.mesh, &scan.topology, &scan.bvh, plane, plane.point, 2.0 * across);
        let (bore, outside) = choose_loops(&loops, plane, two_walls)?;
        let chosen = &loops[bore];
        if !chosen.closed {
            return Err("the bore's outline runs into an open rim".into());
        }
        let centre = chosen.centroid(plane.normal);
        let area = chosen.area(plane.normal).abs();
        if centre.distance(plane.point) > across {
            return Err("the bore ends".into());
        }
        if let Some(beside) = branch_beside(&loops, plane, (bore, outside), area) {
            return Err(format!(
                "a branch runs beside the bore near ({:.2}, {:.2}, {:.2})",
                beside.x, beside.y, beside.z
            ));
        }
        Ok(Self { centre, area, perimeter: chosen.perimeter() })
    }

    fn roundness(&self) -> f64 {
        4.0 * PI * self.area / (self.perimeter * self.perimeter)
    }
}

/// The middle of another bore of some size that touches on this one's: a loop
/// that is neither round it nor within, and nearer than its own width.
fn branch_beside(
    loops: &[SectionLoop],
    plane: Plane,
    (bore, outside): (usize, Option<usize>),
    area: f64,
) -> Option<DVec3> {
    let parents = nesting(loops, plane.normal);
    let is_round = |k: usize| {
        let mut at = parents[bore];
        while let Some(parent) = at {
            if parent == k {
                return true;
            }
            at = parents[parent];
        }
        false
    };
    let hand = loops[bore].area(plane.normal).signum();
    (0..loops.len())
        .filter(|&k| k != bore && Some(k) != outside && loops[k].closed && !is_round(k))
        .filter(|&k| parents[k] == parents[bore])
        .filter(|&k| loops[k].area(plane.normal) * hand > BRANCH_SHARE * area)
        .map(|k| loops[k].centroid(plane.normal))
        .find(|p| loops[bore].distance(*p) < 0.75 * (area / PI).sqrt())
}

/// A place on the line.
#[derive(Debug, Clone, Copy)]
struct At {
    /// Length from the beginning.
    s: f64,
    at: DVec3,
    /// Unit tangent, toward the beginning.
    tangent: DVec3,
    area: f64,
    roundness: f64,
}

/// A centreline from its beginning inward.
struct Line {
    places: Vec<At>,
    across: f64,
    /// Where the line went no further, and why.
    stop: Option<(DVec3, String)>,
}

impl Line {
    fn marched(scan: &Scan, beginning: &Beginning, length: f64, two_walls: bool) -> Self {
        let across = beginning.across;
        let step = 0.5 * across / A_RADIUS;
        let mut line = Self { places: Vec::new(), across, stop: None };
        let (mut from, mut inward) = (beginning.first, -beginning.facing);
        let beyond = length + step * (WINDOW + 1) as f64;
        // Teeth of a rim: the first sections may not close.
        let mut sought = 0.0;
        for _ in 0..MOST {
            match Section::of(scan, Plane { point: from, normal: -inward }, across, two_walls) {
                Ok(section) => {
                    if let Some(why) = line.jump(&section) {
                        line.stop = Some((section.centre, why));
                        break;
                    }
                    line.push(beginning, &section, -inward);
                    from = section.centre;
                    inward = line.direction(inward);
                }
                Err(_) if line.places.is_empty() && sought < across => sought += step,
                Err(why) => {
                    line.stop = Some((from, why));
                    break;
                }
            }
            from += step * inward;
            if line.places.last().is_some_and(|p| p.s > beyond) {
                break;
            }
        }
        (0..ROUNDS).for_each(|_| line.again(scan, beginning, two_walls));
        line
    }

    /// Why a section does not go on from the last place.
    fn jump(&self, section: &Section) -> Option<String> {
        let last = self.places.last()?;
        let jumps = section.area > JUMP * last.area || last.area > JUMP * section.area;
        jumps.then(|| {
            format!(
                "the section jumps from an area of {:.2} to {:.2}, as where a branch or another part of the bore comes in",
                last.area, section.area
            )
        })
    }

    fn push(&mut self, beginning: &Beginning, section: &Section, tangent: DVec3) {
        let s = match self.places.last() {
            Some(last) => last.s + last.at.distance(section.centre),
            None => (beginning.centre - section.centre).dot(beginning.facing),
        };
        let (area, roundness) = (section.area, section.roundness());
        self.places.push(At { s, at: section.centre, tangent, area, roundness });
    }

    /// Where the last stretch leads, given the direction before it.
    fn direction(&self, before: DVec3) -> DVec3 {
        let last = self.places.len() - 1;
        let stretch = self.places[last].at - self.places[last.saturating_sub(WINDOW)].at;
        // Short stretches are bent by teeth: they count by their length.
        let trust = 0.5 * (last as f64 / WINDOW as f64).min(1.0);
        before.lerp(stretch.normalize_or(before), trust).normalize_or(before)
    }

    /// Cuts the line again square to the parabolas through it.
    fn again(&mut self, scan: &Scan, beginning: &Beginning, two_walls: bool) {
        let old = std::mem::take(&mut self.places);
        for i in 0..old.len() {
            let (at, slope) = parabola(&old, i, |p| p.at);
            let tangent = (-slope).normalize_or(old[i].tangent);
            let plane = Plane { point: at, normal: tangent };
            match Section::of(scan, plane, self.across, two_walls) {
                Ok(section) => {
                    if let Some(why) = self.jump(&section) {
                        self.stop = Some((section.centre, why));
                        break;
                    }
                    self.push(beginning, &section, tangent);
                }
                Err(_) if self.places.is_empty() => {}
                Err(why) => {
                    self.stop = Some((at, why));
                    break;
                }
            }
        }
    }

    /// Point and tangent at a length of the line.
    fn at(&self, s: f64) -> (DVec3, DVec3) {
        let k = self.places.partition_point(|p| p.s < s).clamp(1, self.places.len() - 1);
        let (a, b) = (self.places[k - 1], self.places[k]);
        let share = if b.s > a.s { (s - a.s) / (b.s - a.s) } else { 0.0 };
        let tangent = a.tangent.lerp(b.tangent, share.clamp(0.0, 1.0));
        (a.at.lerp(b.at, share), tangent.normalize_or(a.tangent))
    }

    /// Where `figure`, smoothed over the parabolas, is least, and whether that is
    /// at a border of the span.
    fn least(&self, (from, to): (f64, f64), figure: impl Fn(&At) -> f64) -> (f64, bool) {
        let smooth = |i: usize| parabola(&self.places, i, |p| DVec3::X * figure(p)).0.x;
        let within: Vec<(f64, f64)> = (0..self.places.len())
            .filter(|&i| (from..=to).contains(&self.places[i].s))
            .map(|i| (self.places[i].s, smooth(i)))
            .collect();
        let least = (0..within.len()).min_by(|&a, &b| within[a].1.total_cmp(&within[b].1));
        let Some(k) = least else { return (0.5 * (from + to), true) };
        if k == 0 || k + 1 == within.len() {
            return (if k == 0 { from.max(within[0].0) } else { within[k].0 }, true);
        }
        // The vertex of the parabola through the three.
        let [(s0, f0), (s1, f1), (s2, f2)] = [within[k - 1], within[k], within[k + 1]];
        let (p, q) = ((s1 - s0) * (f1 - f2), (s1 - s2) * (f1 - f0));
        let vertex = s1 - 0.5 * ((s1 - s0) * p - (s1 - s2) * q) / (p - q);
        (if vertex.is_finite() { vertex.clamp(s0, s2) } else { s1 }, false)
    }

    fn too_short(&self, end: &End, beginning: &Beginning, length: f64, asked: f64) -> MakeError {
        let why = match &self.stop {
            Some((p, why)) => format!(": near ({:.2}, {:.2}, {:.2}) {why}", p.x, p.y, p.z),
            None => String::new(),
        };
        let c = beginning.centre;
        wrong(
            end,
            format!(
                "the centreline from ({:.2}, {:.2}, {:.2}) is followed for {length:.2}, and the case asks for {asked}{why}",
                c.x, c.y, c.z
            ),
            &["name a station nearer to the beginning, or begin `from` another rim"],
        )
    }
}

/// Value and slope at place `i` of the least-squares parabola over the places'
/// lengths.
fn parabola(places: &[At], i: usize, value: impl Fn(&At) -> DVec3) -> (DVec3, DVec3) {
    let (from, to) = (i.saturating_sub(WINDOW), (i + WINDOW).min(places.len() - 1));
    let scale = places[to].s - places[from].s;
    if to - from < 3 || scale <= 0.0 {
        return (value(&places[i]), -places[i].tangent);
    }
    let mut m = [0.0; 5];
    let mut sums = [DVec3::ZERO; 3];
    let base = value(&places[i]);
    for p in &places[from..=to] {
        let x = (p.s - places[i].s) / scale;
        let mut power = 1.0;
        for j in 0..5 {
            m[j] += power;
            if j < 3 {
                sums[j] += power * (value(p) - base);
            }
            power *= x;
        }
    }
    let rows = [[m[0], m[1], m[2]], [m[1], m[2], m[3]], [m[2], m[3], m[4]]];
    let whole = determinant(rows);
    let solve = |column: usize| {
        let part = |k: usize| {
            let mut rows = rows;
            for (row, sum) in rows.iter_mut().zip(sums) {
                row[column] = sum[k];
            }
            determinant(rows) / whole
        };
        DVec3::new(part(0), part(1), part(2))
    };
    (base + solve(0), solve(1) / scale)
}

fn determinant(c: [[f64; 3]; 3]) -> f64 {
    let [a, b, c] = c.map(DVec3::from);
    a.dot(b.cross(c))
}

#[cfg(test)]
mod tests;
