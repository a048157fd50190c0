//! `new`.

use crate::answer::Answer;
use crate::args::NewArgs;
use crate::failure::Failure;

/// Placeholder until its kernel part lands.
pub(crate) fn new(args: &NewArgs) -> Result<Answer, Failure> {
    let _ = args;
    Err(Failure::new("not in this version"))
}
