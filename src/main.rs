//! The program: standard streams and Ctrl-C, and nothing else; see `cli`.

use std::io;
use std::process::ExitCode;

use cornerbook::cli;
use cornerbook::job::Context;

fn main() -> ExitCode {
    let context = Context::new();
    let on_interrupt = context.clone();
    // Without a handler Ctrl-C still ends the program, only less tidily; that is no reason not to run.
    let _ = ctrlc::set_handler(move || on_interrupt.cancel());
    let code = cli::run(std::env::args_os(), &mut io::stdout().lock(), &mut io::stderr(), &context);
    ExitCode::from(code)
}
