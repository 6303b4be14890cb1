//! The command `barwright`: arguments in, tables or JSON out. It holds no model.

mod args;
mod basis;
mod bench_page;
mod colour;
mod commands;
mod complain;
mod error;
mod excerpt;
mod firmness;
mod input;
mod kept;
mod mould;
mod output;
mod page;
mod places;
mod plot;
mod profile;
mod progress;
mod render;
mod run;
mod space;
mod stop;
mod threads;
mod today;
mod visible;

fn main() -> std::process::ExitCode {
    run::run()
}
