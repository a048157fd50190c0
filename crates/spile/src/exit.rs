//! How a command ends, and the exit code of each way.

use std::panic::PanicHookInfo;
use std::process::ExitCode;
use std::sync::{Arc, Mutex, MutexGuard, Once, PoisonError};

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

/// What one guarded work has heard of panics: the first.
type Heard = Arc<Mutex<Option<Fault>>>;

/// Those that wait for a panic. It may come on any thread, so that each of them hears it;
/// whose work breaks by it is the one that tells.
static LISTENING: Mutex<Vec<Heard>> = Mutex::new(Vec::new());

/// Runs `work`; a panic in it, on any thread that it waits for, comes back as
/// the fault instead of ending the program with a trace. Works may be guarded within each
/// other and beside each other.
pub(crate) fn guarded<T>(work: impl FnOnce() -> T + std::panic::UnwindSafe) -> Result<T, Fault> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            let listening = unpoisoned(&LISTENING);
            if listening.is_empty() {
                drop(listening);
                return before(info);
            }
            for heard in listening.iter() {
                unpoisoned(heard).get_or_insert_with(|| fault_of(info));
            }
        }));
    });
    let own = Heard::default();
    unpoisoned(&LISTENING).push(Arc::clone(&own));
    let result = std::panic::catch_unwind(work);
    let mut listening = unpoisoned(&LISTENING);
    listening.retain(|heard| !Arc::ptr_eq(heard, &own));
    result.map_err(|_| {
        let unknown = || Fault { message: "no message".to_owned(), place: String::new() };
        let fault = unpoisoned(&own).take().unwrap_or_else(unknown);
        // The others have heard it, too, and it is none of theirs.
        for heard in listening.iter() {
            unpoisoned(heard).take_if(|theirs| *theirs == fault);
        }
        fault
    })
}

fn fault_of(info: &PanicHookInfo<'_>) -> Fault {
    let message = info.payload_as_str().unwrap_or("no message").to_owned();
    let place = info.location().map_or_else(String::new, |l| {
        let file = l.file().rsplit(['/', '\\']).next().unwrap_or_default();
        format!("{file}:{}", l.line())
    });
    Fault { message, place }
}

fn unpoisoned<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
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

    #[test]
    fn works_beside_and_within_each_other_tell_their_own_faults() {
        let both = std::sync::Barrier::new(2);
        let planted = |number: u32| {
            guarded(std::panic::AssertUnwindSafe(|| {
                let inner = guarded(|| panic!("within {number}")).expect_err("it panics");
                // Both have begun before either ends.
                both.wait();
                if number == 1 {
                    panic!("after {}", inner.message);
                }
                inner.message
            }))
        };
        let (one, two) = std::thread::scope(|scope| {
            let one = scope.spawn(|| planted(1));
            (planted(2), one.join().expect("it is guarded"))
        });
        assert_eq!(one, Ok("within 2".to_owned()));
        assert_eq!(two.map_err(|fault| fault.message), Err("after within 1".to_owned()));
    }
}
