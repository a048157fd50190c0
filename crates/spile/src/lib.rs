//! The spile command, and the parts of it that other programs of this
//! workspace use too.
//!
//! [`command_line`] is the whole program. Each command is a module of
//! `commands`; it gives an answer or a failure and prints nothing itself.

mod answer;
mod args;
mod case_changes;
mod command_line;
mod commands;
pub mod demo;
mod end_places;
mod exit;
mod failure;
mod files;
mod inputs;
mod output;
mod part_files;
mod progress;
mod proof_difference;
mod proof_file;
mod proof_table;
mod refined;
mod report_file;
mod signed_distance;
mod starter;
mod table;
mod times;
mod written;

pub use command_line::command_line;
pub use commands::report_as_pdf;
pub use proof_file::CAUTION;
