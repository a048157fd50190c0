//! `cargo xtask picture --page`: the page in each of its states, for the guide.

use crate::{Fault, built_spile, page, process, root};

/// Where they go.
const PICTURES: &str = "docs/src/page";

/// Has a browser go through a whole case on the page and draw it.
pub fn page_pictures() -> Result<(), Fault> {
    page::build()?;
    let pictures = root().join(PICTURES);
    std::fs::create_dir_all(&pictures).map_err(|e| format!("{}: {e}", pictures.display()))?;
    process::run(page::in_browser("guide.mjs", &built_spile()?)?.arg(pictures))
}
