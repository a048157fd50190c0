//! Lights what is seen and averages it to pixels.

use rayon::prelude::*;
use spile_mesh::DVec3;

use super::raster::{SAMPLES, Sample, Seen};
use super::{Look, Paint, Shading, Surface};
use crate::colour::{Map, NO_VALUE, PAPER, Rgb, linear};

/// Where the light comes from, in the camera's frame (right, up, toward the eye), and
/// how strong each is.
const LIGHTS: [([f64; 3], f64); 3] =
    [([-0.45, 0.65, 0.62], 0.62), ([0.75, 0.1, 0.65], 0.22), ([0.1, -0.8, 0.3], 0.10)];
/// Light from everywhere.
const AMBIENT: f64 = 0.30;
/// On a map, shading is drawn toward even light by this share: the colour is the
/// message there.
const EVEN_ON_MAPS: f64 = 0.62;
/// A normal that stands off its triangle's by more is not averaged: a true crease.
/// Cosine of 40 degrees.
const CREASE: f64 = 0.766;
/// How far a hollow is looked for, as shares of the picture's width.
const RINGS: [f64; 3] = [0.009, 0.020, 0.036];
/// Directions in which it is looked for.
const TURNS: usize = 12;
/// What stands steeper than this takes light away, as a share of the way there.
const HIDES_FROM: f64 = 0.6;
/// Entries of a map's table.
const TABLE: usize = 512;

/// What does not depend on the sample.
struct Lit<'a> {
    surface: &'a Surface<'a>,
    look: &'a Look<'a>,
    seen: &'a Seen,
    /// Light of each triangle's own colour.
    tones: Vec<Rgb>,
    /// Light of a map's colours, from its least to its most.
    table: Vec<Rgb>,
    /// Unit directions toward the lights, with their strengths.
    lights: [(DVec3, f64); 3],
    /// The unit direction that shines most.
    glossy: DVec3,
    no_value: Rgb,
    around: Vec<Around>,
    /// The depth at each sample of what can hide a neighbour from light: nothing where no
    /// triangle, or a section face, is seen. Apart from the triangles it is half as long, and
    /// most of a picture's time goes into reading it here and there.
    fronts: Vec<f32>,
}

/// Where a hollow is looked for.
struct Around {
    /// In samples to the right and down.
    aside: (isize, isize),
    /// The same in places of a list of samples, row by row.
    places: isize,
    /// How far that is, in samples.
    radius: f64,
    /// What rises no more than this above its neighbour hides nothing of it: less than
    /// [`HIDES_FROM`] of the radius.
    least: f32,
}

/// Red, green and blue of each pixel, row by row from the top.
pub(super) fn pixels(surface: &Surface, look: &Look, seen: &Seen) -> Vec<u8> {
    let is_behind = |t: u32| surface.faces[t as usize].dot(look.camera.toward_eye()) < 0.0;
    let lit = Lit {
        surface,
        look,
        seen,
        tones: match look.paint {
            Paint::Triangles(colours) => lights_of(colours),
            Paint::Measure { .. } => Vec::new(),
        },
        table: match look.paint {
            Paint::Triangles(_) => Vec::new(),
            Paint::Measure { map, .. } => table(map),
        },
        lights: LIGHTS.map(|(from, strength)| (DVec3::from_array(from).normalize(), strength)),
        glossy: DVec3::new(-0.25, 0.36, 0.9).normalize(),
        no_value: NO_VALUE.map(linear),
        around: around(look.size[0], seen.scale),
        fronts: seen.fronts(is_behind),
    };
    let [width, height] = look.size;
    let steps = byte_steps();
    let mut pixels = vec![0; 3 * width * height];
    pixels.par_chunks_mut((3 * width).max(1)).enumerate().for_each(|(y, row)| {
        for (x, pixel) in row.chunks_mut(3).enumerate() {
            let light = lit.pixel(x, y);
            for (channel, light) in pixel.iter_mut().zip(light) {
                *channel = steps.partition_point(|step| *step <= light) as u8;
            }
        }
    });
    pixels
}

/// The amounts of light at which a channel of 8 bits takes its next value: a search
/// among them costs less than a power for every channel of every pixel.
fn byte_steps() -> [f64; 255] {
    std::array::from_fn(|k| linear((k as f64 + 0.5) / 255.0))
}

/// Neighbours in the list mostly share a colour, which is then turned into light once.
fn lights_of(colours: &[Rgb]) -> Vec<Rgb> {
    let mut last = (PAPER, PAPER.map(linear));
    let light = |c: &Rgb| {
        if *c != last.0 {
            last = (*c, c.map(linear));
        }
        last.1
    };
    colours.iter().map(light).collect()
}

fn table(map: Map) -> Vec<Rgb> {
    let least = map.least();
    let at = |k: usize| least + (1.0 - least) * k as f64 / (TABLE - 1) as f64;
    (0..TABLE).map(|k| map.at(at(k)).map(linear)).collect()
}

/// Where a hollow is looked for round a sample of a picture of this width and scale.
fn around(width: usize, scale: f64) -> Vec<Around> {
    let mut list = Vec::new();
    for (k, share) in RINGS.iter().enumerate() {
        let radius = share * (width * SAMPLES) as f64;
        // With room for rounding to `f32`.
        let least = (0.99 * HIDES_FROM * radius / scale) as f32;
        for step in 0..TURNS {
            let turn = (step as f64 + 0.37 * k as f64) / TURNS as f64 * std::f64::consts::TAU;
            let aside = ((turn.cos() * radius) as isize, (turn.sin() * radius) as isize);
            let places = aside.1 * (width * SAMPLES) as isize + aside.0;
            list.push(Around { aside, places, radius, least });
        }
    }
    list
}

impl Lit<'_> {
    fn pixel(&self, x: usize, y: usize) -> Rgb {
        let (x0, y0) = ((x * SAMPLES) as isize, (y * SAMPLES) as isize);
        let middle = (x0 + SAMPLES as isize / 2, y0 + SAMPLES as isize / 2);
        let open = self.openness(middle.0, middle.1);
        let samples: [[_; SAMPLES]; SAMPLES] = std::array::from_fn(|row| {
            std::array::from_fn(|k| self.seen.at(x0 + k as isize, y0 + row as isize))
        });
        let first = samples[0][0];
        let same = |s: &Option<Sample>| s.map(|s| s.triangle) == first.map(|s| s.triangle);
        // Over one pixel a triangle's light hardly changes: once will do, but for the
        // section faces, whose edges are drawn sample by sample.
        if samples.as_flattened().iter().all(same)
            && first.is_none_or(|s| !self.is_behind(s.triangle))
        {
            return self.sample(samples[SAMPLES / 2][SAMPLES / 2], middle, open);
        }
        // Where nearly every sample is of a triangle of its own, every other one will do.
        let step = if self.is_fine(samples.as_flattened()) { 2 } else { 1 };
        let (mut sum, mut count) = ([0.0; 3], 0.0);
        for (k, sample) in samples.as_flattened().iter().enumerate().step_by(step) {
            let at = (x0 + (k % SAMPLES) as isize, y0 + (k / SAMPLES) as isize);
            let lit = self.sample(*sample, at, open);
            (0..3).for_each(|k| sum[k] += lit[k]);
            count += 1.0;
        }
        sum.map(|c| c / count)
    }

    /// Whether a pixel is covered by many triangles, none of them a section face.
    fn is_fine(&self, samples: &[Option<Sample>]) -> bool {
        let is_new = |k: usize| {
            samples[k].is_some_and(|own| {
                samples[..k].iter().flatten().all(|other| other.triangle != own.triangle)
            })
        };
        samples.iter().all(|s| s.is_some_and(|s| !self.is_behind(s.triangle)))
            && (0..samples.len()).filter(|&k| is_new(k)).count() > samples.len() / 2
    }

    /// The light that comes from one sample at its place.
    fn sample(&self, sample: Option<Sample>, (x, y): (isize, isize), open: f64) -> Rgb {
        let Some(sample) = sample else { return PAPER };
        let corners = self.surface.mesh.triangles()[sample.triangle as usize];
        let weights = self.seen.weights(corners, x, y);
        let face = self.surface.faces[sample.triangle as usize];
        let colour = self.colour(sample.triangle, corners, weights);
        if self.is_behind(sample.triangle) {
            // The solid's inside: a flat face in a light tint of its colour.
            let edge = if self.is_section_edge(x, y) { 0.35 } else { 1.0 };
            return colour.map(|c| edge * (0.55 * c + 0.36));
        }
        let normal = self.look.camera.turned(self.normal(face, corners, weights));
        let light: f64 = self.lights.iter().map(|&(from, s)| s * normal.dot(from).max(0.0)).sum();
        let lit = open * (AMBIENT + 1.25 * light);
        match self.look.paint {
            Paint::Triangles(_) => {
                let gloss = 0.06 * normal.dot(self.glossy).max(0.0).powi(40);
                colour.map(|c| c * lit + gloss)
            }
            Paint::Measure { .. } => {
                let even = EVEN_ON_MAPS + (1.0 - EVEN_ON_MAPS) * lit;
                colour.map(|c| c * even)
            }
        }
    }

    fn normal(&self, face: DVec3, corners: [u32; 3], weights: [f64; 3]) -> DVec3 {
        if self.look.shading == Shading::Flat {
            return face;
        }
        let at = |k: usize| {
            let n = self.surface.normals[corners[k] as usize];
            if n.dot(face) < CREASE { face } else { n }
        };
        (at(0) * weights[0] + at(1) * weights[1] + at(2) * weights[2]).normalize_or(face)
    }

    /// The light of a sample's own colour.
    fn colour(&self, triangle: u32, corners: [u32; 3], weights: [f64; 3]) -> Rgb {
        match self.look.paint {
            Paint::Triangles(_) => {
                self.tones.get(triangle as usize).copied().unwrap_or(self.no_value)
            }
            Paint::Measure { values, range: [low, high], .. } => {
                let value: f64 = (0..3)
                    .map(|k| weights[k] * values.get(corners[k] as usize).unwrap_or(&f64::NAN))
                    .sum();
                let share = (value - low) / (high - low);
                if !share.is_finite() {
                    return self.no_value;
                }
                self.table[(share.clamp(0.0, 1.0) * (TABLE - 1) as f64).round() as usize]
            }
        }
    }

    /// Whether a section face ends beside this sample.
    fn is_section_edge(&self, x: isize, y: isize) -> bool {
        let reach = SAMPLES as isize;
        [(reach, 0), (-reach, 0), (0, reach), (0, -reach)].into_iter().any(|(dx, dy)| {
            !self.seen.at(x + dx, y + dy).is_some_and(|s| self.is_behind(s.triangle))
        })
    }

    fn is_behind(&self, triangle: u32) -> bool {
        self.surface.faces[triangle as usize].dot(self.look.camera.toward_eye()) < 0.0
    }

    /// How little of the surroundings stands in front: 1 in the open, less in a hollow.
    fn openness(&self, x: isize, y: isize) -> f64 {
        let Some(here) = self.seen.at(x, y) else { return 1.0 };
        let most = RINGS[2] * self.seen.width as f64 * 3.0;
        let mut hidden = 0.0;
        let (width, height) = (self.seen.width as isize, self.seen.height as isize);
        let reach =
            self.around.iter().fold(0, |most, a| a.aside.0.abs().max(a.aside.1.abs()).max(most));
        let is_inside = x >= reach && y >= reach && x + reach < width && y + reach < height;
        for &Around { aside: (dx, dy), places, radius, least } in &self.around {
            let (column, row) = (x + dx, y + dy);
            let is_seen = is_inside || ((0..width).contains(&column) && (0..height).contains(&row));
            if !is_seen {
                continue;
            }
            let step = self.fronts[(y * width + x + places) as usize] - here.depth;
            if step <= least {
                continue;
            }
            // In samples, as the radius is.
            let rise = f64::from(step) * self.seen.scale;
            if rise < most {
                hidden += (rise / radius - HIDES_FROM).clamp(0.0, 1.0);
            }
        }
        1.0 - 0.75 * hidden / self.around.len() as f64
    }
}
