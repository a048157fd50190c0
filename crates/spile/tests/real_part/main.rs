//! The prover's truth on a part of a real scan: spile's own result is held, and
//! what is made of it by tampering, lying or naive smoothing is broken.
//!
//! The part is that of `tests/real/trachea-cut.toml`, made once for all tests; the
//! smallest sabotage is tried on the demo's, too.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod attacks;
mod made;
mod narrower;
mod narrowing;
mod sabotage;
mod tight;
