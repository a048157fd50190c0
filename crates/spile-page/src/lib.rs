//! The page in the browser: a server on this machine, and what it shows.
//!
//! [`serve`] is the whole of it. What the job is, the page knows only by the trait
//! [`Job`]; the `spile` command gives it one that does what its own commands do. All
//! that a browser shows is in one [`Session`] here, so that reloading loses nothing and
//! two windows show the same.
//!
//! The address holds a random token and everything below it; see [`app`] for what is
//! answered and `guard` for who is.

mod assets;
mod browser;
mod edit;
mod folder;
mod geometry;
mod guard;
mod hand_over;
mod job;
mod keep;
mod look;
pub mod messages;
mod reach;
mod routes;
mod run;
mod serve;
mod session;
mod shown;
mod surface;

pub use assets::{is_built, turning_script};
pub use browser::show;
pub use folder::{Folder, staged_in};
pub use job::{Job, Loaded, Looked, MendedScan, Write};
pub use routes::{Limits, app, description};
pub use serve::{Options, ServeError, serve};
pub use session::{Session, Start};
