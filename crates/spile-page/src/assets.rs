//! The page's files, as they were built into the binary.

use rust_embed::RustEmbed;

/// What Vite leaves in `web/dist`.
#[derive(RustEmbed)]
#[folder = "web/dist"]
struct Files;

/// Whether the page was built before this binary was.
pub fn is_built() -> bool {
    Files::get("index.html").is_some()
}

/// A file of the page and its media type.
pub(crate) fn file(name: &str) -> Option<(Vec<u8>, &'static str)> {
    let kind = match name.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        _ => return None,
    };
    let found = Files::get(name)?;
    Some((found.data.into_owned(), kind))
}
