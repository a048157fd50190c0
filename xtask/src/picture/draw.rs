//! A small off-screen renderer: parallel projection, depth buffer, several
//! samples a pixel, and a cut-away whose section faces are filled.

use super::stl::Triangle;

/// A vector.
pub type V3 = [f64; 3];

/// Samples along each side of a pixel.
const SAMPLES: usize = 3;
/// Room round the part, as a share of the picture.
const MARGIN: f64 = 0.05;
/// Behind everything.
const PAPER: V3 = [1.0, 1.0, 1.0];
/// Where the light comes from, in the camera's frame (right, up, toward the
/// eye), and how strong each is.
const LIGHTS: [(V3, f64); 3] =
    [([-0.45, 0.65, 0.62], 0.62), ([0.75, 0.1, 0.65], 0.22), ([0.1, -0.8, 0.3], 0.10)];
const AMBIENT: f64 = 0.30;

/// The scalar product.
pub fn dot(a: V3, b: V3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// The difference.
pub fn sub(a: V3, b: V3) -> V3 {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn cross(a: V3, b: V3) -> V3 {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// The same direction with length one; zero stays.
pub fn unit(v: V3) -> V3 {
    let length = dot(v, v).sqrt();
    if length > 0.0 { v.map(|c| c / length) } else { v }
}

/// A parallel projection.
pub struct Camera {
    /// Right, up, toward the eye.
    axes: [V3; 3],
    /// Middle of what is seen, in the camera's frame.
    middle: [f64; 2],
    /// Its width and height.
    extent: [f64; 2],
}

impl Camera {
    /// A camera that sees all of the part, with `right` to the right.
    pub fn round(part: &[Triangle], right: V3, toward_eye: V3) -> Self {
        let axes = [right, cross(toward_eye, right), toward_eye];
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in part.iter().flatten() {
            for k in 0..2 {
                low[k] = low[k].min(dot(*p, axes[k]));
                high[k] = high[k].max(dot(*p, axes[k]));
            }
        }
        let middle = [0, 1].map(|k| 0.5 * (low[k] + high[k]));
        let extent = [0, 1].map(|k| high[k] - low[k]);
        Self { axes, middle, extent }
    }

    fn seen(&self, p: V3) -> V3 {
        [dot(p, self.axes[0]), dot(p, self.axes[1]), dot(p, self.axes[2])]
    }
}

/// What is taken away: the half toward the eye of a plane through a point,
/// between two heights along a direction.
pub struct CutAway {
    /// A point of the plane.
    pub through: V3,
    /// The plane's normal.
    pub toward_eye: V3,
    /// The direction in which the piece is bounded.
    pub along: V3,
    /// The lower bound, from the point.
    pub from: f64,
    /// The upper bound.
    pub to: f64,
}

impl CutAway {
    fn takes(&self, p: V3) -> bool {
        let d = sub(p, self.through);
        dot(d, self.toward_eye) > 0.0 && (self.from..self.to).contains(&dot(d, self.along))
    }
}

/// How a part is drawn.
pub struct Look {
    /// From where.
    pub camera: Camera,
    /// What is taken away.
    pub cut: CutAway,
    /// A colour for each triangle.
    pub tones: Vec<[f64; 3]>,
}

/// What is seen at one sample.
#[derive(Clone, Copy)]
struct Sample {
    depth: f64,
    normal: V3,
    tone: V3,
    /// The surface is seen from inside the solid: here the section begins.
    is_section: bool,
}

const NOTHING: Sample =
    Sample { depth: f64::NEG_INFINITY, normal: [0.0; 3], tone: PAPER, is_section: false };

struct Canvas {
    width: usize,
    height: usize,
    /// Samples for each unit of length.
    scale: f64,
    samples: Vec<Sample>,
}

/// Red, green and blue of each pixel, row by row from the top.
pub fn draw(part: &[Triangle], look: &Look, size: [usize; 2]) -> Vec<u8> {
    let [width, height] = size.map(|n| n * SAMPLES);
    let room = 1.0 - 2.0 * MARGIN;
    let scale = (room * width as f64 / look.camera.extent[0])
        .min(room * height as f64 / look.camera.extent[1]);
    let mut canvas = Canvas { width, height, scale, samples: vec![NOTHING; width * height] };
    for (triangle, tone) in part.iter().zip(&look.tones) {
        canvas.fill(triangle, *tone, look);
    }
    canvas.pixels(size)
}

impl Canvas {
    /// Rasters one triangle into the depth buffer.
    fn fill(&mut self, triangle: &Triangle, tone: V3, look: &Look) {
        let camera = &look.camera;
        let corners = triangle.map(|p| {
            let [x, y, z] = camera.seen(p);
            let px = (x - camera.middle[0]) * self.scale + 0.5 * self.width as f64;
            let py = 0.5 * self.height as f64 - (y - camera.middle[1]) * self.scale;
            [px, py, z]
        });
        let world = unit(cross(sub(triangle[1], triangle[0]), sub(triangle[2], triangle[0])));
        let normal = camera.seen(world);
        let [a, b, c] = corners;
        let doubled = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        if doubled == 0.0 {
            return;
        }
        let span = |k: usize, most: usize| {
            let low = corners.iter().map(|p| p[k]).fold(f64::INFINITY, f64::min);
            let high = corners.iter().map(|p| p[k]).fold(f64::NEG_INFINITY, f64::max);
            (low.floor().max(0.0) as usize, (high.ceil().max(0.0) as usize).min(most))
        };
        let ((x0, x1), (y0, y1)) = (span(0, self.width), span(1, self.height));
        for y in y0..y1 {
            for x in x0..x1 {
                let (px, py) = (x as f64 + 0.5, y as f64 + 0.5);
                let u = ((px - a[0]) * (c[1] - a[1]) - (py - a[1]) * (c[0] - a[0])) / doubled;
                let v = ((b[0] - a[0]) * (py - a[1]) - (b[1] - a[1]) * (px - a[0])) / doubled;
                if u < 0.0 || v < 0.0 || u + v > 1.0 {
                    continue;
                }
                let depth = a[2] + u * (b[2] - a[2]) + v * (c[2] - a[2]);
                let sample = &mut self.samples[y * self.width + x];
                if depth <= sample.depth {
                    continue;
                }
                let weights = [1.0 - u - v, u, v];
                let place =
                    [0, 1, 2].map(|k| (0..3).map(|i| weights[i] * triangle[i][k]).sum::<f64>());
                if !look.cut.takes(place) {
                    *sample = Sample { depth, normal, tone, is_section: normal[2] < 0.0 };
                }
            }
        }
    }

    /// Lights the samples and averages them to pixels.
    fn pixels(&self, size: [usize; 2]) -> Vec<u8> {
        let mut pixels = Vec::with_capacity(3 * size[0] * size[1]);
        for y in 0..size[1] {
            for x in 0..size[0] {
                let mut sum = [0.0; 3];
                for s in 0..SAMPLES * SAMPLES {
                    let (sx, sy) = (x * SAMPLES + s % SAMPLES, y * SAMPLES + s / SAMPLES);
                    let lit = self.lit(sx, sy);
                    (0..3).for_each(|k| sum[k] += lit[k]);
                }
                let mean = sum.map(|c| c / (SAMPLES * SAMPLES) as f64);
                // Light is added as it is and shown with a screen's gamma.
                pixels.extend(mean.map(|c| (c.clamp(0.0, 1.0).powf(1.0 / 2.2) * 255.0) as u8));
            }
        }
        pixels
    }

    fn lit(&self, x: usize, y: usize) -> V3 {
        let sample = self.samples[y * self.width + x];
        if sample.depth == f64::NEG_INFINITY {
            return PAPER;
        }
        let linear = sample.tone.map(|c| c.powf(2.2));
        if sample.is_section {
            // The solid's inside: a flat face in a light tint of its tone.
            let edge = if self.is_section_edge(x, y) { 0.35 } else { 1.0 };
            return linear.map(|c| edge * (0.62 * c + 0.30));
        }
        let facing = sample.normal;
        let light: f64 = LIGHTS.iter().map(|&(from, s)| s * dot(facing, unit(from)).max(0.0)).sum();
        let half = unit([-0.25, 0.36, 0.9]);
        let gloss = 0.10 * dot(facing, half).max(0.0).powi(40);
        let open = self.openness(x, y, sample.depth);
        linear.map(|c| open * (c * (AMBIENT + 1.25 * light)) + gloss)
    }

    /// Whether the section face ends beside this sample.
    fn is_section_edge(&self, x: usize, y: usize) -> bool {
        let reach = SAMPLES as isize;
        [(reach, 0), (-reach, 0), (0, reach), (0, -reach)]
            .into_iter()
            .any(|(dx, dy)| self.at(x as isize + dx, y as isize + dy).is_none_or(|s| !s.is_section))
    }

    /// How little of the surroundings stands in front: 1 in the open, less in a
    /// hollow (ambient occlusion from the depth buffer).
    fn openness(&self, x: usize, y: usize, depth: f64) -> f64 {
        let mut hidden = 0.0;
        let mut weight = 0.0;
        for ring in [1.0, 2.2, 4.0] {
            for step in 0..12 {
                let turn = f64::from(step) * std::f64::consts::TAU / 12.0 + ring;
                let (dx, dy) = (turn.cos() * ring * self.scale, turn.sin() * ring * self.scale);
                let other = self.at(x as isize + dx as isize, y as isize + dy as isize);
                let rise = other.map_or(0.0, |s| if s.is_section { 0.0 } else { s.depth - depth });
                weight += 1.0;
                // A steep rise shuts out light; a far one is another part.
                hidden += (rise / ring - 0.6).clamp(0.0, 1.0) * f64::from(rise < 14.0);
            }
        }
        1.0 - 0.75 * hidden / weight
    }

    fn at(&self, x: isize, y: isize) -> Option<&Sample> {
        let inside =
            (0..self.width as isize).contains(&x) && (0..self.height as isize).contains(&y);
        inside.then(|| &self.samples[y as usize * self.width + x as usize])
    }
}
