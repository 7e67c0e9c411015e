//! `docs/dependencies.md`: whose code is in the program, and why.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// Where it lies in the repository.
pub const PLACE: &str = "docs/dependencies.md";

/// What each crate named in a manifest of ours is there for.
pub const WHY: [(&str, &str); 39] = [
    ("clap", "command line"),
    ("csv", "tables of holes, manifests, results"),
    ("dejavu", "the font of the theatre page, as a declared dependency"),
    ("dicom-core", "types of DICOM elements"),
    ("dicom-dictionary-std", "names of DICOM elements"),
    ("dicom-object", "writes phantoms as DICOM; a second reader in tests"),
    ("dicom-pixeldata", "tests only: a second decoder"),
    ("divan", "benches only"),
    ("flate2", "deflated DICOM, gzip, NIfTI"),
    ("getrandom", "a key for a cohort's names, from the operating system"),
    ("hayro-jpeg2000", "JPEG 2000 slices, in Rust"),
    ("image", "PNG pictures in the report"),
    ("indicatif", "progress on a terminal"),
    ("isosurface", "the minimiser of the sharp-feature surface"),
    ("jpeg-decoder", "lossless JPEG slices, in Rust"),
    ("krilla", "the theatre page as PDF"),
    ("skrifa", "how wide text of the theatre page is"),
    ("libm", "the error function"),
    ("maud", "HTML that is escaped by default"),
    ("nalgebra", "small matrices: fits, registration, load"),
    ("ndarray", "arrays of voxels"),
    ("parquet", "tables of a cohort"),
    ("proptest", "tests only: drawn inputs"),
    ("pure_jpegls", "JPEG-LS slices, in Rust"),
    ("rand_chacha", "seeded draws, the same on every machine"),
    ("rayon", "all cores"),
    ("rustix", "exchange of folders, locks, a child's end with its parent"),
    ("schemars", "JSON Schemas of plan and report"),
    ("serde", "plan, report and recipe to and from text"),
    ("serde_json", "JSON"),
    ("sha2", "digests of voxels"),
    ("signal-hook", "ends a command that is interrupted"),
    ("stl_io", "tests only: a second STL reader"),
    ("tar", "archives of slices"),
    ("tempfile", "folders in the making"),
    ("thiserror", "error types"),
    ("toml", "plan files and recipes, with line and column"),
    ("walkdir", "folders of slices"),
    ("zip", "archives of slices; 3MF surfaces"),
];

/// What cargo says of the workspace.
///
/// # Panics
///
/// When cargo cannot be run or does not answer in JSON.
pub fn metadata(root: &Path) -> Value {
    let run = Command::new("cargo")
        .args(["metadata", "--format-version", "1", "--offline", "--locked"])
        .args(["--filter-platform", "x86_64-unknown-linux-gnu"])
        .current_dir(root)
        .output()
        .expect("cargo runs");
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    serde_json::from_slice(&run.stdout).expect("JSON")
}

fn text<'a>(value: &'a Value, key: &str) -> &'a str {
    value[key].as_str().unwrap_or_default()
}

fn list<'a>(value: &'a Value, key: &str) -> impl Iterator<Item = &'a Value> {
    value[key].as_array().into_iter().flatten()
}

/// Crates from outside that a manifest of ours names.
pub fn direct(metadata: &Value) -> BTreeSet<String> {
    let ours: BTreeSet<&str> =
        list(metadata, "workspace_members").filter_map(Value::as_str).collect();
    list(metadata, "packages")
        .filter(|package| ours.contains(text(package, "id")))
        .flat_map(|package| list(package, "dependencies"))
        .filter(|dependency| dependency["source"].is_string())
        .map(|dependency| text(dependency, "name").to_owned())
        .collect()
}

/// A crate from outside that is in the program.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Foreign {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
    /// Its licence, as it states it.
    pub licence: String,
    /// Lines that open something unsafe.
    pub unsafe_lines: usize,
    /// Files of C, C++ or assembler that it compiles or links.
    pub foreign_code: bool,
    /// Crates named by ours that bring it.
    pub brought_by: BTreeSet<String>,
}

/// Crates linked into the program, by name and version.
///
/// # Panics
///
/// When the program is not in the workspace.
pub fn linked(metadata: &Value) -> Vec<Foreign> {
    let packages: BTreeMap<&str, &Value> =
        list(metadata, "packages").map(|package| (text(package, "id"), package)).collect();
    let nodes: BTreeMap<&str, &Value> =
        list(&metadata["resolve"], "nodes").map(|node| (text(node, "id"), node)).collect();
    let program = packages
        .values()
        .find(|package| text(package, "name") == "pilothole")
        .expect("the program is in the workspace");
    // Walk from the program; below a crate of others, remember which brought it.
    let mut brought: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    let mut seen: BTreeSet<(&str, Option<&str>)> = BTreeSet::new();
    let mut open = vec![(text(program, "id"), None)];
    while let Some((id, by)) = open.pop() {
        if !seen.insert((id, by)) {
            continue;
        }
        let package = packages[id];
        let by = if package["source"].is_string() {
            let by = by.unwrap_or(text(package, "name"));
            brought.entry(id).or_default().insert(by);
            Some(by)
        } else {
            None
        };
        for dependency in list(nodes[id], "deps").filter(|dependency| is_normal(dependency)) {
            let next = text(dependency, "pkg");
            if !is_macro(packages[next]) {
                open.push((next, by));
            }
        }
    }
    let mut all: Vec<Foreign> = brought
        .into_iter()
        .map(|(id, by)| {
            let package = packages[id];
            let folder = PathBuf::from(text(package, "manifest_path"));
            let folder = folder.parent().map(Path::to_path_buf).unwrap_or_default();
            let (unsafe_lines, compiled) = look_into(&folder);
            let builds = list(package, "dependencies")
                .any(|d| ["cc", "cmake", "bindgen", "pkg-config"].contains(&text(d, "name")));
            Foreign {
                name: text(package, "name").to_owned(),
                version: text(package, "version").to_owned(),
                licence: text(package, "license").to_owned(),
                unsafe_lines,
                foreign_code: builds && compiled,
                brought_by: by.into_iter().map(ToOwned::to_owned).collect(),
            }
        })
        .collect();
    all.sort_by(|a, b| (&a.name, &a.version).cmp(&(&b.name, &b.version)));
    all
}

/// Whether a dependency is part of what runs.
fn is_normal(dependency: &Value) -> bool {
    list(dependency, "dep_kinds").any(|kind| kind["kind"].is_null())
}

/// Whether a crate runs in the compiler only.
fn is_macro(package: &Value) -> bool {
    list(package, "targets")
        .flat_map(|target| list(target, "kind"))
        .any(|kind| kind.as_str() == Some("proc-macro"))
}

/// Lines below `src` that open something unsafe; whether there is foreign code.
fn look_into(folder: &Path) -> (usize, bool) {
    let (mut lines, mut foreign) = (0, false);
    let mut open = vec![folder.to_path_buf()];
    while let Some(at) = open.pop() {
        let entries = std::fs::read_dir(&at).into_iter().flatten().flatten();
        for path in entries.map(|entry| entry.path()) {
            if path.is_dir() {
                open.push(path);
                continue;
            }
            match path.extension().and_then(|ending| ending.to_str()) {
                Some("rs") if path.starts_with(folder.join("src")) => {
                    let text = std::fs::read_to_string(&path).unwrap_or_default();
                    lines += text.lines().filter(|line| opens_unsafe(line)).count();
                }
                Some("c" | "cc" | "cpp" | "S" | "asm") => foreign = true,
                _ => {}
            }
        }
    }
    (lines, foreign)
}

/// Whether a line of Rust opens a block, function, trait or implementation that
/// is unsafe.
fn opens_unsafe(line: &str) -> bool {
    let code = line.split("//").next().unwrap_or_default();
    code.match_indices("unsafe").any(|(at, word)| {
        let after = code[at + word.len()..].trim_start();
        let before = code[..at].chars().next_back();
        before.is_none_or(|c| !c.is_alphanumeric() && c != '_')
            && ["{", "fn", "impl", "trait", "extern"].iter().any(|next| after.starts_with(next))
    })
}

const HEAD: &str = "# Whose code is in the program

Made by `cargo run --release -p validation` from `cargo metadata` and the sources that it names; a test compares it.
Every crate of ours forbids unsafe code, in the workspace's lints and therefore in every manifest that has `lints.workspace = true`; a test holds that.
Nothing opens a connection at run time: no crate here speaks a network protocol, and a test runs the program in a name space without interfaces.
Licences and advisories: `deny.toml`.

## Named by us

| crate | for what |
|---|---|
";

const UNSAFE: &str = "
## Linked into the program, with unsafe code of their own

Counted are lines below `src` that open an unsafe block, function, trait or implementation, whether or not a feature of ours compiles them.
Brought by names the crates above through which it comes; what those are there for is why it is there.

| crate | version | lines | C or assembler | licence | brought by |
|---|---|---|---|---|---|
";

/// The page.
///
/// # Panics
///
/// When cargo cannot be run.
pub fn page(root: &Path) -> String {
    let metadata = metadata(root);
    let why: BTreeMap<&str, &str> = WHY.into_iter().collect();
    let mut page = vec![HEAD.to_owned()];
    for name in direct(&metadata) {
        let reason = why.get(name.as_str()).copied().unwrap_or("no reason written");
        page.push(format!("| {name} | {reason} |\n"));
    }
    page.push(UNSAFE.to_owned());
    let (unsafe_ones, safe): (Vec<Foreign>, Vec<Foreign>) =
        linked(&metadata).into_iter().partition(|one| one.unsafe_lines > 0 || one.foreign_code);
    for one in &unsafe_ones {
        let by: Vec<&str> = one.brought_by.iter().map(String::as_str).collect();
        page.push(format!(
            "| {} | {} | {} | {} | {} | {} |\n",
            one.name,
            one.version,
            one.unsafe_lines,
            if one.foreign_code { "yes" } else { "no" },
            one.licence,
            by.join(", ")
        ));
    }
    let names: Vec<String> =
        safe.iter().map(|one| format!("{} {}", one.name, one.version)).collect();
    page.push(format!(
        "\n## Linked into the program, without unsafe code\n\n{}.\n",
        names.join(", ")
    ));
    page.concat()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unsafe_is_seen_where_it_opens_something() {
        for (line, opens) in [
            ("let x = unsafe { y };", true),
            ("    pub unsafe fn f() {", true),
            ("unsafe impl Send for X {}", true),
            ("#![forbid(unsafe_code)]", false),
            ("// unsafe { not code }", false),
            ("let not_unsafe = 1;", false),
        ] {
            assert_eq!(opens_unsafe(line), opens, "{line}");
        }
    }
}
