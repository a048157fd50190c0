//! Measures and judges a part against its case.
//!
//! Everything here starts from three things alone: the scan as it was read,
//! the part as it will be written, and the settled case. Nothing of what made
//! the part is known or called; bore and outside are told apart anew
//! ([`labels`]), and a settled case is taken as a claim to be checked.
//!
//! [`judge`] gives the whole [`Proof`]; each limit has a module of its own.

pub mod bore_loss;
pub mod centreline;
pub mod flow_section;
pub mod inscribed;
mod labels;
mod proof;
pub mod stations;

pub use labels::{Fate, FittingFrame, Labelled, LabelledEnd, Plane, Region, Side};
pub use proof::{
    Changed, Conflict, EndStations, LimitResult, MendRecord, PartFigures, Proof, ProofError,
    Station, Verdict, Wanted, judge,
};
