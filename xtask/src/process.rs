//! Running other programs.

use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

use crate::{Fault, root};

/// Runs a command at the top of the repository, or in the folder that it names, with our
/// own output; an exit other than 0 is a fault.
pub fn run(command: &mut Command) -> Result<(), Fault> {
    let shown = shown(command);
    let status = placed(command)
        .stdin(Stdio::null())
        .status()
        .map_err(|e| format!("cannot start {shown}: {e}"))?;
    if status.success() { Ok(()) } else { Err(format!("{shown} ended with {status}")) }
}

fn placed(command: &mut Command) -> &mut Command {
    if command.get_current_dir().is_none() {
        command.current_dir(root());
    }
    command
}

/// Runs cargo, quietly where it has nothing to say.
pub fn cargo(arguments: &[&str]) -> Result<(), Fault> {
    run(Command::new(cargo_path()).args(arguments))
}

/// The cargo that runs us.
pub fn cargo_path() -> std::ffi::OsString {
    std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into())
}

/// What a command said.
pub struct Said {
    /// Whether it ended with exit code 0.
    pub success: bool,
    /// Its exit code, if it ended by itself.
    pub code: Option<i32>,
    /// Its lines, both outputs as they came.
    pub lines: Vec<String>,
}

/// Runs a command, shows its lines as they come, and keeps them.
pub fn run_and_listen(command: &mut Command) -> Result<Said, Fault> {
    listen(command, true)
}

/// Runs a command and keeps its lines without showing them.
pub fn run_silently(command: &mut Command) -> Result<Said, Fault> {
    listen(command, false)
}

fn listen(command: &mut Command, show: bool) -> Result<Said, Fault> {
    let shown = shown(command);
    let mut child = placed(command)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|e| format!("cannot start {shown}: {e}"))?;
    let (send, receive) = mpsc::channel();
    let outputs: [Option<Box<dyn Read + Send>>; 2] = [
        child.stdout.take().map(|o| Box::new(o) as Box<dyn Read + Send>),
        child.stderr.take().map(|o| Box::new(o) as Box<dyn Read + Send>),
    ];
    for output in outputs.into_iter().flatten() {
        let send = send.clone();
        thread::spawn(move || {
            for line in BufReader::new(output).split(b'\n').map_while(Result::ok) {
                if send.send(String::from_utf8_lossy(&line).into_owned()).is_err() {
                    return;
                }
            }
        });
    }
    drop(send);
    let mut lines = Vec::new();
    for line in receive {
        if show {
            println!("{line}");
        }
        lines.push(line);
    }
    let status = child.wait().map_err(|e| format!("cannot wait for {shown}: {e}"))?;
    Ok(Said { success: status.success(), code: status.code(), lines })
}

/// Does `job` for each number below `count`, as many at once as there are processors;
/// what comes of it is in the order of the numbers. Start programs with one thread
/// each (`RAYON_NUM_THREADS`): several at once use the processors better than one after
/// the other, which all have a part that runs alone.
///
/// # Errors
/// A job's fault; jobs that had not begun then are left.
pub fn side_by_side<T: Send>(
    count: usize,
    job: impl Fn(usize) -> Result<T, Fault> + Sync,
) -> Result<Vec<T>, Fault> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            if number >= count {
                return Ok::<_, Fault>(done);
            }
            done.push((number, job(number).inspect_err(|_| next.store(count, Ordering::Relaxed))?));
        }
    };
    let workers = thread::available_parallelism().map_or(1, |n| n.get());
    let mut all = thread::scope(|scope| {
        let running: Vec<_> = (0..workers).map(|_| scope.spawn(work)).collect();
        let mut all = Vec::new();
        for worker in running {
            all.extend(worker.join().map_err(|_| "a worker stopped".to_owned())??);
        }
        Ok::<_, Fault>(all)
    })?;
    all.sort_by_key(|(number, _)| *number);
    Ok(all.into_iter().map(|(_, what)| what).collect())
}

fn shown(command: &Command) -> String {
    let words = std::iter::once(command.get_program()).chain(command.get_args());
    words.map(|w| w.to_string_lossy()).collect::<Vec<_>>().join(" ")
}
