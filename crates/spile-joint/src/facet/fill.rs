//! One face, filled between its loops.

use std::f64::consts::TAU;

use spade::{ConstrainedDelaunayTriangulation, InsertionError, Point2, Triangulation};
use spile_formats::step::{StepFace, StepSurface};
use spile_mesh::DVec3;

use super::chart::{Chart, Frame};
use crate::cap::faces_of_odd_depth;

/// A loop of points round a face.
pub(super) struct Border {
    pub points: Vec<u32>,
}

/// Triangles are cut smaller while a place of them is farther off the surface
/// than this share of what is allowed.
const OFF_SHARE: f64 = 0.55;
/// A face that takes more points is not finished.
const MOST_POINTS: usize = 2_000_000;
/// Rounds of cutting; each halves the longest that is too long everywhere.
const MOST_ROUNDS: usize = 200;

type Plane = ConstrainedDelaunayTriangulation<Point2<f64>>;

/// The triangles of a face over `points`, to which its inner ones are added.
pub(super) fn fill(
    face: &StepFace,
    loops: &[Border],
    points: &mut Vec<DVec3>,
    within: f64,
) -> Result<Vec<[u32; 3]>, String> {
    // In the surface's own sense the face is on the left of its loops.
    let mut loops: Vec<Vec<u32>> = loops.iter().map(|l| l.points.clone()).collect();
    if !face.outward {
        loops.iter_mut().for_each(|l| l.reverse());
    }
    let frame = Frame::of(face.surface, pole(face, &loops, points)?);
    let (chart, places) = lay_out(&frame, &loops, points)?;
    let mut names: Vec<u32> = loops.iter().flatten().copied().collect();
    let mut edges = Vec::with_capacity(names.len());
    let mut start = 0;
    for l in &loops {
        edges.extend((0..l.len()).map(|k| [start + k, start + (k + 1) % l.len()]));
        start += l.len();
    }
    let mut plane = triangulated(&places, &edges)?;
    for _ in 0..MOST_ROUNDS {
        let inside = faces_of_odd_depth(&plane);
        let wanted = too_far(&plane, &inside, &frame, &names, points, OFF_SHARE * within);
        if wanted.is_empty() {
            break;
        }
        for place in wanted {
            let before = plane.num_vertices();
            plane.insert(place).map_err(|e| cannot(&e))?;
            if plane.num_vertices() > before {
                names.push(points.len() as u32);
                points.push(frame.place(chart.coordinates([place.x, place.y])));
            }
        }
        if names.len() > MOST_POINTS {
            return Err("it would take millions of triangles within `chord`".into());
        }
    }
    let inside = faces_of_odd_depth(&plane);
    let triangles = plane.inner_faces().filter(|f| inside[f.fix().index()]).map(|f| {
        let [a, b, c] = f.vertices().map(|v| names[v.index()]);
        if face.outward { [a, b, c] } else { [a, c, b] }
    });
    let triangles: Vec<[u32; 3]> = triangles.collect();
    if triangles.is_empty() {
        return Err("its loops enclose nothing".into());
    }
    Ok(triangles)
}

fn cannot(error: &InsertionError) -> String {
    format!("its points cannot be computed with: {error}")
}

/// A direction off a sphere's face, seen from its centre: beside the middle of a
/// side of its border, as far as no other part of the border is nearer.
fn pole(face: &StepFace, loops: &[Vec<u32>], points: &[DVec3]) -> Result<DVec3, String> {
    let StepSurface::Sphere { centre, .. } = face.surface else { return Ok(DVec3::Z) };
    let at = |v: u32| (points[v as usize] - centre).normalize_or_zero();
    let border: Vec<DVec3> = loops.iter().flatten().map(|&v| at(v)).collect();
    let l = &loops[0];
    let (a, b) = (at(l[0]), at(l[1 % l.len()]));
    let middle = (a + b).normalize_or_zero();
    let right = (b - a).cross(middle).normalize_or_zero();
    let mut aside = 0.5 * std::f64::consts::PI;
    for _ in 0..40 {
        let (sin, cos) = libm::sincos(aside);
        let pole = cos * middle + sin * right;
        let nearest = border.iter().map(|p| p.distance(pole)).fold(f64::INFINITY, f64::min);
        if nearest >= 0.9 * pole.distance(middle) {
            return Ok(pole);
        }
        aside *= 0.7;
    }
    Err("its border folds back on itself".into())
}

/// How the face is laid out, and the places of its loops' points there.
fn lay_out(
    frame: &Frame,
    loops: &[Vec<u32>],
    points: &[DVec3],
) -> Result<(Chart, Vec<[f64; 2]>), String> {
    let periods = frame.periods();
    let mut laid: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut turns: Vec<[i32; 2]> = Vec::new();
    for l in loops {
        let (unrolled, turned) =
            unroll(l.iter().map(|&v| frame.of_place(points[v as usize])), periods);
        laid.push(unrolled);
        turns.push(turned);
    }
    let goes_round = |k: usize| turns.iter().any(|t| t[k] != 0);
    let around = match (goes_round(0), goes_round(1)) {
        (false, false) => None,
        (true, false) => Some(0),
        (false, true) => Some(1),
        (true, true) => return Err("it winds round its axis like a screw".into()),
    };
    let Some(around) = around else {
        shift_together(&mut laid, periods);
        return Ok((Chart::Flat, laid.concat()));
    };
    // Turned a quarter where the second goes round, so that the face lies above
    // the loop that goes forward.
    let radians = TAU / periods[around].unwrap_or(TAU);
    let other = |c: [f64; 2]| if around == 0 { c[1] } else { -c[0] };
    let of = |turned: i32| {
        let mut with = (0..turns.len()).filter(|&k| turns[k][around] == turned);
        (with.next(), with.next())
    };
    let ((Some(below), None), (Some(above), None)) = (of(1), of(-1)) else {
        return Err("it goes all round its axis, but not between two loops: a surface that comes \
                    to a point is not taken"
            .into());
    };
    if turns.iter().filter(|t| t[around] != 0).count() != 2 {
        return Err("loops go round it more than once".into());
    }
    let mean = |l: &[[f64; 2]]| l.iter().map(|&c| other(c)).sum::<f64>() / l.len() as f64;
    let base = mean(&laid[below]);
    if let Some(period) = periods[1 - around] {
        for (k, l) in laid.iter_mut().enumerate() {
            if k == below {
                continue;
            }
            let up = (mean(l) - base).rem_euclid(period) - (mean(l) - base);
            let up = if around == 0 { up } else { -up };
            l.iter_mut().for_each(|c| c[1 - around] += up);
        }
    }
    if mean(&laid[above]) <= base {
        return Err("its loops lie the wrong way round".into());
    }
    let low = if around == 0 { base } else { -base };
    let chart = Chart::Round { around, turns: radians, low };
    let places = laid.concat().into_iter().map(|c| chart.plane(c)).collect();
    Ok((chart, places))
}

/// Coordinates that do not jump by a period from point to point, and how often
/// each comes round on the whole way.
fn unroll(
    coordinates: impl Iterator<Item = [f64; 2]>,
    periods: [Option<f64>; 2],
) -> (Vec<[f64; 2]>, [i32; 2]) {
    let near = |c: [f64; 2], last: [f64; 2]| {
        std::array::from_fn(|k| match periods[k] {
            Some(period) => c[k] - period * ((c[k] - last[k]) / period).round(),
            None => c[k],
        })
    };
    let mut all: Vec<[f64; 2]> = Vec::new();
    for c in coordinates {
        all.push(all.last().map_or(c, |&last| near(c, last)));
    }
    let turned = match (all.first(), all.last()) {
        (Some(&first), Some(&last)) => {
            let again: [f64; 2] = near(first, last);
            std::array::from_fn(|k| {
                periods[k].map_or(0, |period| ((again[k] - first[k]) / period).round() as i32)
            })
        }
        _ => [0, 0],
    };
    (all, turned)
}

/// Moves loops by whole periods so that each lies within the largest one's range.
fn shift_together(laid: &mut [Vec<[f64; 2]>], periods: [Option<f64>; 2]) {
    for k in 0..2 {
        let Some(period) = periods[k] else { continue };
        let range = |l: &[[f64; 2]]| {
            l.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[lo, hi], c| {
                [lo.min(c[k]), hi.max(c[k])]
            })
        };
        let ranges = laid.iter().map(|l| range(l));
        let Some([lo, hi]) = ranges.max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0]))) else {
            continue;
        };
        for l in laid.iter_mut() {
            let [own_lo, own_hi] = range(l);
            let by = period * (0.5 * (lo + hi - own_lo - own_hi) / period).round();
            l.iter_mut().for_each(|c| c[k] += by);
        }
    }
}

/// The loops' triangulation, with every side an edge of it.
fn triangulated(places: &[[f64; 2]], edges: &[[usize; 2]]) -> Result<Plane, String> {
    let vertices: Vec<Point2<f64>> = places.iter().map(|&[x, y]| Point2::new(x, y)).collect();
    let mut blocked = false;
    let plane = Plane::try_bulk_load_cdt(vertices, edges.to_vec(), |_| blocked = true)
        .map_err(|e| cannot(&e))?;
    let handles: Vec<_> = plane.fixed_vertices().collect();
    let is_whole = !blocked
        && handles.len() == places.len()
        && edges.iter().all(|&[a, b]| plane.exists_constraint(handles[a], handles[b]));
    if is_whole {
        Ok(plane)
    } else {
        Err("its border meets itself once it is cut into sides within `chord`".into())
    }
}

/// Where to put points so that triangles come nearer the surface: the middles of
/// edges, or of triangles, that are farther from it than `most`. Of the edges of one
/// triangle only the longest is cut at a time: more would be cut than is needed.
fn too_far(
    plane: &Plane,
    inside: &[bool],
    frame: &Frame,
    names: &[u32],
    points: &[DVec3],
    most: f64,
) -> Vec<Point2<f64>> {
    let mut long = Vec::new();
    let at = |v: usize| points[names[v] as usize];
    for edge in plane.undirected_edges() {
        let directed = edge.as_directed();
        let sides = [directed.face(), directed.rev().face()];
        if edge.is_constraint_edge() || !sides.iter().all(|f| inside[f.fix().index()]) {
            continue;
        }
        let [a, b] = edge.vertices();
        let ends = [a, b].map(|v| at(v.index()));
        if frame.off(ends[0].midpoint(ends[1])) > most {
            let (p, q) = (a.position(), b.position());
            let middle = Point2::new(0.5 * (p.x + q.x), 0.5 * (p.y + q.y));
            let beside = sides.map(|f| f.fix().index());
            long.push((ends[0].distance(ends[1]), beside, middle));
        }
    }
    // The sort keeps the order of edges that are as long.
    long.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut is_cut = vec![false; inside.len()];
    let mut wanted = Vec::new();
    for (_, beside, middle) in long {
        if beside.iter().all(|&f| !is_cut[f]) {
            beside.iter().for_each(|&f| is_cut[f] = true);
            wanted.push(middle);
        }
    }
    if wanted.is_empty() {
        for face in plane.inner_faces().filter(|f| inside[f.fix().index()]) {
            let [a, b, c] = face.vertices();
            let middle = (at(a.index()) + at(b.index()) + at(c.index())) / 3.0;
            if frame.off(middle) > most {
                let [p, q, r] = [a, b, c].map(|v| v.position());
                wanted.push(Point2::new((p.x + q.x + r.x) / 3.0, (p.y + q.y + r.y) / 3.0));
            }
        }
    }
    wanted
}
