//! Pictures of triangle meshes, drawn off screen: parallel projection, a depth
//! buffer, several samples a pixel, and a cut-away whose section faces are filled.
//!
//! The same bytes come out on any number of threads: each band of rows is filled by
//! one thread, triangle by triangle in their order, and pixels do not share sums.

mod camera;
mod light;
mod raster;

use rayon::prelude::*;
use spile_mesh::{DVec3, Mesh};

use crate::colour::{Map, Rgb};

pub use camera::{Camera, CutAway};

/// What gives a surface its colour.
#[derive(Debug, Clone, Copy)]
pub enum Paint<'a> {
    /// One colour a triangle.
    Triangles(&'a [Rgb]),
    /// One number a point, laid between its range's ends and coloured by a map; a
    /// point without a measure has NaN.
    Measure {
        /// The numbers.
        values: &'a [f64],
        /// Which map.
        map: Map,
        /// The numbers at the map's ends.
        range: [f64; 2],
    },
}

/// How the light falls.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shading {
    /// Each triangle by its own plane: facets show.
    Flat,
    /// By normals averaged at points, but for true creases.
    Smooth,
}

/// How a mesh is drawn.
#[derive(Debug, Clone, Copy)]
pub struct Look<'a> {
    /// From where.
    pub camera: Camera,
    /// What is taken away in front, so that the inside is seen.
    pub cut: Option<CutAway>,
    /// Its colours.
    pub paint: Paint<'a>,
    /// How the light falls.
    pub shading: Shading,
    /// Width and height in pixels.
    pub size: [usize; 2],
}

/// A picture: red, green and blue of each pixel, row by row from the top.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    size: [usize; 2],
    pixels: Vec<u8>,
}

/// A mesh with the directions in which it faces, worked out once for all of its pictures.
#[derive(Debug, Clone)]
pub struct Surface<'a> {
    /// The mesh.
    pub mesh: &'a Mesh,
    /// Unit normal of each triangle.
    faces: Vec<DVec3>,
    /// Unit normal at each point, averaged.
    normals: Vec<DVec3>,
}

impl<'a> Surface<'a> {
    /// The surface of a mesh.
    pub fn of(mesh: &'a Mesh) -> Self {
        let face = |t: usize| mesh.area_normal(t).normalize_or_zero();
        let faces = (0..mesh.triangles().len()).into_par_iter().map(face).collect();
        Self { mesh, faces, normals: mesh.point_normals() }
    }
}

/// Draws a surface. A triangle seen from behind is taken for the inside of a solid: it
/// is filled flat, in a light tint, as a section face.
pub fn draw(surface: &Surface, look: &Look) -> Picture {
    let seen = raster::Seen::of(surface.mesh, look);
    Picture { size: look.size, pixels: light::pixels(surface, look, &seen) }
}

impl Picture {
    /// Width and height in pixels.
    pub fn size(&self) -> [usize; 2] {
        self.size
    }

    /// The pixels.
    pub fn pixels(&self) -> &[u8] {
        &self.pixels
    }

    /// Draws a dark ring with a white border round the place where `camera` sees `at`.
    pub fn ring(&mut self, camera: &Camera, at: DVec3) {
        let radius = 0.018 * self.size[0] as f64;
        let line = 0.0022 * self.size[0] as f64;
        let [x0, y0, _] = camera.on_screen(at, self.size);
        let [width, height] = self.size;
        for y in 0..height {
            for x in 0..width {
                let (dx, dy) = (x as f64 + 0.5 - x0, y as f64 + 0.5 - y0);
                let off = ((dx * dx + dy * dy).sqrt() - radius).abs();
                // One pixel of transition at either border.
                let white = (2.2 * line - off + 0.5).clamp(0.0, 1.0);
                let dark = (line - off + 0.5).clamp(0.0, 1.0);
                if white > 0.0 {
                    let at = 3 * (y * width + x);
                    for channel in &mut self.pixels[at..at + 3] {
                        let under = f64::from(*channel) * (1.0 - white) + 255.0 * white;
                        *channel = (under * (1.0 - dark) + 20.0 * dark).round() as u8;
                    }
                }
            }
        }
    }

    /// The picture as a PNG file.
    ///
    /// # Errors
    /// The picture is larger than PNG can say.
    pub fn png(&self) -> Result<Vec<u8>, png::EncodingError> {
        let [width, height] = self.size.map(|n| u32::try_from(n).unwrap_or(u32::MAX));
        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, width, height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_compression(png::Compression::Balanced);
        encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&self.pixels)?;
        writer.finish()?;
        Ok(file)
    }
}
