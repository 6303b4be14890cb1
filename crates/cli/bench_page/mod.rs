//! The bench page: a small server on this computer's own address, and the page it serves. It holds no model: it reads what the page asks, hands it to the
//! same functions as the subcommands, and answers with the same JSON and the same sentences.

pub mod answer;
pub mod files;
pub mod guard;
pub mod queue;
pub mod reply;
pub mod routes;
pub mod server;
