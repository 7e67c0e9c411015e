//! Same input, same bytes: for any number of threads, order of files and names,
//! and for each hole wherever it stands in the plan.

mod every_command;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use every_command::{World, results, run};
use pilothole_phantom::SeriesHeader;
use pilothole_tests::{files_below, pilothole, said};
use sha2::{Digest, Sha256};

fn digest(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect::<Vec<_>>().concat()
}

/// The slices under other names, in another order, in a folder below.
fn shuffle(scan: &Path, to: &Path) {
    let deep = to.join("deep");
    fs::create_dir_all(&deep).expect("made");
    for (index, file) in files_below(scan).into_iter().enumerate() {
        let name = format!("{:05}.bin", (index * 7919) % 100_003);
        fs::copy(file, deep.join(name)).expect("copied");
    }
}

/// Whether a file of a cohort holds seals: they are made with a key of that
/// folder alone, over sizes and times of its files (`docs/cohorts.md`).
fn is_sealed(place: &str) -> bool {
    let result = place.starts_with("cohort/tables/") || place.ends_with("/report.json");
    place.starts_with("cohort/") && !result
}

/// Digest of what every command says and writes.
fn everything(world: &World, name: &str, threads: &str) -> BTreeMap<String, String> {
    let mut digests = BTreeMap::new();
    for (at, words) in world.commands(name, threads).into_iter().enumerate() {
        let run = run(&words);
        let status = format!("{:?}", run.status.code());
        // Where results were put is the user's own word, and may be said.
        let out = world.out.to_str().expect("UTF-8");
        let spoken = |bytes: &[u8]| String::from_utf8_lossy(bytes).replace(out, "OUT");
        let said = format!("{status}\n{}\n{}", spoken(&run.stdout), spoken(&run.stderr));
        digests.insert(format!("{at:02} {}", words[0]), digest(said.as_bytes()));
    }
    let kept = results(&world.out).into_iter().filter(|(place, _)| !is_sealed(place));
    digests.extend(kept.map(|(place, bytes)| (place, digest(&bytes))));
    digests
}

#[test]
fn every_command_gives_the_same_bytes_for_any_threads_names_and_order() {
    let homes = [(); 3].map(|()| tempfile::tempdir().expect("a folder"));
    let made =
        |at: usize, name: &str| World::make(homes[at].path(), name, &SeriesHeader::default());
    let first = everything(&made(0, "a"), "a", "1");
    assert!(first.len() > 60, "something was compared: {}", first.len());
    let again = everything(&made(1, "a"), "a", "1");
    let moved = made(2, "other");
    let kept = homes[2].path().join("kept");
    fs::rename(&moved.scan, &kept).expect("moved");
    shuffle(&kept, &moved.scan);
    let other = everything(&moved, "other", "3");
    for (run, digests) in [("a second run", again), ("other names and threads", other)] {
        for (name, digest) in &first {
            assert_eq!(digests.get(name), Some(digest), "{run}: {name} differs");
        }
        assert_eq!(digests.len(), first.len(), "{run}");
    }
}

/// Name and bytes of every result of an assessment.
fn assess(scan: &Path, plan: &Path, out: &Path, threads: &str) -> BTreeMap<String, Vec<u8>> {
    let text = |path: &Path| path.to_str().expect("UTF-8").to_owned();
    let (scan, plan, to) = (text(scan), text(plan), text(out));
    let run = pilothole(&[
        "assess",
        &scan,
        &plan,
        "--out",
        &to,
        "--samples",
        "100",
        "--timeless",
        "--threads",
        threads,
    ]);
    assert_eq!(run.status.code(), Some(0), "{:?}", said(&run));
    results(out).into_iter().collect()
}

#[test]
fn the_demos_report_is_that_of_its_files_under_other_names() {
    let home = tempfile::tempdir().expect("a folder");
    let demo = home.path().join("demo");
    let to = demo.to_str().expect("UTF-8");
    let flags = ["--samples", "100", "--timeless", "--threads", "1"];
    let run = pilothole(&[&["demo", "--out", to][..], &flags].concat());
    assert_eq!(run.status.code(), Some(0), "{:?}", said(&run));
    let one: BTreeMap<String, Vec<u8>> = results(&demo.join("report")).into_iter().collect();
    shuffle(&demo.join("scan"), &home.path().join("other"));
    let (scan, plan) = (home.path().join("other"), demo.join("plan.toml"));
    let two = assess(&scan, &plan, &home.path().join("two"), "2");
    assert_eq!(one.keys().collect::<Vec<_>>(), two.keys().collect::<Vec<_>>());
    for (name, bytes) in &one {
        assert!(*bytes == two[name], "{name} differs");
    }
}

/// The plan with its holes in another order.
fn reversed(plan: &Path) -> PathBuf {
    let text = fs::read_to_string(plan).expect("readable");
    let mut table: toml::Table = toml::from_str(&text).expect("TOML");
    let holes = table.get_mut("hole").and_then(toml::Value::as_array_mut).expect("holes");
    assert!(holes.len() > 2, "there is an order to change");
    holes.reverse();
    let to = plan.with_extension("reversed.toml");
    fs::write(&to, toml::to_string(&table).expect("TOML")).expect("written");
    to
}

/// Digest of each hole of a report by its id.
fn holes(report: &[u8]) -> BTreeMap<String, String> {
    let report: serde_json::Value = serde_json::from_slice(report).expect("JSON");
    let holes = report["holes"].as_array().expect("holes");
    holes
        .iter()
        .map(|hole| {
            let id = hole["id"].as_str().expect("an id").to_owned();
            (id, digest(hole.to_string().as_bytes()))
        })
        .collect()
}

/// Rows of a table, sorted; in each cell the names of several holes, sorted.
fn rows(table: &[u8]) -> Vec<Vec<String>> {
    let mut reader = csv::Reader::from_reader(table);
    let mut rows: Vec<Vec<String>> = reader
        .records()
        .map(|row| {
            let cell = |cell: &str| {
                let mut words: Vec<&str> = cell.split("; ").collect();
                words.sort_unstable();
                words.join("; ")
            };
            row.expect("a row").iter().map(cell).collect()
        })
        .collect();
    rows.sort();
    rows
}

#[test]
fn refined_directions_follow_their_hole_wherever_it_stands_in_the_plan() {
    let home = tempfile::tempdir().expect("a folder");
    let world = World::make(home.path(), "a", &SeriesHeader::default());
    let text = fs::read_to_string(&world.plan).expect("readable");
    assert!(text.contains("swivel_deg"), "there is something to refine");
    let refine = |plan: &Path, name: &str, threads: &str| {
        let out = home.path().join(name);
        let text = |path: &Path| path.to_str().expect("UTF-8").to_owned();
        let (scan, plan, to) = (text(&world.scan), text(plan), text(&out));
        let flags = ["--samples", "50", "--timeless", "--threads", threads];
        let run = pilothole(&[&["refine", &scan, &plan, "--out", &to][..], &flags].concat());
        assert_eq!(run.status.code(), Some(0), "{:?}", said(&run));
        holes(&fs::read(out.join("refine.json")).expect("there"))
    };
    let there = refine(&world.plan, "there", "1");
    let back = refine(&reversed(&world.plan), "back", "2");
    assert!(there.len() > 2);
    for (id, digest) in &there {
        assert_eq!(back.get(id), Some(digest), "hole {id} changes with its place");
    }
}

#[test]
fn results_follow_their_hole_wherever_it_stands_in_the_plan() {
    let home = tempfile::tempdir().expect("a folder");
    let world = World::make(home.path(), "a", &SeriesHeader::default());
    let there = assess(&world.scan, &world.plan, &home.path().join("there"), "1");
    let plan = reversed(&world.plan);
    let back = assess(&world.scan, &plan, &home.path().join("back"), "2");
    for table in ["kit.csv", "spares.csv"] {
        assert_eq!(rows(&there[table]), rows(&back[table]), "{table}");
    }
    let (there, back) = (holes(&there["report.json"]), holes(&back["report.json"]));
    assert!(there.len() > 2);
    for (id, digest) in &there {
        assert_eq!(back.get(id), Some(digest), "hole {id} changes with its place");
    }
}
