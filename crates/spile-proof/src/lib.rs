//! Measures and judges a part against its case.
//!
//! Everything here starts from three things alone: the scan as it was read,
//! the part as it will be written, and the settled case. Nothing of what made
//! the part is known or called; bore and outside are told apart anew
//! ([`labels`]), and a settled case is taken as a claim to be checked.
//!
//! [`judge`] gives the whole [`Proof`]; each limit has a module of its own.

mod align_asked;
mod as_asked;
pub mod ball;
mod border;
pub mod bore_loss;
pub mod centreline;
mod claim;
mod clear;
mod clip;
mod closed;
mod conflicts;
mod cut_loops;
mod deviation;
mod edges;
mod end_face;
mod exact_surface;
mod figures;
mod fitting;
mod fitting_exact;
mod fitting_find;
mod fitting_mesh;
mod fitting_shape;
mod fitting_standard;
mod flow_limits;
pub mod flow_section;
mod folds;
mod found_asked;
mod identity;
pub mod inscribed;
mod judge;
mod kink;
mod labels;
pub mod measures;
mod mends;
mod outliers;
mod part_labels;
mod part_view;
mod polyline;
mod proof;
mod scan_view;
mod seam;
mod seams;
mod station_asked;
pub mod stations;
mod stop;
mod unit;
mod untouched;
pub mod wall;
mod wall_limit;

pub use align_asked::{Residual, residual};
pub use as_asked::judge_as_asked;
pub use claim::{Claim, Look};
pub use fitting_exact::exact_faces_off;
pub use fitting_shape::SideRun;
pub use judge::judge;
pub use labels::{Fate, Fault, FittingFrame, Labelled, LabelledEnd, Plane, Region, Side};
pub use part_labels::{PartLabel, PartLabels};
pub use proof::{
    Changed, Conflict, EndStations, KnownBy, LimitResult, MendRecord, PartFigures, Proof,
    ProofError, Station, Verdict, Wanted, WantedValue,
};
pub use unit::add_unit;
