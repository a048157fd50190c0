//! Triangle meshes: storage, connectivity, exact predicates, distance,
//! sections and local remeshing. This crate knows nothing of the job.
//!
//! All lengths are `f64` in one unit that the caller chooses. Nothing here
//! reads or writes a file.

mod boundary;
mod bvh;
mod dense;
mod distance;
mod intersect;
mod mesh;
mod patch;
mod recognise;
mod remesh;
pub mod rounding;
mod section;
#[cfg(test)]
mod shapes;
mod size_field;
mod stop;
pub mod topology;
mod triangle;

pub use boundary::{BoundaryChains, boundary_chains, boundary_loops, pinched_points};
pub use bvh::{Bvh, Closest, Finder, RayHit};
pub use dense::principal_axes;
pub use distance::{
    Bounds, TwoSided, are_within, farthest, farthest_each, hausdorff, lies_within, nearest,
    nearest_each, nearest_from, triangle_distance,
};
pub use glam::DVec3;
pub use intersect::{self_intersections, self_intersections_among, triangles_intersect};
pub use mesh::{Bounds3, Mesh, MeshError, round_to_f32};
pub use patch::{Patch, PatchError, PutBack};
pub use recognise::{
    Circle, Extent, Fit, Recognised, Sample, Shape, StandardErrors, fit, fit_circle, recognise,
};
pub use remesh::{
    GaveWay, Lines, RemeshError, RemeshOptions, Remeshed, edge_shares, least_angles_deg,
    near_boundary, radius_ratios, remesh,
};
pub use section::{Plane, SectionLoop, nesting, section, section_near};
pub use size_field::SizeField;
pub use stop::{NEVER_STOP, StopAsked};
pub use topology::{NONE, SharedEdge, Shells, Topology, VertexTriangles, shells, vertex_triangles};
pub use triangle::{Feature, closest_on_segment};
