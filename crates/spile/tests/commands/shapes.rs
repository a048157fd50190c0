//! Small scans from formulas, as bytes of binary STL.

use std::f64::consts::TAU;

type Point = [f64; 3];
type Triangle = [Point; 3];

/// Facets round a tube.
pub const ROUND: usize = 64;

fn ring_point(radius: f64, k: usize, z: f64) -> Point {
    let angle = TAU * (k % ROUND) as f64 / ROUND as f64;
    [radius * angle.cos(), radius * angle.sin(), z]
}

/// The wall of a cylinder about z from 0 to `length`, facing away from the
/// axis, or toward it where `inward`.
fn wall(radius: f64, length: f64, inward: bool) -> Vec<Triangle> {
    let rows = (length / 2.0).ceil() as usize;
    let mut out = Vec::new();
    for row in 0..rows {
        let z = |r: usize| length * r as f64 / rows as f64;
        for k in 0..ROUND {
            let [a, b] = [k, k + 1].map(|k| ring_point(radius, k, z(row)));
            let [c, d] = [k, k + 1].map(|k| ring_point(radius, k, z(row + 1)));
            for t in [[a, b, d], [a, d, c]] {
                out.push(if inward { [t[0], t[2], t[1]] } else { t });
            }
        }
    }
    out
}

/// A blind bore about z that faces away from its axis: open at the top, a disc
/// at z = 0. Its radius is `radius` but for the last `taper` before the rim,
/// where it shrinks evenly to `rim_radius`.
pub fn tapered_bore(radius: f64, rim_radius: f64, length: f64, taper: f64) -> Vec<u8> {
    let rows = length.ceil() as usize;
    let at = |row: usize, k: usize| {
        let z = length * row as f64 / rows as f64;
        let share = ((z - (length - taper)) / taper).clamp(0.0, 1.0);
        ring_point(radius + share * (rim_radius - radius), k, z)
    };
    let mut out = ring(0.0, radius, 0.0, false);
    for row in 0..rows {
        for k in 0..ROUND {
            let (a, b) = (at(row, k), at(row, k + 1));
            let (c, d) = (at(row + 1, k), at(row + 1, k + 1));
            out.extend([[a, b, d], [a, d, c]]);
        }
    }
    stl(&out)
}

/// A flat ring between two circles, facing up or down; with `inner` 0 a disc.
fn ring(inner: f64, outer: f64, z: f64, up: bool) -> Vec<Triangle> {
    let mut out = Vec::new();
    for k in 0..ROUND {
        let [a, b] = [k, k + 1].map(|k| ring_point(outer, k, z));
        let [c, d] = [k, k + 1].map(|k| ring_point(inner, k, z));
        let both = if inner > 0.0 { vec![[a, b, d], [a, d, c]] } else { vec![[a, b, d]] };
        for t in both {
            out.push(if up { t } else { [t[0], t[2], t[1]] });
        }
    }
    out
}

/// A straight tube about z with both walls, open at both ends.
pub fn open_tube(bore: f64, outside: f64, length: f64) -> Vec<u8> {
    let mut t = wall(outside / 2.0, length, false);
    t.extend(wall(bore / 2.0, length, true));
    stl(&t)
}

/// A straight tube about z with both walls, closed by flat rings.
pub fn closed_tube(bore: f64, outside: f64, length: f64) -> Vec<u8> {
    let (r, s) = (bore / 2.0, outside / 2.0);
    let mut t = wall(s, length, false);
    t.extend(wall(r, length, true));
    t.extend(ring(r, s, length, true));
    t.extend(ring(r, s, 0.0, false));
    stl(&t)
}

/// A full round bar about z.
pub fn solid_bar(diameter: f64, length: f64) -> Vec<u8> {
    let mut t = wall(diameter / 2.0, length, false);
    t.extend(ring(0.0, diameter / 2.0, length, true));
    t.extend(ring(0.0, diameter / 2.0, 0.0, false));
    stl(&t)
}

/// A cube of edge `size` from the origin: 12 triangles.
pub fn cube(size: f64) -> Vec<u8> {
    stl(&box_at(size, 0.0))
}

/// A cube from the origin and one of another edge in its middle, both facing out.
pub fn two_cubes(size: f64, inner: f64) -> Vec<u8> {
    stl(&[box_at(size, 0.0), box_at(inner, 0.5 * (size - inner))].concat())
}

/// A cube of edge `size` from `(from, from, from)`.
fn box_at(size: f64, from: f64) -> Vec<Triangle> {
    let p = |x: u8, y: u8, z: u8| [x, y, z].map(|c| from + f64::from(c) * size);
    let quads = [
        [p(0, 0, 0), p(0, 1, 0), p(1, 1, 0), p(1, 0, 0)],
        [p(0, 0, 1), p(1, 0, 1), p(1, 1, 1), p(0, 1, 1)],
        [p(0, 0, 0), p(1, 0, 0), p(1, 0, 1), p(0, 0, 1)],
        [p(0, 1, 0), p(0, 1, 1), p(1, 1, 1), p(1, 1, 0)],
        [p(0, 0, 0), p(0, 0, 1), p(0, 1, 1), p(0, 1, 0)],
        [p(1, 0, 0), p(1, 1, 0), p(1, 1, 1), p(1, 0, 1)],
    ];
    let halves = quads.iter().flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]]);
    halves.collect()
}

/// Binary STL, written here so that no test leans on the program's own writer.
pub fn stl(triangles: &[Triangle]) -> Vec<u8> {
    let mut out = vec![b' '; 80];
    out.extend((triangles.len() as u32).to_le_bytes());
    for triangle in triangles {
        out.extend([0_u8; 12]);
        for x in triangle.iter().flatten() {
            out.extend((*x as f32).to_le_bytes());
        }
        out.extend([0_u8; 2]);
    }
    out
}
