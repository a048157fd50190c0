//! Builds the crate anew when the page's assets have been.

fn main() {
    println!("cargo:rerun-if-changed=web/dist");
}
