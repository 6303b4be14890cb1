//! The command `barwright`: arguments in, tables or JSON out. It holds no model.

mod args;
mod bench_page;
mod colour;
mod command_line;
mod commands;
mod complain;
mod drawing;
mod error;
mod excerpt;
mod input;
mod kept;
mod mould;
mod output;
mod pick;
mod profile;
mod progress;
mod route;
mod run;
mod save;
mod stop;
mod threads;
mod today;

fn main() -> std::process::ExitCode {
    run::run()
}
