//! One invented end from a seed: the scan's triangles and its case.

use std::f64::consts::{PI, TAU};
use std::fmt::Write as _;

use crate::seeded::Seeded;
use crate::space::{Point, Stand, cross, plus, unit};
use crate::sweep::{self, Attained, Loop};

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
        return finished(&mut drawn, seed, kind, &rim, tube, &pose, attained.as_ref());
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

/// Puts walls, limits and the place in space to a drawn end.
fn finished(
    drawn: &mut Seeded,
    seed: u64,
    kind: usize,
    rim: &Loop,
    tube: (f64, f64),
    pose: &Pose,
    attained: Option<&Attained>,
) -> Scene {
    let stand = stand(drawn);
    let noise = drawn.within(0.0, 0.03);
    let mut triangles = wall(drawn, rim, Loop::bore, noise, true);
    triangles.extend(wall(drawn, rim, Loop::outside, noise, false));
    for corner in triangles.iter_mut().flatten() {
        *corner = stand.point(*corner).map(|x| f64::from(x as f32));
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
    let _ = write!(
        case,
        "[scan]\nfile = \"scan.stl\"\nform = \"shell\"\n\n[[end]]\nname = \"upper\"\n\
         cut = {{ through = {}, facing = {} }}\nreach = {:.3}\n\
         fitting = {{ kind = \"tube\", bore = {:.4}, outside = {:.4}, length = 6.0 }}\n\
         place = {{ at = {}, along = {} }}\n\n[limits]\ndeviation = 0.1\nwall_min = {:.4}\n\
         bore_loss = {:.5}\nkink = {:.3}\n",
        list(stand.origin),
        list(stand.axes[2]),
        1.2 * rim.radius,
        2.0 * tube.0,
        2.0 * tube.1,
        list(stand.point(pose.at)),
        list(stand.direction(pose.along)),
        wall_min,
        loss,
        kink,
    );
    if let Some(ball) = ball {
        let _ = writeln!(case, "ball_min = {ball:.4}");
    }
    let drawn = format!(
        "seed={seed} half={} rim={} tilt={:.1} offset={:.2} gap={:.2} walls={:.2} noise={noise:.3}",
        if attained.is_some() { "known" } else { "free" },
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

/// One wall of the duct, from two diameters below the cut to a wobbly rim above.
fn wall(
    drawn: &mut Seeded,
    rim: &Loop,
    side: fn(&Loop, f64) -> f64,
    noise: f64,
    inward: bool,
) -> Vec<[Point; 3]> {
    const STEP: f64 = 1.3;
    let (low, high) = (-4.0 * rim.radius, 0.4 * rim.radius);
    let round = (TAU * rim.radius / STEP).ceil() as usize;
    let rows = ((high - low) / STEP).ceil() as usize;
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
            let wobble = 0.08 * rim.radius * (5.0 * angle + teeth).sin() * share;
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
