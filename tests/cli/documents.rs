//! The documents: every link between them leads somewhere, and nowhere outside this repository.

use std::path::{Component, Path, PathBuf};

use pulldown_cmark::{Event, Parser, Tag};

/// Folders of the work tree that hold no document of ours.
const NOT_OURS: [&str; 3] = ["target", ".git", "node_modules"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file below a folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap());
    entries
        .flat_map(|entry| match entry.file_type().unwrap() {
            kind if kind.is_dir() && NOT_OURS.iter().any(|name| entry.file_name() == *name) => Vec::new(),
            kind if kind.is_dir() => files(&entry.path()),
            _ => vec![entry.path()],
        })
        .collect()
}

/// The documents with their text.
fn documents() -> Vec<(PathBuf, String)> {
    let found = files(root()).into_iter().filter(|path| path.extension().is_some_and(|ending| ending == "md"));
    found.map(|path| (path.clone(), std::fs::read_to_string(path).unwrap())).collect()
}

/// A path without `.` and `..`, as far as the text of it tells.
fn plain(path: &Path) -> PathBuf {
    let mut plain = PathBuf::new();
    for part in path.components() {
        match part {
            Component::ParentDir => drop(plain.pop()),
            Component::CurDir => {}
            other => plain.push(other),
        }
    }
    plain
}

/// What is wrong with a link in a document; `None` when it leads to a file or folder of this repository, or to the network.
fn fault(document: &Path, link: &str) -> Option<&'static str> {
    let (path, _) = link.split_once('#').unwrap_or((link, ""));
    if path.is_empty() || ["https://", "http://", "mailto:"].iter().any(|scheme| path.starts_with(scheme)) {
        return None;
    }
    let target = plain(&document.parent().unwrap().join(path));
    if path.starts_with('/') || !target.starts_with(root()) {
        return Some("leaves the repository");
    }
    (!target.exists()).then_some("leads nowhere")
}

#[test]
fn every_link_leads_to_something_in_the_repository() {
    let documents = documents();
    assert!(documents.len() > 10, "{}", documents.len());
    let mut links = 0;
    for (document, text) in &documents {
        for event in Parser::new(text) {
            let link = match &event {
                Event::Start(Tag::Link { dest_url, .. } | Tag::Image { dest_url, .. }) => dest_url,
                // A file can also be named in passing.
                Event::Code(word) if word.starts_with("../") => word,
                _ => continue,
            };
            links += 1;
            assert_eq!(fault(document, link), None, "{}: {link}", document.display());
        }
    }
    assert!(links > 10, "{links}");
}

#[test]
fn a_link_that_leads_nowhere_or_out_is_seen() {
    let document = root().join("docs/design.md");
    for (link, wanted) in [
        ("../README.md", None),
        ("../data/", None),
        ("#3-words", None),
        ("https://www.iso.org/", None),
        ("../RAEDME.md", Some("leads nowhere")),
        ("../../elsewhere/design.md", Some("leaves the repository")),
        ("/etc/hosts", Some("leaves the repository")),
    ] {
        assert_eq!(fault(&document, link), wanted, "{link}");
    }
}
