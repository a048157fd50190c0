//! `cargo xtask picture`.

use crate::Fault;

/// Draws.
pub fn picture() -> Result<(), Fault> {
    Err("soon".into())
}
