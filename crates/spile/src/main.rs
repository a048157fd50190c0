//! The spile command.

fn main() -> std::process::ExitCode {
    spile::command_line()
}
