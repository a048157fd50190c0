//! The report of an invented proof: its text, and that it is what a page must be.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod page;
mod scene;
mod turned;
mod types;
