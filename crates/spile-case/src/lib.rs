//! The case: what the engineer asks for. Plain data that both the making and
//! the proving side read; no geometry is computed here.
//!
//! Lengths are in the case's unit, which is also the scan's; nothing is scaled.

mod types;

pub use types::{
    Ball, Case, Cut, End, Fitting, Form, Inherit, Keep, Limits, Mend, MendKind, Place, Rim, Scan,
    Seam, Site, Unit,
};
