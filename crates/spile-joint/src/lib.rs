//! The job: from a scan with open ends to a closed part, one module a step.

mod align;
mod angles;
mod bore_at;
mod bore_form;
mod bore_side;
mod cap;
mod close;
mod cut;
mod ends;
mod examine;
mod facet;
mod fair;
mod fitting;
mod folds;
mod foreign;
mod least_squares;
mod locate;
mod make;
mod mend;
mod offset;
mod outside;
mod pierce;
mod reach;
mod refine;
mod restore;
mod rings;
mod settle;
mod span;
mod station;
mod surface;
mod walls;
mod work;

pub use align::{Aligned, RigidFit, align, rigid_fit, spread};
pub use bore_at::{BoreAt, bores_at};
pub use cap::{CapError, fill_ring};
pub use examine::{
    Effect, Examination, ExamineOptions, Finding, FindingKind, FoundEnd, SheetExtent, Trace,
    examine,
};
pub use facet::{Facets, exact_circle, facet};
pub use foreign::{FoundRims, RoundRim, round_rims};
pub use make::{Conflict, EdgeGaveWay, JointBends, Made, MakeError, Note, Unwatched, Watch, make};
pub use mend::{MendMade, MendOptions, Mended, Refusal, median_edge, mend};
pub use offset::{OffsetError, OffsetOptions, Thickness, made_wall};
pub use settle::{seam_in_plane, settle};
pub use span::Bending;
pub use walls::WallSide;
