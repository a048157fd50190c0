//! Set-up, tests, benches and pictures.
fn main() {}
