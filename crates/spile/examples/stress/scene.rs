//! One invented end from a seed: the scan's triangles and its case.

use std::f64::consts::{PI, TAU};
use std::fmt::Write as _;

use crate::seeded::Seeded;
use crate::space::{Point, Stand, cross, plus, unit};
use crate::sweep::{self, Attained, Loop};

/// Sides round the joint: fewer than spile would take by itself, so that a great many
/// ends can be run.
const SIDES: f64 = 72.0;
/// How far a fitting of so many sides may lie from its exact surface.
const CHORD: f64 = 0.04;
/// Steps of the scan round its wall.
const ROUND: f64 = 40.0;
/// Teeth of a rim that the scan already has, a share of its radius.
const TEETH: f64 = 0.03;
/// The most that may be given up there to get rid of them, likewise.
const TRIM: f64 = 0.25;

/// What the end is like.
pub const RIMS: [&str; 5] = ["round", "oval", "triangular", "concave", "wobbly"];

/// A scan, its case and what was drawn for it.
pub struct Scene {
    pub triangles: Vec<[Point; 3]>,
    pub case: String,
    /// One line of `key=value`, for the table of results.
    pub drawn: String,
}

/// The drawn pose of a tube, in the scene's frame and in bore diameters.
struct Pose {
    at: Point,
    along: Point,
    tilt: f64,
    offset: f64,
    gap: f64,
}

/// The scene of this seed. An even seed is built around a known joint that
/// holds its limits; an odd one is free.
pub fn scene(seed: u64) -> Scene {
    let mut drawn = Seeded::new(seed);
    let known = seed.is_multiple_of(2);
    let kind = drawn.one_of(RIMS.len());
    // Every redraw comes from the same stream, so the scene stays the seed's.
    loop {
        let rim = rim(&mut drawn, kind);
        let tube_bore = rim.radius * drawn.within(0.8, 1.25);
        let ratio = drawn.within(0.0, 4.0_f64.ln()).exp();
        let thick = if drawn.one_of(2) == 0 { rim.wall.0 * ratio } else { rim.wall.0 / ratio };
        let tube = (tube_bore, tube_bore + thick.max(0.8));
        let pose = pose(&mut drawn, rim.radius);
        let dips = tube.1 * pose.tilt.to_radians().sin();
        if pose.at[2] - dips < 0.05 * rim.radius {
            continue;
        }
        let attained = if known {
            let swept = sweep::sections(pose.at, pose.along, 48);
            match sweep::attained(&rim, tube, &swept) {
                Some(attained) => Some(attained),
                None => continue,
            }
        } else {
            None
        };
        let course = course(&mut drawn, rim.radius);
        return finished(&mut drawn, (seed, kind), (&rim, course), tube, &pose, attained.as_ref());
    }
}

fn rim(drawn: &mut Seeded, kind: usize) -> Loop {
    let radius = drawn.within(7.0, 10.0);
    let phase = drawn.within(0.0, TAU);
    // The waves of one rim: how many round, the share of the radius, the phase.
    let waves = match RIMS[kind] {
        "oval" => vec![(2.0, drawn.within(0.08, 0.2), phase)],
        "triangular" => vec![(3.0, drawn.within(0.05, 0.1), phase)],
        // A dent: the second and third wave meet on one side.
        "concave" => {
            let deep = drawn.within(0.09, 0.14);
            vec![(2.0, deep, phase), (3.0, -deep, phase + PI), (4.0, -0.3 * deep, phase)]
        }
        "wobbly" => (2..7)
            .map(|n| (f64::from(n), drawn.within(0.0, 0.025), drawn.within(0.0, TAU)))
            .collect(),
        _ => Vec::new(),
    };
    let wall = (drawn.within(1.6, 3.2), drawn.within(0.0, 0.4), drawn.within(0.0, TAU));
    Loop { radius, waves, wall }
}

fn pose(drawn: &mut Seeded, radius: f64) -> Pose {
    let across = 2.0 * radius;
    let gap = drawn.within(0.3_f64.ln(), 5.0_f64.ln()).exp();
    let offset = drawn.within(0.0, 1.0);
    let tilt = drawn.within(0.0, 50.0);
    let (aside, lean) = (drawn.within(0.0, TAU), drawn.within(0.0, TAU));
    let at = [across * offset * aside.cos(), across * offset * aside.sin(), across * gap];
    let (sin, cos) = tilt.to_radians().sin_cos();
    Pose { at, along: [sin * lean.cos(), sin * lean.sin(), cos], tilt, offset, gap }
}

/// How the duct runs below the end.
#[derive(Clone, Copy)]
struct Course {
    /// Whether the end is a rim that the scan has, or else a cut.
    at_rim: bool,
    /// Curvature of its line and the direction that it bends to; none if it is straight.
    bend: Option<(f64, f64)>,
}

/// One end in three is at a rim; two ducts in five are bent, in a radius of four to ten
/// diameters.
fn course(drawn: &mut Seeded, radius: f64) -> Course {
    let at_rim = drawn.one_of(3) == 0;
    let is_bent = drawn.one_of(5) < 2;
    let (diameters, toward) = (drawn.within(4.0, 10.0), drawn.within(0.0, TAU));
    Course { at_rim, bend: is_bent.then_some((1.0 / (2.0 * radius * diameters), toward)) }
}

impl Course {
    /// Where a point of the straight duct comes to lie: what is above the cut stays.
    fn point(&self, p: Point) -> Point {
        let Some((curvature, toward)) = self.bend else { return p };
        if p[2] >= 0.0 {
            return p;
        }
        let (sin, cos) = toward.sin_cos();
        let (aside, across) = (p[0] * cos + p[1] * sin, p[1] * cos - p[0] * sin);
        let (turn, radius) = (p[2] * curvature, 1.0 / curvature);
        let out = radius - (radius - aside) * turn.cos();
        [out * cos - across * sin, out * sin + across * cos, (radius - aside) * turn.sin()]
    }
}

/// Puts walls, limits and the place in space to a drawn end.
fn finished(
    drawn: &mut Seeded,
    (seed, kind): (u64, usize),
    (rim, course): (&Loop, Course),
    tube: (f64, f64),
    pose: &Pose,
    attained: Option<&Attained>,
) -> Scene {
    let stand = stand(drawn);
    let noise = drawn.within(0.0, 0.03);
    let mut triangles = wall(drawn, rim, (Loop::bore, true), noise, course.at_rim);
    triangles.extend(wall(drawn, rim, (Loop::outside, false), noise, course.at_rim));
    for corner in triangles.iter_mut().flatten() {
        *corner = stand.point(course.point(*corner)).map(|x| f64::from(x as f32));
    }
    let thinnest = (0..360)
        .map(|i| f64::from(i).to_radians())
        .map(|a| rim.outside(a) - rim.bore(a))
        .fold(tube.1 - tube.0, f64::min);
    // The slack of the known half: a tenth of the wall and of the ball, and
    // half a per cent of the area, for the triangles that follow the sweep.
    let (wall_min, loss, ball) = match attained {
        Some(a) => (0.9 * a.wall, 1.1 * a.loss.max(0.0) + 0.005, Some(1.8 * a.inscribed)),
        None => (0.8 * thinnest, 0.01, None),
    };
    let kink = drawn.within(8.0, 12.0);
    let mut case = String::from("# Invented by formula; no scan of anything.\nunit = \"mm\"\n\n");
    let list = |p: Point| format!("[{:.6}, {:.6}, {:.6}]", p[0], p[1], p[2]);
    let site = if course.at_rim {
        let near = list(stand.point([rim.bore(0.0), 0.0, 0.0]));
        format!("rim = {near}\ntrim = {:.3}", TRIM * rim.radius)
    } else {
        let (through, facing) = (list(stand.origin), list(stand.axes[2]));
        format!("cut = {{ through = {through}, facing = {facing} }}")
    };
    let _ = write!(
        case,
        "[scan]\nfile = \"scan.stl\"\nform = \"shell\"\n\n[[end]]\nname = \"upper\"\n\
         {site}\nreach = {:.3}\n\
         fitting = {{ kind = \"tube\", bore = {:.4}, outside = {:.4}, length = 6.0 }}\n\
         place = {{ at = {}, along = {} }}\n\n[joint]\nedge = {:.4}\n\n\
         [limits]\ndeviation = 0.1\nchord = {CHORD}\nwall_min = {:.4}\nbore_loss = {:.5}\nkink = {:.3}\n",
        1.2 * rim.radius,
        2.0 * tube.0,
        2.0 * tube.1,
        list(stand.point(pose.at)),
        list(stand.direction(pose.along)),
        TAU * rim.radius.min(tube.0) / SIDES,
        wall_min,
        loss,
        kink,
    );
    if let Some(ball) = ball {
        let _ = writeln!(case, "ball_min = {ball:.4}");
    }
    let drawn = format!(
        "seed={seed} half={} site={} bend={:.2} rim={} tilt={:.1} offset={:.2} gap={:.2} \
         walls={:.2} noise={noise:.3}",
        if attained.is_some() { "known" } else { "free" },
        if course.at_rim { "rim" } else { "cut" },
        course.bend.map_or(0.0, |(curvature, _)| 2.0 * rim.radius * curvature),
        RIMS[kind],
        pose.tilt,
        pose.offset,
        pose.gap,
        (tube.1 - tube.0) / rim.wall.0,
    );
    Scene { triangles, case, drawn }
}

fn stand(drawn: &mut Seeded) -> Stand {
    let mut any = || [0; 3].map(|_| drawn.within(-1.0, 1.0));
    let x = unit(any());
    let y = unit(cross(x, unit(any())));
    let z = cross(x, y);
    Stand { axes: [x, y, z], origin: any().map(|v| 60.0 * v) }
}

/// One wall of the duct, from below what the joint may change up to a wobbly rim above
/// the cut, or to one with teeth where the end is.
fn wall(
    drawn: &mut Seeded,
    rim: &Loop,
    (side, inward): (fn(&Loop, f64) -> f64, bool),
    noise: f64,
    at_rim: bool,
) -> Vec<[Point; 3]> {
    let step = TAU * rim.radius / ROUND;
    let low = -3.0 * rim.radius;
    let (high, wobbling) = if at_rim { (0.0, TEETH) } else { (0.4 * rim.radius, 0.08) };
    let round = ROUND as usize;
    let rows = ((high - low) / step).ceil() as usize;
    let teeth = drawn.within(0.0, TAU);
    let mut points = Vec::new();
    for row in 0..=rows {
        for i in 0..round {
            // Uneven triangles: each corner slides along the wall, by up to a
            // third of a step; the lowest row stays flat.
            let inner = if row == 0 { 0.0 } else { 1.0 };
            let slide = |drawn: &mut Seeded| drawn.within(-0.33, 0.33) * inner;
            let angle = TAU * (i as f64 + slide(drawn)) / round as f64;
            let share = (row as f64 + slide(drawn)) / rows as f64;
            let wobble = wobbling * rim.radius * (5.0 * angle + teeth).sin() * share;
            let radius = side(rim, angle) + drawn.within(-noise, noise);
            let z = low + (high - low) * share + wobble * share;
            points.push([radius * angle.cos(), radius * angle.sin(), z]);
        }
    }
    let mut out = Vec::new();
    for row in 0..rows {
        for i in 0..round {
            let j = (i + 1) % round;
            let at = |r: usize, c: usize| points[r * round + c];
            let quad = [at(row, i), at(row, j), at(row + 1, j), at(row + 1, i)];
            let halves =
                if drawn.one_of(2) == 0 { [[0, 1, 2], [0, 2, 3]] } else { [[0, 1, 3], [1, 2, 3]] };
            for [a, b, c] in halves {
                let mut one = [quad[a], quad[b], quad[c]];
                if inward {
                    one.swap(1, 2);
                }
                // One in forty is split into three, two of them needles.
                if drawn.one_of(40) == 0 {
                    let [p, q, r] = one;
                    let near = plus(plus([0.0; 3], p, 0.49), q, 0.49);
                    let near = plus(near, r, 0.02);
                    out.extend([[p, q, near], [q, r, near], [r, p, near]]);
                } else {
                    out.push(one);
                }
            }
        }
    }
    out
}
