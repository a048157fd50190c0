//! The page's files, as they were built into the binary.

use std::sync::LazyLock;

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use rust_embed::RustEmbed;
use sha2::{Digest as _, Sha256};

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

/// The script by which a report's reader turns the part, bordered so that it can stand in
/// a page of well-formed XML; none if the page was not built before this binary was.
pub fn turning_script() -> Option<String> {
    let found = Files::get("report.js")?;
    String::from_utf8(found.data.into_owned()).ok()
}

/// The same as a content-security policy names it.
pub(crate) fn turning_script_hash() -> Option<&'static str> {
    static HASH: LazyLock<Option<String>> = LazyLock::new(|| {
        let script = turning_script()?;
        Some(format!("'sha256-{}'", BASE64_STANDARD.encode(Sha256::digest(script))))
    });
    HASH.as_deref()
}
