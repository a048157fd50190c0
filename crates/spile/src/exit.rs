//! How a command ends, and the exit code of each way.

use std::process::ExitCode;

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ending {
    /// All limits held; or the question was answered.
    Held,
    /// A limit is broken, cannot be held, or cannot be judged.
    Broken,
    /// The input or the case is wrong.
    WrongInput,
    /// A fault of this program.
    InternalFault,
}

impl Ending {
    /// The exit code, the only place where it is decided.
    pub fn code(self) -> u8 {
        match self {
            Ending::Held => 0,
            Ending::Broken => 1,
            Ending::WrongInput => 2,
            Ending::InternalFault => 3,
        }
    }
}

impl From<Ending> for ExitCode {
    fn from(ending: Ending) -> ExitCode {
        ExitCode::from(ending.code())
    }
}

/// What is known of a panic: its message and the place in the source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Fault {
    /// The panic's message.
    pub message: String,
    /// File and line in this program's source.
    pub place: String,
}

/// Runs `work`; a panic in it, on any thread that it waits for, comes back as
/// the fault instead of ending the program with a trace.
pub(crate) fn guarded<T>(work: impl FnOnce() -> T + std::panic::UnwindSafe) -> Result<T, Fault> {
    let first = std::sync::Arc::new(std::sync::Mutex::new(None::<Fault>));
    let seen = std::sync::Arc::clone(&first);
    let before = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        let message = info.payload_as_str().unwrap_or("no message").to_owned();
        let place = info.location().map_or_else(String::new, |l| {
            let file = l.file().rsplit(['/', '\\']).next().unwrap_or_default();
            format!("{file}:{}", l.line())
        });
        if let Ok(mut first) = seen.lock() {
            first.get_or_insert(Fault { message, place });
        }
    }));
    let result = std::panic::catch_unwind(work);
    std::panic::set_hook(before);
    result.map_err(|_| {
        first
            .lock()
            .ok()
            .and_then(|mut f| f.take())
            .unwrap_or_else(|| Fault { message: "no message".to_owned(), place: String::new() })
    })
}

#[cfg(test)]
mod tests {
    use super::{Ending, guarded};

    #[test]
    fn each_ending_has_its_code() {
        // Source: the table of exit codes in the reference and in every `--help`.
        assert_eq!(Ending::Held.code(), 0);
        assert_eq!(Ending::Broken.code(), 1);
        assert_eq!(Ending::WrongInput.code(), 2);
        assert_eq!(Ending::InternalFault.code(), 3);
    }

    #[test]
    fn a_panic_comes_back_as_a_fault_with_its_place() {
        let fault = guarded(|| panic!("planted {}", 7)).expect_err("it panics");
        assert_eq!(fault.message, "planted 7");
        assert!(fault.place.starts_with("exit.rs:"), "{fault:?}");
        assert_eq!(guarded(|| 5), Ok(5));
    }
}
