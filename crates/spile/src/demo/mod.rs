//! The built-in demo: an invented flow-bench airway phantom and its case.
//!
//! Nothing here comes from a person or a scanner. The shape is a formula (see
//! `shape.rs`), and the faults that a scan would have are put on by a seeded
//! generator: uneven and needle triangles, noise, bumps, wobbly rims.

mod grow;
mod march;
mod noise;
mod shape;
mod trim;

use spile_mesh::{DVec3, Mesh};

use shape::{Shape, Wall};

/// The name of the demo's scan file, which [`case_text`] names.
pub const SCAN_NAME: &str = "phantom-invented.stl";

/// What a file of the phantom says of itself.
pub const ORIGIN: &str = "invented flow-bench airway phantom, made by formula; no scan of a person";

/// Grid step of the surface, in millimetres: it sets how coarse the phantom is.
const STEP: f64 = 1.2;

/// Nearer than this to the upper rim's middle, and nearer than [`NEAR_PLAIN`]
/// to the lower rim's, the phantom is never made finer, so that both ends stay
/// the same work; in millimetres along the end's direction.
const NEAR: f64 = 40.0;
const NEAR_PLAIN: f64 = 10.0;

/// The phantom: two walls as two open surfaces in millimetres, about fifty
/// thousand triangles.
///
/// Shape: everywhere manifold, free of self-intersections, consistently
/// oriented with normals out of the wall; two open loops at each end; every
/// coordinate an exact `f32`. The same bytes on every call.
/// Source: ours.
pub fn phantom() -> Mesh {
    let shape = Shape::new();
    let walls = [Wall::Outside, Wall::Bore].map(|wall| {
        let raw = march::surface(&shape, wall, STEP);
        trim::to_rims(&shape, wall, &raw)
    });
    march::together(&walls)
}

/// The phantom with about `triangles` triangles, for benches.
///
/// The surface within 40 mm of the upper end and 10 mm of the lower one is that
/// of [`phantom`], triangle for triangle, so that the same ends have the same
/// work; between them triangles are divided in their own planes, the farthest
/// from both first, until the count is reached. A count below that of the
/// phantom gives the phantom.
pub fn phantom_of_size(triangles: usize) -> Mesh {
    let shape = Shape::new();
    let (upper, lower) = (shape.upper_end(), shape.lower_end());
    let below = |end: shape::LineEnd, p: DVec3| (end.at - p).dot(end.facing);
    grow::to_count(phantom(), triangles, |p| {
        (below(upper, p) - NEAR).min(below(lower, p) - NEAR_PLAIN)
    })
}

/// The demo's case file, with comments for a reader who will edit it.
pub fn case_text() -> &'static str {
    include_str!("phantom.toml")
}

#[cfg(test)]
mod tests;
