//! What must hold for any bytes at all: one function a fuzz target, which
//! panics where it does not. The tests run the same functions on the seeds.

mod files;
mod hostile_mesh;
mod surfaces;

pub use files::{
    read_case, read_obj, read_ply, read_step, read_stl, read_threemf, read_threemf_model,
};
pub use hostile_mesh::hostile_mesh;
pub use surfaces::{mend, remesh, self_intersections};

/// A check of any bytes.
pub type Check = fn(&[u8]);

/// Every target by its name; its seeds lie in the folder of that name.
pub const TARGETS: [(&str, Check); 10] = [
    ("mend", mend),
    ("read_case", read_case),
    ("read_obj", read_obj),
    ("read_ply", read_ply),
    ("read_step", read_step),
    ("read_stl", read_stl),
    ("read_threemf", read_threemf),
    ("read_threemf_model", read_threemf_model),
    ("remesh", remesh),
    ("self_intersections", self_intersections),
];
