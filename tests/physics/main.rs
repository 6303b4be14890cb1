//! Invariants of the physics, on random blends of the real reference table.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)]

mod bars;
mod equilibrium;
mod figures;
mod invariants;
#[path = "../kit/mod.rs"]
mod kit;
mod sensitivity;

use std::sync::LazyLock;

use barwright_blend::Model;
use barwright_reference::Library;

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().expect("built-in tables are sound"));
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().expect("the built-in model is sound"));
