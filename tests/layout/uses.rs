//! What the files of one crate use of each other, by their `use` lines and by paths that begin with `crate`, `super` or `self`.
//!
//! A name that a module only passes on (`pub use`) leads to where it is passed on from. What stands in a `#[cfg(test)]` module does not count: tests may look
//! at anything.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::{fs, iter};

use syn::visit::{self, Visit};
use syn::{Attribute, ItemMod, ItemUse, UseTree, Visibility};

/// A module by its path in the crate; the root is empty.
pub type Module = Vec<String>;

/// What every file of a crate uses of its other files.
///
/// # Arguments
/// * `root`: its `lib.rs` or `main.rs`.
pub fn of_crate(root: &Path) -> BTreeMap<Module, BTreeSet<Module>> {
    let files = files(root);
    let seen: BTreeMap<&Module, Seen> = files.iter().map(|(module, file)| (module, Seen::of(module, file))).collect();
    let passed: BTreeMap<(Module, String), Module> = (seen.iter())
        .flat_map(|(module, seen)| {
            seen.passed.iter().map(|(name, path)| (((*module).clone(), name.clone()), path.clone()))
        })
        .collect();
    let of = |module: &Module, seen: &Seen| {
        let found = seen.used.iter().map(|path| owner(path, &files, &passed));
        found.filter(|other| other != module).collect()
    };
    seen.iter().map(|(module, seen)| ((*module).clone(), of(module, seen))).collect()
}

/// Every file of a crate but those of tests.
///
/// # Arguments
/// * `root`: its `lib.rs` or `main.rs`.
pub fn files(root: &Path) -> BTreeMap<Module, syn::File> {
    let mut files = BTreeMap::new();
    collect(root.parent().unwrap(), &Vec::new(), root.file_name().unwrap().to_str().unwrap(), &mut files);
    files
}

/// Reads every file below a folder but those of tests.
fn collect(folder: &Path, module: &Module, root: &str, files: &mut BTreeMap<Module, syn::File>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        let below = |name: &str| module.iter().cloned().chain(iter::once(name.to_owned())).collect::<Module>();
        if path.is_dir() {
            collect(&path, &below(&name), root, files);
        } else if let Some(stem) = name.strip_suffix(".rs").filter(|stem| *stem != "tests") {
            let own = if name == root || stem == "mod" { module.clone() } else { below(stem) };
            files.insert(own, syn::parse_file(&fs::read_to_string(&path).unwrap()).unwrap());
        }
    }
}

/// The file that a path of items leads to.
fn owner(path: &Module, files: &BTreeMap<Module, syn::File>, passed: &BTreeMap<(Module, String), Module>) -> Module {
    let longest = (0..=path.len()).rev().find(|&length| files.contains_key(&path[..length])).unwrap_or(0);
    let module = path[..longest].to_vec();
    let from = path.get(longest).and_then(|name| passed.get(&(module.clone(), name.clone())));
    from.map_or(module, |from| owner(from, files, passed))
}

/// What one file says.
struct Seen {
    module: Module,
    used: BTreeSet<Module>,
    passed: BTreeMap<String, Module>,
}

impl Seen {
    fn of(module: &Module, file: &syn::File) -> Self {
        let mut seen = Seen { module: module.clone(), used: BTreeSet::new(), passed: BTreeMap::new() };
        seen.visit_file(file);
        seen
    }

    /// A path from the root of the crate; `None` for one into another crate.
    fn rooted(&self, path: &[String]) -> Option<Module> {
        let up = path.iter().take_while(|name| *name == "super").count();
        match path.first()?.as_str() {
            "crate" => Some(path[1..].to_vec()),
            "self" => Some([&self.module, &path[1..]].concat()),
            "super" => Some([&self.module[..self.module.len().checked_sub(up)?], &path[up..]].concat()),
            _ => None,
        }
    }
}

/// Every path of a tree of uses, with the name it is used by.
fn leaves(tree: &UseTree, before: &[String]) -> Vec<(Module, String)> {
    let with = |name: String| before.iter().cloned().chain(iter::once(name)).collect::<Module>();
    match tree {
        UseTree::Path(path) => leaves(&path.tree, &with(path.ident.to_string())),
        UseTree::Group(group) => group.items.iter().flat_map(|item| leaves(item, before)).collect(),
        UseTree::Name(name) if name.ident == "self" => {
            vec![(before.to_vec(), before.last().cloned().unwrap_or_default())]
        }
        UseTree::Name(name) => vec![(with(name.ident.to_string()), name.ident.to_string())],
        UseTree::Rename(name) => vec![(with(name.ident.to_string()), name.rename.to_string())],
        UseTree::Glob(_) => vec![(before.to_vec(), String::new())],
    }
}

/// Whether an item is built for tests only.
pub fn is_for_tests(attributes: &[Attribute]) -> bool {
    attributes
        .iter()
        .any(|one| one.path().is_ident("cfg") && one.parse_args::<syn::Path>().is_ok_and(|of| of.is_ident("test")))
}

impl<'a> Visit<'a> for Seen {
    fn visit_item_mod(&mut self, item: &'a ItemMod) {
        if !is_for_tests(&item.attrs) {
            visit::visit_item_mod(self, item);
        }
    }

    fn visit_item_use(&mut self, item: &'a ItemUse) {
        for (path, name) in leaves(&item.tree, &[]) {
            let passes_on = !matches!(item.vis, Visibility::Inherited);
            match self.rooted(&path) {
                Some(full) if !passes_on => drop(self.used.insert(full)),
                Some(full) => drop(self.passed.insert(name, full)),
                // The name of a module below, or of another crate: as the former it is no file of this one.
                None if passes_on => drop(self.passed.insert(name, [&self.module[..], &path[..]].concat())),
                None => {}
            }
        }
    }

    fn visit_path(&mut self, path: &'a syn::Path) {
        let names: Vec<String> = path.segments.iter().map(|one| one.ident.to_string()).collect();
        if names.len() > 1 {
            self.used.extend(self.rooted(&names));
        }
        visit::visit_path(self, path);
    }
}

#[test]
fn uses_are_found_where_they_stand() {
    let file = "
        use crate::a::{One, b::Two as Three};
        use super::c;
        use std::fmt;
        pub use d::Four;
        fn of() -> crate::e::Five { self::f::six() }
        #[cfg(test)]
        mod tests { use crate::g::Seven; }
    ";
    let seen = Seen::of(&vec!["m".to_owned(), "n".to_owned()], &syn::parse_file(file).unwrap());
    let used: Vec<String> = seen.used.iter().map(|path| path.join("::")).collect();
    assert_eq!(used, ["a::One", "a::b::Two", "e::Five", "m::c", "m::n::f::six"]);
    assert_eq!(seen.passed["Four"].join("::"), "m::n::d::Four");
}
