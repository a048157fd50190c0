//! What goes as bytes and not as JSON. These types are for the description alone.

use utoipa::ToSchema;

/// A triangle surface, low byte first: `SPLM`; as `u32` the counts of points and of
/// triangles, and 1 where regions follow, else 0; three `f32` a point; three `u32` a
/// triangle, its points from 0; one byte a triangle for its region, if they follow: 0 scan
/// as it was, 1 replaced scan, 2 joint, 3 fitting, 4 end face, 5 made wall. Lengths are in
/// the case's unit.
#[derive(Debug, ToSchema)]
#[schema(value_type = String, format = Binary)]
pub struct SurfaceBytes(pub Vec<u8>);

/// One `f32` for each point of the part's surface, low byte first, not a number where there
/// is no value. In the case's unit.
#[derive(Debug, ToSchema)]
#[schema(value_type = String, format = Binary)]
pub struct MapBytes(pub Vec<u8>);

/// Pairs of points, each a stretch of the outline: three `f32` a point, low byte first.
#[derive(Debug, ToSchema)]
#[schema(value_type = String, format = Binary)]
pub struct OutlineBytes(pub Vec<u8>);

/// A file's own bytes.
#[derive(Debug, ToSchema)]
#[schema(value_type = String, format = Binary)]
pub struct AnyFile(pub Vec<u8>);

/// Numbers of triangles as the scan counts them, from 0, rising: one `u32` each, low byte
/// first.
#[derive(Debug, ToSchema)]
#[schema(value_type = String, format = Binary)]
pub struct TrianglesBytes(pub Vec<u8>);
