//! The job: from a scan with open ends to a closed part, one module a step.

mod cap;
mod make;
mod offset;

pub use cap::{CapError, fill_ring};
pub use make::{Conflict, Made, MakeError, Unwatched, Watch, make};
pub use offset::{OffsetError, OffsetOptions, Thickness, made_wall};
