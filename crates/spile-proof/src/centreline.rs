//! The centreline of a bore near one end.
//!
//! Marched inward from the end: a plane square to the line so far cuts the
//! bore, the section's centroid is the next point. The line is then smoothed
//! and cut again square to itself, twice. Where a branch makes the section
//! ambiguous the line stops and says so; in a blind bore it ends at the point
//! farthest on.

use crate::flow_section::{BoreSurface, FlowSection, Frame, Walker, signed_area};
use crate::stations::{centroid, outlines};
use spile_mesh::DVec3;

/// One place on the centreline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CentrePoint {
    /// Length along the line from the end's centre, negative inward.
    pub s: f64,
    /// The point.
    pub at: DVec3,
    /// Unit tangent, off the scan.
    pub tangent: DVec3,
    /// Area of the section square to the line.
    pub area: f64,
}

/// Why the line is no longer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LineEnd {
    /// It has the length that was asked for.
    LongEnough,
    /// The bore is blind: this is its farthest point.
    Blind(DVec3),
    /// The bore opens or leaves the given surface here.
    Open(DVec3),
    /// A branch makes the section ambiguous here.
    Branch(DVec3),
    /// No section closes near the end.
    NoSection,
}

/// The line along the middle of the bore, from the end inward.
#[derive(Debug, Clone, PartialEq)]
pub struct Centreline {
    /// Its points, first the one nearest the end; `s` falls.
    pub points: Vec<CentrePoint>,
    /// Why it stops.
    pub end: LineEnd,
}

/// How to march.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct March {
    /// The end's centre.
    pub from: DVec3,
    /// Unit direction off the scan.
    pub facing: DVec3,
    /// Length to go.
    pub length: f64,
    /// Distance between points.
    pub spacing: f64,
    /// Radius of the bore at the end, roughly.
    pub radius: f64,
}

/// An area that changes by more than this between two points is ambiguous: a
/// bore that widens so fast has taken in a branch.
const JUMP: f64 = 1.3;
/// A second loop of more than this share of the last area is a branch.
const BRANCH_SHARE: f64 = 0.1;
/// Neighbouring points further apart than this many spacings are not on one line.
const STEP_MOST: f64 = 3.0;
/// The line is cut again square to itself this many times.
const ROUNDS: usize = 2;
/// Points of one line at most.
const POINTS_MOST: usize = 2000;

/// The centreline of `bore` from an end inward.
///
/// The first points are sought where a section first closes, so that a rim's
/// teeth do no harm. Cost: O(triangles) a point.
pub fn centreline(bore: &BoreSurface, march: &March) -> Centreline {
    let (mut line, mut end) = first_line(bore, march);
    for _ in 0..ROUNDS {
        if let Some(branch) = again(bore, march, &mut line) {
            end = LineEnd::Branch(branch);
        }
    }
    Centreline { points: with_lengths(&line, march), end }
}

/// A point of the line before its length is known.
#[derive(Debug, Clone, Copy)]
struct Place {
    at: DVec3,
    tangent: DVec3,
    area: f64,
}

/// One cut: the section's centroid, its area and how far its loop reaches.
struct CutThere {
    centre: DVec3,
    area: f64,
    radius: f64,
    section: FlowSection,
    among: Vec<u32>,
}

fn cut(bore: &BoreSurface, frame: &Frame, radius: f64, walker: &mut Walker) -> Option<CutThere> {
    let among = bore.crossing(frame, 2.5 * radius);
    let section = bore.section(frame, 0.0, frame.origin, &among, walker)?;
    let flat = outlines(bore, &section, frame);
    let centre = frame.in_space(centroid(flat.first()?)?);
    let far = flat.iter().flatten().map(|p| frame.in_space(*p).distance(centre));
    let radius = far.fold(0.0, f64::max);
    Some(CutThere { centre, area: section.area, radius, section, among })
}

/// The march: each plane square to the direction of the last stretch.
fn first_line(bore: &BoreSurface, march: &March) -> (Vec<Place>, LineEnd) {
    let mut walker = Walker::default();
    let mut line: Vec<Place> = Vec::new();
    let (mut from, mut inward, mut radius) = (march.from, -march.facing, march.radius);
    let steps = ((march.length / march.spacing).ceil() as usize).saturating_add(1).min(POINTS_MOST);
    let mut gone = 0.0;
    for _ in 0..steps {
        let frame = Frame::new(from, -inward);
        match cut(bore, &frame, radius, &mut walker) {
            None if line.is_empty() => {
                // Teeth of a rim: the section closes further in.
                if gone > 2.0 * march.radius + 2.0 * march.spacing {
                    return (line, LineEnd::NoSection);
                }
            }
            None => {
                return (line, ending(bore, &frame, radius));
            }
            Some(found) => {
                if let Some(last) = line.last()
                    && is_branch(bore, &frame, last, &found, &mut walker)
                {
                    return (line, LineEnd::Branch(from));
                }
                radius = found.radius;
                line.push(Place { at: found.centre, tangent: -inward, area: found.area });
                from = found.centre;
                inward = direction(&line, inward, march.spacing, radius);
            }
        }
        from += march.spacing * inward;
        gone += march.spacing;
    }
    (line, LineEnd::LongEnough)
}

/// Why no section closes beyond the last point.
fn ending(bore: &BoreSurface, frame: &Frame, radius: f64) -> LineEnd {
    let near = bore.touching(frame.origin, 2.0 * radius);
    let is_cut = |&t: &u32| {
        let [low, high] = bore.heights(t, frame);
        low < 0.0 && 0.0 <= high
    };
    if near.iter().any(is_cut) {
        return LineEnd::Open(frame.origin);
    }
    let ahead = near.iter().flat_map(|&t| bore.corners(t));
    // Heights fall inward, since the frame's normal points off the scan.
    let farthest = ahead.min_by(|a, b| frame.height(*a).total_cmp(&frame.height(*b)));
    LineEnd::Blind(farthest.unwrap_or(frame.origin))
}

/// Whether the bore has branched between the last point and this cut: its area
/// jumped up, or it fell and another loop of some size lies beside it.
fn is_branch(
    bore: &BoreSurface,
    frame: &Frame,
    last: &Place,
    found: &CutThere,
    walker: &mut Walker,
) -> bool {
    if found.area > JUMP * last.area {
        return true;
    }
    if found.area * JUMP > last.area {
        return false;
    }
    let others = bore.closed_loops(frame, &found.among, walker);
    others.iter().any(|other| {
        other.cut.first() != found.section.outer.cut.first()
            && signed_area(&bore.outline(other, frame, 0.0)).abs() > BRANCH_SHARE * last.area
            && !other.cut.iter().any(|t| found.section.outer.cut.contains(t))
    })
}

/// Direction of the line's last stretch, about three quarters of a radius long.
fn direction(line: &[Place], before: DVec3, spacing: f64, radius: f64) -> DVec3 {
    let back = ((0.75 * radius / spacing).ceil() as usize).max(2);
    let last = line.len() - 1;
    if last == 0 {
        return before;
    }
    let stretch = line[last].at - line[last.saturating_sub(back)].at;
    // The first stretches are short, and teeth or an oblique cut bend them:
    // the given direction counts until there is enough to go by.
    let trust = (last as f64 / back as f64).min(1.0);
    let new = stretch.try_normalize().unwrap_or(before);
    before.lerp(new, 0.5 * trust).try_normalize().unwrap_or(before)
}

/// Smooths the line over about a radius and cuts it square to itself. Where the
/// section then jumps, it was taken across a branch: the line is shortened to
/// there, and the place given.
fn again(bore: &BoreSurface, march: &March, line: &mut Vec<Place>) -> Option<DVec3> {
    let mut walker = Walker::default();
    let window = ((0.75 * march.radius / march.spacing).ceil() as usize).max(2);
    let mut new: Vec<Place> = Vec::with_capacity(line.len());
    let mut branch = None;
    for i in 0..line.len() {
        let Some((at, tangent)) = fitted(line, i, window) else { continue };
        let frame = Frame::new(at, tangent);
        let reach = 1.2 * (line[i].area.max(0.0)).sqrt();
        let Some(found) = cut(bore, &frame, reach, &mut walker) else { continue };
        if let Some(last) = new.last()
            && (found.area > JUMP * last.area
                || found.centre.distance(last.at) > STEP_MOST * march.spacing)
        {
            branch = Some(at);
            break;
        }
        new.push(Place { at: found.centre, tangent, area: found.area });
    }
    *line = new;
    branch
}

/// Point and tangent of the least-squares parabola through the neighbours.
fn fitted(line: &[Place], i: usize, window: usize) -> Option<(DVec3, DVec3)> {
    let (from, to) = (i.saturating_sub(window), (i + window).min(line.len() - 1));
    if to - from < 3 {
        return line.get(i).map(|place| (place.at, place.tangent));
    }
    // Moments of the index about i; the parabola's value and slope at i.
    let mut m = [0.0; 5];
    let mut sums = [DVec3::ZERO; 3];
    for (k, place) in line.iter().enumerate().take(to + 1).skip(from) {
        let x = k as f64 - i as f64;
        let mut power = 1.0;
        for (j, moment) in m.iter_mut().enumerate() {
            *moment += power;
            if j < 3 {
                sums[j] += power * (place.at - line[i].at);
            }
            power *= x;
        }
    }
    let det = |c: [[f64; 3]; 3]| {
        c[0][0] * (c[1][1] * c[2][2] - c[1][2] * c[2][1])
            - c[0][1] * (c[1][0] * c[2][2] - c[1][2] * c[2][0])
            + c[0][2] * (c[1][0] * c[2][1] - c[1][1] * c[2][0])
    };
    let rows = [[m[0], m[1], m[2]], [m[1], m[2], m[3]], [m[2], m[3], m[4]]];
    let whole = det(rows);
    let solve = |column: usize| {
        let part = |pick: fn(DVec3) -> f64| {
            let mut rows = rows;
            for (row, sum) in rows.iter_mut().zip(sums) {
                row[column] = pick(sum);
            }
            det(rows) / whole
        };
        DVec3::new(part(|v| v.x), part(|v| v.y), part(|v| v.z))
    };
    // Indices rise inward; tangents point off the scan.
    let tangent = (-solve(1)).try_normalize()?;
    Some((line[i].at + solve(0), tangent))
}

fn with_lengths(line: &[Place], march: &March) -> Vec<CentrePoint> {
    let mut s = 0.0;
    let mut last = march.from;
    let mut points = Vec::with_capacity(line.len());
    for (i, place) in line.iter().enumerate() {
        let step = place.at - last;
        // The first centroid may lie a little beyond the end's centre.
        s -= if i == 0 { -step.dot(march.facing) } else { step.length() };
        last = place.at;
        points.push(CentrePoint { s, at: place.at, tangent: place.tangent, area: place.area });
    }
    points
}
