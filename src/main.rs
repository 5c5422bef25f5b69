//! Hands the arguments to [`tallyjaw::cli`] and turns its answer into an exit code.

fn main() -> std::process::ExitCode {
    tallyjaw::cli::main(std::env::args_os())
}
