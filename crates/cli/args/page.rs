//! Arguments of `page`.

use std::net::{IpAddr, Ipv4Addr};
use std::path::PathBuf;

/// Where the page is served unless asked otherwise: this computer only.
const HERE: IpAddr = IpAddr::V4(Ipv4Addr::LOCALHOST);

/// `page`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
The address printed holds a key: whoever has it can use the page and the formula files of the folder while it runs.
Nothing is fetched from the network, and nothing leaves this computer. Ctrl-C ends it.

Examples:
  barwright page
  barwright page --folder formulas --port 8520
  barwright --profile bench page --folder formulas      # with your deliveries and what your bars taught")]
pub struct Page {
    /// Folder whose formula files (.toml) can be opened and saved; nothing outside it is touched
    #[arg(long, value_name = "FOLDER", default_value = ".")]
    pub folder: PathBuf,
    /// Port of the address; 0 takes a free one
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = super::whole::<u16>(0..=u64::from(u16::MAX)))]
    pub port: u16,
    /// Serve another address than this computer's own: everyone who reaches it and has the key can use the page
    #[arg(long, value_name = "ADDR", default_value_t = HERE, hide_default_value = true)]
    pub listen: IpAddr,
}
