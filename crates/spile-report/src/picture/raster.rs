//! Which triangle is seen at each sample of a picture.

use std::ops::Range;

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
        let bands = Bands::of(mesh, &points, [width, height]);
        let taken: Option<Vec<bool>> =
            look.cut.map(|cut| mesh.points().par_iter().map(|p| cut.takes(*p)).collect());
        let empty = Sample { depth: f32::NEG_INFINITY, triangle: NOTHING };
        let mut samples = vec![empty; width * height];
        samples.par_chunks_mut((width * BAND).max(1)).enumerate().for_each(|(k, samples)| {
            let first = k * BAND;
            let rows_here = samples.len().checked_div(width).unwrap_or(0);
            let mut band = Band { first, rows: rows_here, width, points: &points, samples };
            for &t in bands.triangles(k) {
                let corners = mesh.triangles()[t as usize];
                let all = |taken: &Vec<bool>| corners.iter().all(|&c| taken[c as usize]);
                if taken.as_ref().is_some_and(all) {
                    continue;
                }
                let any = |taken: &Vec<bool>| corners.iter().any(|&c| taken[c as usize]);
                // A corner outside does not clear a long triangle that reaches in.
                let cut = look.cut.as_ref().filter(|_| {
                    taken.as_ref().is_some_and(any) || reaches_far(mesh, t as usize, look)
                });
                band.fill(mesh, t, cut);
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

    /// The depth at each sample, but negative infinity where no triangle or one that
    /// `is_behind` is seen.
    pub fn fronts(&self, is_behind: impl Fn(u32) -> bool + Sync) -> Vec<f32> {
        let mut fronts = vec![f32::NEG_INFINITY; self.samples.len()];
        let rows = fronts.par_chunks_mut(self.width.max(1));
        rows.zip(self.samples.par_chunks(self.width.max(1))).for_each(|(fronts, samples)| {
            let mut last = (NOTHING, false);
            for (front, sample) in fronts.iter_mut().zip(samples) {
                // A neighbour is mostly of the same triangle.
                if sample.triangle != last.0 {
                    last = (
                        sample.triangle,
                        sample.triangle != NOTHING && !is_behind(sample.triangle),
                    );
                }
                if last.1 {
                    *front = sample.depth;
                }
            }
        });
        fronts
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

/// The triangles that each band of rows may show, in their order.
struct Bands {
    /// All bands' triangles, band by band.
    triangles: Vec<u32>,
    /// Where those of each band begin; one more than there are bands.
    starts: Vec<usize>,
}

impl Bands {
    fn of(mesh: &Mesh, points: &[[f64; 3]], size: [usize; 2]) -> Self {
        let spans: Vec<Range<u32>> =
            mesh.triangles().par_iter().map(|t| bands_of(t, points, size)).collect();
        let mut starts = vec![0; size[1].div_ceil(BAND) + 1];
        spans.iter().for_each(|span| span.clone().for_each(|k| starts[k as usize + 1] += 1));
        for k in 1..starts.len() {
            starts[k] += starts[k - 1];
        }
        let mut next = starts.clone();
        let mut triangles = vec![0; starts.last().copied().unwrap_or(0)];
        for (t, span) in spans.into_iter().enumerate() {
            for k in span {
                triangles[next[k as usize]] = t as u32;
                next[k as usize] += 1;
            }
        }
        Self { triangles, starts }
    }

    fn triangles(&self, band: usize) -> &[u32] {
        &self.triangles[self.starts[band]..self.starts[band + 1]]
    }
}

/// The bands that a triangle may touch; none where it lies beside the picture.
fn bands_of(triangle: &[u32; 3], points: &[[f64; 3]], size: [usize; 2]) -> Range<u32> {
    let [a, b, c] = triangle.map(|c| points[c as usize]);
    let [columns, rows] = [0, 1].map(|axis| {
        let [a, b, c] = [a[axis], b[axis], c[axis]];
        [a.min(b).min(c), a.max(b).max(c)]
    });
    let is_beside = |[low, high]: [f64; 2], most: usize| high <= 0.0 || low >= most as f64;
    if is_beside(columns, size[0]) || is_beside(rows, size[1]) {
        return 0..0;
    }
    let [low, high] = [floor(rows[0]), ceil(rows[1]).min(size[1])];
    (low / BAND) as u32..high.div_ceil(BAND) as u32
}

/// The whole number below, or 0: a cast is much sooner done than a call.
fn floor(x: f64) -> usize {
    x as usize
}

/// The whole number above, or 0.
fn ceil(x: f64) -> usize {
    let below = x as usize;
    below.saturating_add(usize::from(x > below as f64))
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
        // The samples whose middles lie in the triangle's box; most small triangles have none.
        let within = |axis: usize, from: usize, to: usize| {
            let [a, b, c] = [a[axis], b[axis], c[axis]];
            let (low, high) = (a.min(b).min(c), a.max(b).max(c));
            ceil(low - 0.5).max(from)..floor(high + 0.5).min(to)
        };
        let (columns, rows) =
            (within(0, 0, self.width), within(1, self.first, self.first + self.rows));
        if columns.is_empty() || rows.is_empty() {
            return;
        }
        let Some(weights) = Weights::of([a, b, c]) else { return };
        for y in rows {
            for x in weights.columns(y, columns.start, columns.end) {
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
