//! Writes `docs/validation.md`, its pictures, `docs/scans/` and
//! `docs/dependencies.md`, or compares them (`--check`).
//!
//! `--hostile COUNT` tries COUNT broken files of each kind and prints what
//! became of them; `--read scan|plan|manifest FILE` reads one. That is what the
//! test of hostile input runs under limits.
#![expect(clippy::print_stdout, reason = "a program talks to a terminal")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use validation::claims::World;
use validation::{dependencies, drift, hostile, page, real_scans, root, scans};

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [] => write(&documents()),
        ["--check"] => check(&documents()),
        ["--hostile", count] => try_hostile(count),
        ["--read", kind, path] => {
            println!("{}", if hostile::reads(kind, Path::new(path)) { "taken" } else { "refused" });
            ExitCode::SUCCESS
        }
        _ => {
            println!("validation [--check | --hostile COUNT | --read scan|plan|manifest FILE]");
            ExitCode::from(2)
        }
    }
}

/// Every page that is made, by its place.
fn documents() -> Vec<(PathBuf, String)> {
    let root = root();
    let mut world = World::of(&root, real_scans());
    world.told = |title| println!("compared: {title}");
    if world.scans.is_none() {
        println!("skipped: no real scan; their rows and pages are kept as committed");
    }
    let committed = fs::read_to_string(root.join(page::PLACE)).unwrap_or_default();
    let (text, pictures) = page::page(&world, &committed);
    let mut all = vec![(root.join(page::PLACE), text)];
    all.extend(pictures.into_iter().map(|picture| (root.join(picture.place), picture.svg)));
    all.push((root.join(dependencies::PLACE), dependencies::page(&root)));
    let folder = root.join(scans::FOLDER);
    all.extend(scans::pages(&world).into_iter().map(|(name, text)| (folder.join(name), text)));
    all
}

fn write(documents: &[(PathBuf, String)]) -> ExitCode {
    for (place, text) in documents {
        let made = fs::create_dir_all(place.parent().unwrap_or(Path::new("/")))
            .and_then(|()| fs::write(place, text));
        if let Err(error) = made {
            println!("{}: {error}", place.display());
            return ExitCode::FAILURE;
        }
        println!("written: {}", place.display());
    }
    ExitCode::SUCCESS
}

fn check(documents: &[(PathBuf, String)]) -> ExitCode {
    let mut drifted = 0;
    for (place, text) in documents {
        let committed = fs::read_to_string(place).unwrap_or_default();
        let is_picture = place.extension().is_some_and(|ending| ending == "svg");
        // Words and numbers of a picture; where its bars end follows from them.
        let [committed, text] = [&committed, text].map(|all| {
            let kept = all.lines().filter(|line| !is_picture || line.starts_with("<text"));
            kept.collect::<Vec<_>>().join("\n")
        });
        for drift in drift::drifts(&committed, &text) {
            println!("{}: {drift}", place.display());
            drifted += 1;
        }
    }
    if drifted == 0 {
        println!("no drift in {} pages", documents.len());
        ExitCode::SUCCESS
    } else {
        println!("{drifted} lines drifted; `cargo run --release -p validation` writes them anew");
        ExitCode::FAILURE
    }
}

fn try_hostile(count: &str) -> ExitCode {
    let Ok(count) = count.parse() else { return ExitCode::from(2) };
    let all = hostile::try_all(count);
    for tried in &all {
        println!(
            "{}: {} tried, {} taken, {} refused, {} panicked",
            tried.kind, tried.inputs, tried.taken, tried.refused, tried.panicked
        );
    }
    if all.iter().all(|tried| tried.panicked == 0) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
