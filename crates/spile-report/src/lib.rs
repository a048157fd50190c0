//! From a proof to something that can be handed over: pictures drawn off screen and a
//! page in one file.
//!
//! Nothing here measures or judges: every figure comes from `spile-proof`. Nothing
//! depends on clock, host or place, so that the same proof gives the same bytes.

pub mod chart;
pub mod colour;
mod comparison;
mod contents;
pub mod document;
mod evidence;
mod html;
mod limits_told;
mod maps;
mod measures_told;
pub mod number;
pub mod picture;
mod records_told;
mod revisions;
pub mod section_drawing;
mod turnable;
pub mod views;

pub use comparison::{Apart, Comparison, comparison};
pub use contents::{Detail, Turned, document};
pub use document::Document;
pub use evidence::{Evidence, FileRecord};
pub use html::html;
pub use revisions::{EndChanged, LimitPair, Parts, Revisions, revisions};
pub use turnable::{EndTold, MapTold, PlaceTold, RegionTold, Turnable};
