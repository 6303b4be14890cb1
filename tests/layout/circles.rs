//! No file of a crate uses another that, through whatever others, uses it: what a file knows can be read from the top down.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use petgraph::algo::kosaraju_scc;
use petgraph::graphmap::DiGraphMap;

use crate::uses;

/// The root file of every crate, by the name of its folder.
fn roots() -> BTreeMap<String, PathBuf> {
    let crates = Path::new(env!("CARGO_MANIFEST_DIR")).join("crates");
    let folders = fs::read_dir(crates).unwrap().map(|entry| entry.unwrap().path());
    let root = |folder: PathBuf| {
        let name = folder.file_name()?.to_str()?.to_owned();
        let file = ["src/lib.rs", "main.rs"].map(|file| folder.join(file)).into_iter().find(|file| file.exists())?;
        Some((name, file))
    };
    folders.filter_map(root).collect()
}

#[test]
fn no_files_use_each_other_in_a_circle() {
    let roots = roots();
    assert!(roots.len() >= 10, "{roots:?}");
    let (mut found, mut files) = (Vec::new(), 0);
    for (name, root) in &roots {
        let used = uses::of_crate(root);
        files += used.len();
        let names: Vec<(String, String)> = (used.iter())
            .flat_map(|(module, others)| others.iter().map(move |other| (module.join("::"), other.join("::"))))
            .collect();
        let graph: DiGraphMap<&str, ()> = names.iter().map(|(from, to)| (from.as_str(), to.as_str())).collect();
        let circles = kosaraju_scc(&graph).into_iter().filter(|circle| circle.len() > 1);
        found.extend(circles.map(|circle| format!("{name}: {circle:?}")));
    }
    assert!(files > 200, "{files}");
    assert!(found.is_empty(), "{found:#?}");
}
