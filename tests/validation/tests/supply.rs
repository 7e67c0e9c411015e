//! Whose code is in the program: listed, licensed, without a network.

use std::fs;
use std::path::Path;

use serde_json::Value;
use validation::dependencies::{PLACE, WHY, direct, linked, metadata, page};
use validation::root;

#[test]
fn every_crate_that_we_name_is_listed_with_its_reason() {
    let root = root();
    let listed = fs::read_to_string(root.join(PLACE)).expect("the page is there");
    let named = direct(&metadata(&root));
    assert!(named.len() > 25, "something was read");
    for name in &named {
        let row = listed.lines().find(|line| line.starts_with(&format!("| {name} | ")));
        let row = row.unwrap_or_else(|| panic!("{name} is not listed"));
        assert!(!row.contains("no reason written"), "{name}");
    }
    for (name, _) in WHY {
        assert!(named.contains(name), "{name} has a reason and is not used");
    }
}

#[test]
fn the_page_of_dependencies_is_what_cargo_says() {
    let root = root();
    let listed = fs::read_to_string(root.join(PLACE)).expect("the page is there");
    assert!(listed == page(&root), "`cargo run --release -p validation` writes it anew");
}

#[test]
fn unsafe_code_is_forbidden_in_every_crate_of_ours() {
    let root = root();
    let workspace = fs::read_to_string(root.join("Cargo.toml")).expect("the manifest is there");
    assert!(workspace.contains("\nunsafe_code = \"forbid\"\n"));
    let metadata = metadata(&root);
    let members: Vec<&str> = metadata["workspace_members"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    let mut looked_at = 0;
    for package in metadata["packages"].as_array().expect("a list") {
        if members.contains(&package["id"].as_str().expect("an id")) {
            let path = package["manifest_path"].as_str().expect("a path");
            let manifest = fs::read_to_string(Path::new(path)).expect("readable");
            assert!(manifest.contains("[lints]\nworkspace = true"), "{}", package["name"]);
            looked_at += 1;
        }
    }
    assert!(looked_at >= 12, "every crate was looked at: {looked_at}");
}

/// Whether some licences joined by AND and OR are all on a list.
fn is_allowed(licence: &str, allowed: &[String]) -> bool {
    let licence = licence.replace('/', " OR ").replace(['(', ')'], "");
    // AND binds what OR offers: each side of AND needs one that is allowed.
    licence
        .split(" AND ")
        .all(|side| side.split(" OR ").any(|one| allowed.iter().any(|word| word == one.trim())))
}

#[test]
fn every_licence_in_the_program_is_on_the_list() {
    let root = root();
    let text = fs::read_to_string(root.join("deny.toml")).expect("the list is there");
    let list: toml::Table = toml::from_str(&text).expect("TOML");
    let allowed: Vec<String> = list["licenses"]["allow"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|word| word.as_str().map(ToOwned::to_owned))
        .collect();
    let linked = linked(&metadata(&root));
    assert!(linked.len() > 60, "something was read: {}", linked.len());
    for one in linked {
        assert!(
            is_allowed(&one.licence, &allowed),
            "{} {}: {}",
            one.name,
            one.version,
            one.licence
        );
    }
    assert!(!is_allowed("GPL-3.0", &allowed) && !is_allowed("MIT AND GPL-3.0", &allowed));
}

#[test]
fn nothing_in_the_program_speaks_to_a_network() {
    // Common practice, no source: what a crate with sockets would bring.
    const SOCKETS: [&str; 14] = [
        "async-std",
        "curl",
        "h2",
        "hyper",
        "mio",
        "native-tls",
        "openssl",
        "quinn",
        "reqwest",
        "rustls",
        "socket2",
        "tokio",
        "tungstenite",
        "ureq",
    ];
    let root = root();
    for one in linked(&metadata(&root)) {
        assert!(!SOCKETS.contains(&one.name.as_str()), "{}", one.name);
    }
    for folder in ["crates", "cli"] {
        let mut open = vec![root.join(folder)];
        while let Some(at) = open.pop() {
            for entry in fs::read_dir(at).expect("readable") {
                let path = entry.expect("readable").path();
                if path.is_dir() {
                    open.push(path);
                } else if path.extension().is_some_and(|ending| ending == "rs") {
                    let text = fs::read_to_string(&path).expect("readable");
                    assert!(!text.contains("std::net"), "{}", path.display());
                }
            }
        }
    }
}
