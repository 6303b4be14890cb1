//! `page`: a bench page in the browser.

use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener};
use std::path::PathBuf;

use crate::args::whole;
use crate::bench_page::answer::Backend;
use crate::bench_page::files::Folder;
use crate::bench_page::guard::Guard;
use crate::bench_page::server;
use crate::error::CliError;
use crate::input::library_with;
use crate::output::Streams;
use crate::profile::Profile;
use crate::save::refusal;
use crate::stop::Stop;
use barwright_answer::live::LiveEngine;
use barwright_answer::{Engine, Fault};

/// Where the page is served unless asked otherwise: this computer only.
const HERE: IpAddr = IpAddr::V4(Ipv4Addr::LOCALHOST);

/// Arguments of `page`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
The address printed holds a key: whoever has it can use the page and the formula files of the folder while it runs.
Nothing is fetched from the network, and nothing leaves this computer. Ctrl-C ends it.

Examples:
  barwright page
  barwright page --folder formulas --port 8520
  barwright --profile bench page --folder formulas      # with your deliveries and what your bars taught")]
pub struct Args {
    /// Folder whose formula files (.toml) can be opened and saved; nothing outside it is touched
    #[arg(long, value_name = "FOLDER", default_value = ".")]
    pub folder: PathBuf,
    /// Port of the address; 0 takes a free one
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = whole::<u16>(0..=u64::from(u16::MAX)))]
    pub port: u16,
    /// Serve at an address other than this computer's own: anyone who can reach it and has the key can use the page
    #[arg(long, value_name = "ADDR", default_value_t = HERE, hide_default_value = true)]
    pub listen: IpAddr,
}

/// Runs the subcommand: prints the address and serves until it is told to stop.
pub fn run(args: &Args, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let lots = library_with(profile.lots(None).as_deref())?;
    if !lots.faults.is_empty() {
        return Err(CliError::input(lots.faults));
    }
    for note in &lots.notes {
        streams.remarks.note(note)?;
    }
    let engine = Engine { library: lots.library, model: profile.model(streams)? };
    let folder = Folder::open(&args.folder)?;
    let wanted = SocketAddr::new(args.listen, args.port);
    let listener = TcpListener::bind(wanted).map_err(|error| taken(wanted, &error))?;
    let address = listener.local_addr().map_err(|error| server::no_network(&error))?;
    let (guard, token) = Guard::new(address)?;
    let stop = Stop::listen()?;
    streams.data.line(&format!("http://{address}/?token={token}"))?;
    streams.data.flush()?;
    streams.remarks.note(&format!("formula files are those of {}; Ctrl-C ends the page", folder.shown()))?;
    if !address.ip().is_loopback() {
        streams.remarks.note(&format!(
            "warning: {} is not this computer's own address: whoever reaches it and has the key can read and change these \
             files, and the key is not encrypted on its way",
            address.ip()
        ))?;
    }
    server::serve(listener, guard, &Backend { live: LiveEngine::new(&engine), folder }, &stop)
}

/// Says why the address cannot be used.
fn taken(address: SocketAddr, error: &std::io::Error) -> CliError {
    if refusal::is_too_many_open(error) {
        return server::no_network(error);
    }
    Fault::new("address", format!("`{address}` cannot be used: {error}"))
        .hint("Take another port with `--port`, or leave it out to have a free one.")
        .into()
}
