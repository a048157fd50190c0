//! The server, asked as the page, scripts and strangers ask it.

mod security;
mod steering;
mod support;
mod types;
