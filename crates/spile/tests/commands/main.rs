//! The commands, from outside: exit code, standard output, standard error and
//! the files they leave, as a user or a script sees them.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod aligned;
mod bad_input;
mod case_mistakes;
mod compare;
mod compare_folders;
mod cones;
mod examine;
mod first_article;
mod fittings;
mod found;
mod help;
mod led;
mod narrow_rim;
mod prove;
mod real_cases;
mod recomputed;
mod report;
mod shapes;
mod support;
mod whole_job;
