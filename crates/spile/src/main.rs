//! The spile command.
fn main() {}
