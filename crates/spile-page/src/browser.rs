//! The browser of whoever sits at the machine.

/// Opens the address in the browser, if there is a screen to show one on; whether one
/// comes up is not known, so the address is to be printed all the same.
pub fn show(address: &str) {
    let has_screen = !cfg!(all(unix, not(target_os = "macos")))
        || ["DISPLAY", "WAYLAND_DISPLAY"].iter().any(|v| std::env::var_os(v).is_some());
    if has_screen {
        let _ = open::that_detached(address);
    }
}
