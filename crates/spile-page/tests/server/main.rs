//! The server, asked as the page, scripts and strangers ask it.

#![expect(clippy::unwrap_used, reason = "helpers of tests, too, end a test where something fails")]

mod interface;
mod security;
mod steering;
mod support;
mod types;
