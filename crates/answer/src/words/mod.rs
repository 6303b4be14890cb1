//! Words and numbers as people read them: names, quantities in the units asked for, what a figure rests on.

pub mod basis;
pub mod group;
pub mod names;
pub mod number;
pub mod scale;
pub mod units;
pub mod visible;
