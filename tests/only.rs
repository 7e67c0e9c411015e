//! `assess --only` and `cohort --keep`: fewer files, the same bytes.

use std::fs;
use std::path::{Path, PathBuf};

use pilothole_phantom::{Case, Recipe, SceneKind, SeriesHeader, write_series};
use pilothole_study::FILE_NAMES;
use pilothole_tests::{files_below, pilothole, said};

/// A small scan, its plan and a manifest of it.
struct World(tempfile::TempDir);

impl World {
    fn make() -> Self {
        let world = Self(tempfile::tempdir().expect("a folder"));
        let mut recipe = Recipe::of(SceneKind::Ball);
        recipe.grid.spacing_mm = [2.0; 3];
        recipe.grid.extent_mm = [56.0, 56.0, 104.0];
        let phantom = Case::of(&recipe).and_then(Case::scan).expect("a sound recipe");
        write_series(&phantom.volume, &world.at("scan"), &SeriesHeader::default())
            .expect("written");
        fs::write(world.at("plan.toml"), &phantom.plan_toml).expect("written");
        fs::write(world.at("list.csv"), "case,scan,plan\na,scan,plan.toml\n").expect("written");
        world
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Status, standard output and standard error.
    fn run(&self, words: &[&str], out: &str, flags: &[&str]) -> (Option<i32>, String, String) {
        let text = |name: &str| self.at(name).to_str().expect("UTF-8").to_owned();
        let (command, files) = words.split_first().expect("a command");
        let files: Vec<String> = files.iter().map(|name| text(name)).collect();
        let out = text(out);
        let mut all = vec![*command];
        all.extend(files.iter().map(String::as_str));
        all.extend(["--out", &out, "--samples", "50"]);
        all.extend(flags);
        let output = pilothole(&all);
        let (stdout, stderr) = said(&output);
        (output.status.code(), stdout, stderr)
    }

    fn assess(&self, out: &str, flags: &[&str]) -> (Option<i32>, String, String) {
        let flags: Vec<&str> = ["--json", "--timeless"].iter().chain(flags).copied().collect();
        self.run(&["assess", "scan", "plan.toml"], out, &flags)
    }

    fn cohort(&self, out: &str, flags: &[&str]) -> (Option<i32>, String, String) {
        self.run(&["cohort", "list.csv"], out, flags)
    }
}

/// Names and bytes of what lies in a folder.
fn held(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let name = |path: &Path| path.file_name().expect("a name").to_string_lossy().into_owned();
    files_below(folder).iter().map(|path| (name(path), fs::read(path).expect("readable"))).collect()
}

#[test]
fn each_file_alone_has_the_bytes_that_it_has_among_all() {
    let world = World::make();
    let (status, record, stderr) = world.assess("all", &[]);
    assert_eq!(status, Some(0), "{stderr}");
    let all = held(&world.at("all"));
    assert_eq!(all.len(), FILE_NAMES.len());
    for name in FILE_NAMES {
        // Into the same folder each time: what is not asked for goes.
        let (status, stdout, stderr) = world.assess("one", &["--only", name]);
        assert_eq!((status, stdout == record), (Some(0), true), "{name}: {stderr}");
        let expected: Vec<_> = all.iter().filter(|(other, _)| other == name).cloned().collect();
        assert!(held(&world.at("one")) == expected, "{name}");
    }
    let (status, ..) = world.assess("two", &["--only", "kit.csv,report.json"]);
    assert_eq!(status, Some(0));
    let names: Vec<_> = held(&world.at("two")).into_iter().map(|(name, _)| name).collect();
    assert_eq!(names, ["kit.csv", "report.json"]);
}

#[test]
fn a_name_that_no_file_has_is_an_error_of_usage_that_names_those_there_are() {
    let world = World::make();
    for (status, _, stderr) in [
        world.assess("out", &["--only", "report.json,report.doc"]),
        world.cohort("out", &["--keep", "report.doc"]),
        world.assess("out", &["--only", ""]),
    ] {
        assert_eq!(status, Some(2), "{stderr}");
        assert!(FILE_NAMES.iter().all(|name| stderr.contains(name)), "{stderr}");
        assert!(!world.at("out").exists(), "nothing is written");
    }
}

#[test]
fn a_cohort_makes_what_it_keeps_with_the_bytes_of_a_full_run() {
    let world = World::make();
    assert_eq!(world.assess("all", &[]).0, Some(0));
    let all = held(&world.at("all"));
    let kept = |out: &str| -> Vec<(String, Vec<u8>)> {
        held(&world.at(out).join("cases")).into_iter().filter(|(n, _)| n != "case.json").collect()
    };
    let named = |names: &[&str]| -> Vec<(String, Vec<u8>)> {
        all.iter().filter(|(n, _)| names.contains(&n.as_str())).cloned().collect()
    };
    let runs: [(&[&str], &[&str], &str); 6] = [
        (&[], &["report.json"], "1 done"),
        (&["--keep", "report.json"], &["report.json"], "1 skipped"),
        (&["--keep", "holes.csv"], &["holes.csv", "report.json"], "files asked for were not kept"),
        (&[], &["holes.csv", "report.json"], "1 skipped"),
        (&["--keep-all"], &FILE_NAMES, "files asked for were not kept"),
        (&["--keep", "scene.glb"], &FILE_NAMES, "1 skipped"),
    ];
    for (flags, names, expected) in runs {
        let (status, stdout, stderr) = world.cohort("out", flags);
        assert_eq!(status, Some(0), "{stderr}");
        assert!(stdout.contains(expected), "{flags:?}: {stdout}");
        assert!(kept("out") == named(names), "{flags:?}");
    }
}
