//! `examine`.

use crate::answer::Answer;
use crate::args::ExamineArgs;
use crate::failure::Failure;

/// Placeholder until its kernel part lands.
pub(crate) fn examine(args: &ExamineArgs) -> Result<Answer, Failure> {
    let _ = args;
    Err(Failure::new("not in this version"))
}
