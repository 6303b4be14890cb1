//! Pictures: each is described once (`chart.rs`), laid out on paper or in letters (`sheet.rs`), and drawn as SVG, PNG or text.

mod chart;
pub mod cooling;
pub mod curves;
mod dash;
mod letters;
pub mod measured;
mod paint;
pub mod parcel;
mod sheet;
pub mod trade_offs;

pub use chart::Picture;
pub use letters::text;
pub use paint::{png, svg, svg_file};
