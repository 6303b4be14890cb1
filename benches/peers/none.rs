//! Nothing: this package holds benches only.
