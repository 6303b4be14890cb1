//! Nothing: the benches are all there is. See `README.md`.
