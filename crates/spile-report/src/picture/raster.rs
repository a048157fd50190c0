//! Which triangle is seen at each sample of a picture.

use rayon::prelude::*;
use spile_mesh::{DVec3, Mesh};

use super::{CutAway, Look};

/// Samples along each side of a pixel.
pub(super) const SAMPLES: usize = 3;
/// Rows of samples that one thread fills at a time.
const BAND: usize = 48;
/// No triangle.
const NOTHING: u32 = u32::MAX;

/// What is seen at one sample.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sample {
    /// Length toward the eye from the middle of what is seen.
    pub depth: f32,
    /// The triangle, or [`NOTHING`].
    pub triangle: u32,
}

/// All samples, and the points they were drawn from.
pub(super) struct Seen {
    pub width: usize,
    pub height: usize,
    /// Samples for a unit of length.
    pub scale: f64,
    /// Each point of the mesh in samples from the left and the top, and its depth.
    pub points: Vec<[f64; 3]>,
    samples: Vec<Sample>,
}

impl Seen {
    /// Draws every triangle of `mesh`; of two at one depth the first stays.
    pub fn of(mesh: &Mesh, look: &Look) -> Self {
        let [width, height] = look.size.map(|n| n * SAMPLES);
        let scale = look.camera.scale([width, height]);
        let onto = |p: &DVec3| look.camera.on_screen_at(*p, [width, height], scale);
        let points: Vec<[f64; 3]> = mesh.points().par_iter().map(onto).collect();
        let rows: Vec<[i32; 2]> =
            mesh.triangles().par_iter().map(|t| rows_of(t, &points, height)).collect();
        let taken: Option<Vec<bool>> =
            look.cut.map(|cut| mesh.points().par_iter().map(|p| cut.takes(*p)).collect());
        let empty = Sample { depth: f32::NEG_INFINITY, triangle: NOTHING };
        let mut samples = vec![empty; width * height];
        samples.par_chunks_mut((width * BAND).max(1)).enumerate().for_each(|(k, samples)| {
            let first = k * BAND;
            let rows_here = samples.len().checked_div(width).unwrap_or(0);
            let mut band = Band { first, rows: rows_here, width, points: &points, samples };
            for (t, [low, high]) in rows.iter().enumerate() {
                if *low < (first + rows_here) as i32 && *high > first as i32 {
                    let corners = mesh.triangles()[t];
                    let all = |taken: &Vec<bool>| corners.iter().all(|&c| taken[c as usize]);
                    if taken.as_ref().is_some_and(all) {
                        continue;
                    }
                    let any = |taken: &Vec<bool>| corners.iter().any(|&c| taken[c as usize]);
                    // A corner outside does not clear a long triangle that reaches in.
                    let cut = look
                        .cut
                        .as_ref()
                        .filter(|_| taken.as_ref().is_some_and(any) || reaches_far(mesh, t, look));
                    band.fill(mesh, t as u32, cut);
                }
            }
        });
        Self { width, height, scale, points, samples }
    }

    pub fn at(&self, x: isize, y: isize) -> Option<Sample> {
        let inside =
            (0..self.width as isize).contains(&x) && (0..self.height as isize).contains(&y);
        inside
            .then(|| self.samples[y as usize * self.width + x as usize])
            .filter(|s| s.triangle != NOTHING)
    }

    /// Weights of a triangle's corners at a sample's middle.
    pub fn weights(&self, corners: [u32; 3], x: isize, y: isize) -> [f64; 3] {
        let corners = corners.map(|c| self.points[c as usize]);
        let at = |w: Weights| w.at(x as f64 + 0.5, y as f64 + 0.5);
        Weights::of(corners).map_or([1.0 / 3.0; 3], at)
    }
}

/// Whether a triangle with no corner in the piece taken away may still cross it: only
/// one with corners on both sides of its bounds.
fn reaches_far(mesh: &Mesh, t: usize, look: &Look) -> bool {
    look.cut.is_some_and(|cut| {
        let corners = mesh.corners(t).map(|p| p - cut.through);
        let inside = |d: &DVec3| d.dot(cut.toward_eye) > 0.0;
        let heights = corners.map(|d| d.dot(cut.along));
        corners.iter().any(inside)
            && heights.iter().any(|h| *h < cut.to)
            && heights.iter().any(|h| *h >= cut.from)
    })
}

/// The rows of samples that a triangle may touch.
fn rows_of(triangle: &[u32; 3], points: &[[f64; 3]], height: usize) -> [i32; 2] {
    let ys = triangle.map(|c| points[c as usize][1]);
    let low = ys.iter().fold(f64::INFINITY, |a, &b| a.min(b));
    let high = ys.iter().fold(f64::NEG_INFINITY, |a, &b| a.max(b));
    let most = height as f64;
    [low.floor().clamp(0.0, most) as i32, high.ceil().clamp(0.0, most) as i32]
}

/// The weights of a triangle's corners over the picture's plane.
struct Weights {
    /// The first corner.
    from: [f64; 2],
    /// What the second's and the third's weight grow by for each step to the right and
    /// down.
    second: [f64; 2],
    third: [f64; 2],
}

impl Weights {
    /// Nothing where the triangle is seen edge on.
    fn of([a, b, c]: [[f64; 3]; 3]) -> Option<Self> {
        let [ab, ac] = [b, c].map(|p| [p[0] - a[0], p[1] - a[1]]);
        let doubled = ab[0] * ac[1] - ab[1] * ac[0];
        let second = [ac[1] / doubled, -ac[0] / doubled];
        let third = [-ab[1] / doubled, ab[0] / doubled];
        let is_told = [second, third].as_flattened().iter().all(|w| w.is_finite());
        is_told.then_some(Self { from: [a[0], a[1]], second, third })
    }

    fn at(&self, x: f64, y: f64) -> [f64; 3] {
        let (dx, dy) = (x - self.from[0], y - self.from[1]);
        let u = dx * self.second[0] + dy * self.second[1];
        let v = dx * self.third[0] + dy * self.third[1];
        [1.0 - u - v, u, v]
    }

    /// The columns of a row from `low` to below `high` whose middles the triangle may
    /// cover: a long triangle that lies aslant covers few of its box.
    fn columns(&self, y: usize, low: usize, high: usize) -> std::ops::Range<usize> {
        let [first, last] = [low, high].map(|x| x as f64);
        let at_low = self.at(first + 0.5, y as f64 + 0.5);
        let steps = [-self.second[0] - self.third[0], self.second[0], self.third[0]];
        let (mut from, mut to) = (first, last);
        for (w, step) in at_low.into_iter().zip(steps) {
            let zero = first - w / step;
            if step > 0.0 {
                from = from.max(zero - 1.0);
            } else if step < 0.0 {
                to = to.min(zero + 2.0);
            }
        }
        from.clamp(first, last) as usize..to.clamp(first, last) as usize
    }
}

/// A band of rows, filled by one thread.
struct Band<'a> {
    first: usize,
    rows: usize,
    width: usize,
    points: &'a [[f64; 3]],
    samples: &'a mut [Sample],
}

impl Band<'_> {
    fn fill(&mut self, mesh: &Mesh, t: u32, cut: Option<&CutAway>) {
        let corners = mesh.triangles()[t as usize];
        let [a, b, c] = corners.map(|c| self.points[c as usize]);
        let Some(weights) = Weights::of([a, b, c]) else { return };
        let xs = [a[0], b[0], c[0]];
        let ys = [a[1], b[1], c[1]];
        let low = |v: [f64; 3]| v.iter().fold(f64::INFINITY, |a, &b| a.min(b)).floor().max(0.0);
        let high = |v: [f64; 3]| v.iter().fold(f64::NEG_INFINITY, |a, &b| a.max(b)).ceil().max(0.0);
        let x1 = (high(xs) as usize).min(self.width);
        let x0 = (low(xs) as usize).min(x1);
        let y0 = (low(ys) as usize).max(self.first);
        let y1 = (high(ys) as usize).min(self.first + self.rows);
        for y in y0..y1 {
            for x in weights.columns(y, x0, x1) {
                let w = weights.at(x as f64 + 0.5, y as f64 + 0.5);
                if w.iter().any(|w| *w < 0.0) {
                    continue;
                }
                let depth = (w[0] * a[2] + w[1] * b[2] + w[2] * c[2]) as f32;
                let sample = &mut self.samples[(y - self.first) * self.width + x];
                if depth <= sample.depth {
                    continue;
                }
                let is_taken = cut.is_some_and(|cut| {
                    let [p, q, r] = mesh.corners(t as usize);
                    cut.takes(p * w[0] + q * w[1] + r * w[2])
                });
                if !is_taken {
                    *sample = Sample { depth, triangle: t };
                }
            }
        }
    }
}
