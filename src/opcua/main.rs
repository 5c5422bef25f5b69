//! Hands the arguments to [`tallyjaw::cli::opcua`] and turns its answer into an exit code.

fn main() -> std::process::ExitCode {
    tallyjaw::cli::opcua(std::env::args_os())
}
