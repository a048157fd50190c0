//! Split, collapse and flip: the operations that change how triangles meet.
//!
//! # Source
//! Botsch and Kobbelt 2004, A remeshing approach to multiresolution modeling,
//! for the cycle and its thresholds; what may be done is decided by `Guard`.

use std::collections::HashMap;

use glam::DVec3;

use super::guard::{Candidate, Guard, candidate, edges_at};
use super::quality::{least_sine, normal};
use super::working::{Beside, FROZEN, Kind, LINE, Working};
use crate::topology::NONE;

/// Edges longer than this many times their wanted length are split.
const LONG: f64 = 4.0 / 3.0;
/// Edges shorter than this many times their wanted length are collapsed.
const SHORT: f64 = 4.0 / 5.0;
/// Edges shorter than this many times their wanted length may be collapsed
/// across lines.
const TINY: f64 = 0.4;
/// Least sine from which on a triangle counts as well shaped (24 degrees).
const WELL_SHAPED: f64 = 0.4;
/// A flip must raise the smaller of two least sines by this much, or nothing
/// would end.
const FLIP_GAIN: f64 = 1e-6;

/// Splits long edges, the longest for its size first; says how many.
pub(super) fn split_long(w: &mut Working, guard: &Guard, size: &dyn Fn(DVec3) -> f64) -> usize {
    let mut count = 0;
    // Halves of a long edge can be long still: repeated until none is.
    for _ in 0..24 {
        let mut long: Vec<(f64, [u32; 2])> = w
            .edges()
            .into_iter()
            .map(|[a, b]| (w.length(a, b) / w.size(a, b), [a, b]))
            .filter(|&(share, _)| share > LONG)
            .collect();
        long.sort_by(|x, y| y.0.total_cmp(&x.0).then(x.1.cmp(&y.1)));
        let before = count;
        for (_, [a, b]) in long {
            count += usize::from(split(w, guard, size, a, b));
        }
        if count == before {
            break;
        }
    }
    count
}

fn split(w: &mut Working, guard: &Guard, size: &dyn Fn(DVec3) -> f64, a: u32, b: u32) -> bool {
    let middle = w.points[a as usize].midpoint(w.points[b as usize]);
    let mark = w.mark(a, b);
    if mark & FROZEN != 0 {
        return false;
    }
    let beside = match w.beside(a, b) {
        Beside::Two(t, u) => vec![t, u],
        Beside::One(t) => vec![t],
        Beside::Nothing | Beside::Tangle => return false,
    };
    let home = w.homes[a as usize];
    let is_flat = mark & LINE == 0 && home != NONE && home == w.homes[b as usize];
    let (at, home) = if is_flat {
        (middle, home)
    } else {
        let on_line = if mark & LINE != 0 { guard.project_to_line(middle) } else { None };
        let hints = [home, w.homes[b as usize]];
        let Some((at, home)) = guard.project(on_line.unwrap_or(middle), &hints) else {
            return false;
        };
        // A point drawn to a place behind the triangles' backs would fold them.
        if folds(w, &beside, a, b, at) { (middle, NONE) } else { (at, home) }
    };
    let kind = if mark & LINE != 0 { Kind::OnLine } else { Kind::Free };
    let m = w.add_point(at, kind, size(at), home);
    for [t, new] in w.split(a, b, m) {
        let witnesses = std::mem::take(&mut w.witnesses[t as usize]);
        share_out(w, guard, &witnesses, &[t, new]);
    }
    true
}

/// Whether putting `at` into the edge turns a triangle at it over.
fn folds(w: &Working, beside: &[u32], a: u32, b: u32, at: DVec3) -> bool {
    beside.iter().any(|&t| {
        let was = normal(w.corners(t));
        [a, b].into_iter().any(|gone| {
            let now =
                w.triangles[t as usize].map(|v| if v == gone { at } else { w.points[v as usize] });
            normal(now).dot(was) < 0.5
        })
    })
}

/// Gives each witness to the nearest of these triangles, however far.
fn share_out(w: &mut Working, guard: &Guard, witnesses: &[u32], triangles: &[u32]) {
    for &witness in witnesses {
        let p = guard.original.points()[witness as usize];
        let distance =
            |t: u32| crate::triangle::offset_to_triangle(p, w.corners(t)).0.length_squared();
        let nearest =
            triangles.iter().copied().min_by(|&t, &u| distance(t).total_cmp(&distance(u)));
        if let Some(t) = nearest {
            w.witnesses[t as usize].push(witness);
        }
    }
}

/// Edges, their smaller point first, and when they last could not be collapsed.
pub(super) type InVain = HashMap<[u32; 2], u32>;

/// Collapses short edges, the shortest for its size first; says how many.
///
/// Those `in_vain` are not tried again until something round them changes.
pub(super) fn collapse_short(w: &mut Working, guard: &Guard, in_vain: &mut InVain) -> usize {
    let mut short: Vec<(f64, [u32; 2])> = w
        .edges()
        .into_iter()
        .map(|[a, b]| (w.length(a, b) / w.size(a, b), [a, b]))
        .filter(|&(share, _)| share < SHORT)
        .collect();
    short.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
    let mut count = 0;
    for (_, [a, b]) in short {
        // What was done before may have changed this edge.
        let still_short = w.length(a, b) < SHORT * w.size(a, b);
        let last_change = w.changed[a as usize].max(w.changed[b as usize]);
        if !still_short || in_vain.get(&[a, b]).is_some_and(|&since| last_change <= since) {
            continue;
        }
        if collapse(w, guard, a, b, 0.5) || collapse(w, guard, b, a, 0.5) {
            count += 1;
        } else {
            in_vain.insert([a, b], w.clock);
        }
    }
    count
}

/// Collapses `a` into `b` if that is allowed, and if no triangle's least sine
/// falls below `floor_share` of the least there was round `a`.
pub(super) fn collapse(w: &mut Working, guard: &Guard, a: u32, b: u32, floor_share: f64) -> bool {
    if !may_collapse(w, a, b) {
        return false;
    }
    let opposite: Vec<u32> = w.neighbours(a).into_iter().filter(|&c| c != b).collect();
    let mut old_witnesses = Vec::new();
    let mut stay = Vec::with_capacity(8);
    let mut least_before = f64::INFINITY;
    for &t in &w.around[a as usize] {
        old_witnesses.extend_from_slice(&w.witnesses[t as usize]);
        least_before = least_before.min(least_sine(w.corners(t)));
        if w.corner_of(t, b).is_none() {
            stay.push(t);
        }
    }
    let mut became: Vec<Candidate> = Vec::with_capacity(stay.len());
    for &t in &stay {
        let corners = w.triangles[t as usize].map(|v| if v == a { b } else { v });
        for v in corners {
            if v != b && w.length(v, b) > LONG * w.size(v, b) && w.length(v, b) > w.length(v, a) {
                return false;
            }
        }
        let now = candidate(w, corners, edges_at(corners, b, false));
        if least_sine(now.at) < floor_share * least_before.min(WELL_SHAPED) || !guard.allows(&now) {
            return false;
        }
        became.push(now);
    }
    let at: Vec<[DVec3; 3]> = became.iter().map(|c| c.at).collect();
    let Some(places) = guard.assign(&old_witnesses, &at) else { return false };
    for &t in &w.around[a as usize].clone() {
        w.witnesses[t as usize].clear();
    }
    w.collapse(a, b);
    for v in opposite.into_iter().chain([b]) {
        if w.kinds[v as usize] != Kind::Locked {
            w.kinds[v as usize] = w.kind_by_lines(v, guard.turn);
        }
    }
    for (&witness, place) in old_witnesses.iter().zip(places) {
        w.witnesses[stay[place] as usize].push(witness);
    }
    true
}

/// Whether `a` may go into `b` by kinds, marks and the link condition.
fn may_collapse(w: &Working, a: u32, b: u32) -> bool {
    let mark = w.mark(a, b);
    // So short an edge may take a piece of a line with it: the guard still says
    // whether that is too far.
    let is_tiny = w.length(a, b) < TINY * w.size(a, b);
    let by_kind = match w.kinds[a as usize] {
        Kind::Locked => false,
        Kind::Corner => is_tiny,
        Kind::OnLine => mark == LINE || is_tiny,
        Kind::Free => true,
    };
    if !by_kind || mark & FROZEN != 0 {
        return false;
    }
    let opposite = match w.beside(a, b) {
        Beside::Two(t, u) if mark != 0 || !w.is_at_end(a) => {
            vec![w.opposite(t, a, b), w.opposite(u, a, b)]
        }
        Beside::One(t) => vec![w.opposite(t, a, b)],
        _ => return false,
    };
    // Triangles at a that also have b vanish; there must be others beside them,
    // across both of the edges that become one.
    let has_neighbours = opposite.iter().all(|&c| {
        matches!(w.beside(a, c), Beside::Two(..)) && matches!(w.beside(b, c), Beside::Two(..))
    });
    // Else a second line would be drawn onto this one.
    let joins_lines =
        opposite.iter().any(|&c| w.mark(a, c) != 0 && (mark != 0 || w.mark(b, c) != 0));
    if !has_neighbours || (joins_lines && !is_tiny) {
        return false;
    }
    let frozen = w.along_line(a).into_iter().any(|c| w.mark(a, c) & FROZEN != 0);
    let of_b = w.neighbours(b);
    let common = w.neighbours(a).into_iter().filter(|v| of_b.contains(v)).count();
    !frozen && common == opposite.len()
}

/// Flips edges where that makes the sharper of the two triangles' least angles
/// larger, until none does; says how many.
pub(super) fn flip_all(w: &mut Working, guard: &Guard) -> usize {
    let mut count = 0;
    for _ in 0..12 {
        let before = count;
        for [a, b] in w.edges() {
            count += usize::from(flip(w, guard, a, b));
        }
        if count == before {
            break;
        }
    }
    count
}

/// Flips the edge between `a` and `b` if that is allowed and helps.
pub(super) fn flip(w: &mut Working, guard: &Guard, a: u32, b: u32) -> bool {
    let Beside::Two(t, u) = w.beside(a, b) else { return false };
    if w.mark(a, b) != 0 {
        return false;
    }
    let (c, d) = (w.opposite(t, a, b), w.opposite(u, a, b));
    if c == d || c == NONE || d == NONE {
        return false;
    }
    let now = least_sine(w.corners(t)).min(least_sine(w.corners(u)));
    // Of their edges only the one between `c` and `d` is new.
    let became = [
        candidate(w, [a, d, c], [false, true, false]),
        candidate(w, [d, b, c], [false, false, false]),
    ];
    let then = least_sine(became[0].at).min(least_sine(became[1].at));
    if then <= now + FLIP_GAIN || w.beside(c, d) != Beside::Nothing {
        return false;
    }
    // Turning about each other is what a fold looks like from near.
    if normal(became[0].at).dot(normal(became[1].at)) < 0.0 {
        return false;
    }
    if !became.iter().all(|triangle| guard.allows(triangle)) {
        return false;
    }
    let mut witnesses = w.witnesses[t as usize].clone();
    witnesses.extend_from_slice(&w.witnesses[u as usize]);
    let Some(places) = guard.assign(&witnesses, &became.map(|c| c.at)) else { return false };
    w.flip(a, b, t, u);
    w.witnesses[t as usize].clear();
    w.witnesses[u as usize].clear();
    for (&witness, place) in witnesses.iter().zip(places) {
        w.witnesses[[t, u][place] as usize].push(witness);
    }
    true
}
