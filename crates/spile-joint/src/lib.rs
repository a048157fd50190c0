//! The job: from a scan with open ends to a closed part, one module a step.

mod make;

pub use make::{Conflict, Made, MakeError, Unwatched, Watch, make};
