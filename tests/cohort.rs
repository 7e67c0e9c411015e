//! Cohorts through kills, full disks, changed inputs and second writers: the
//! tables come out the same to the byte.
//!
//! The program here is a stand-in (`cohort_support/standin.rs`) on the same
//! library, so that hundreds of cases take seconds.

mod cohort_support;

use std::fs;
use std::os::unix::process::ExitStatusExt as _;
use std::time::{Duration, Instant};

use cohort_support::world::{World, random, say, tables};

#[test]
fn killed_ten_times_the_tables_are_those_of_an_undisturbed_run() {
    let world = World::of_scans(200, 20);
    assert_eq!(world.cohort("plain", &["--jobs", "2", "--state", "plain-state"]).code(), Some(6));
    assert_eq!(world.cohort("plain", &["--jobs", "2", "--state", "plain-state"]).code(), Some(0));
    assert_eq!(world.gather("plain"), Some(5));

    let flags = ["--jobs", "2", "--state", "state", "--sleep", "2"];
    let mut whole = 0;
    for kill in 0..10 {
        let mut run = world.start("killed", &flags);
        world.wait_for_cases("killed", whole + (random() % 17) as usize);
        std::thread::sleep(Duration::from_micros(random() % 10_000));
        run.kill().expect("it was started here");
        let status = run.wait().expect("it was started here");
        whole = world.nothing_is_half_there("killed");
        say(&format!("kill {kill}: {status}, {whole} cases whole"));
        assert_eq!(status.signal(), Some(9), "killed while at work");
    }
    let ended = (0..4).map(|_| world.cohort("killed", &flags).code()).find(|c| *c == Some(0));
    assert_eq!(ended, Some(Some(0)), "a few runs later every case has a record");
    assert_eq!(world.nothing_is_half_there("killed"), 200);
    assert_eq!(world.gather("killed"), Some(5));
    assert_eq!(tables(&world.at("plain")), tables(&world.at("killed")));
    assert_eq!(world.leavings("killed"), 0, "the next run clears what the killed ones left");
}

#[test]
fn any_number_of_shards_gives_the_same_bytes() {
    let world = World::of_scans(30, 0);
    assert_eq!(world.cohort("whole", &["--jobs", "2"]).code(), Some(0));
    assert_eq!(world.gather("whole"), Some(5));
    for count in [3, 7] {
        let out = format!("shards{count}");
        for index in 0..count {
            let shard = format!("{index}/{count}");
            assert_eq!(world.cohort(&out, &["--shard", &shard]).code(), Some(0));
        }
        assert_eq!(world.gather(&out), Some(5));
        assert_eq!(tables(&world.at("whole")), tables(&world.at(&out)), "{count} shards");
        fs::remove_file(world.at(&out).join(format!("parts/00001-of-{count:05}.ndjson")))
            .expect("a part stands");
        assert_eq!(world.gather(&out), Some(5), "cases without a part come from their folders");
        assert_eq!(tables(&world.at("whole")), tables(&world.at(&out)));
    }
}

#[test]
fn a_rerun_skips_what_is_unchanged_and_says_what_it_redid() {
    let world = World::of_scans(12, 0);
    let said = |flags: &[&str]| world.said("out", flags);
    assert!(said(&[]).contains("12 cases: 11 done, 1 refused, 0 skipped, 0 redone"));
    assert!(said(&[]).contains("12 skipped, 0 redone"));

    fs::write(world.at("scan-000002"), "holes 3\nanother\n").expect("written");
    let touched = fs::read(world.at("scan-000004")).expect("there");
    fs::write(world.at("scan-000004"), touched).expect("written");
    let report = world.case("out", "000005").join("report.json");
    let whole = fs::read(&report).expect("there");
    fs::write(&report, &whole[..whole.len() / 2]).expect("written");
    let now = said(&[]);
    assert!(now.contains("10 skipped, 2 redone"), "{now}");
    assert!(now.contains("redone: case 000002: its scan or plan has changed"), "{now}");
    assert!(now.contains("redone: case 000005: its record is damaged"), "{now}");
    assert_eq!(fs::read(&report).expect("there"), whole);
    assert!(said(&["--bytes"]).contains("12 skipped, 0 redone"));

    let now = said(&["--threshold-hu", "300"]);
    assert!(now.contains("0 skipped, 12 redone"), "{now}");
    assert!(now.contains("case 000000: flags, version or build have changed"), "{now}");
}

#[test]
fn another_build_of_the_program_redoes_and_finds_the_same_bytes() {
    let world = World::of_scans(12, 0);
    assert_eq!(world.cohort("out", &[]).code(), Some(0));
    assert_eq!(world.gather("out"), Some(5));
    let before = tables(&world.at("out"));
    let other = world.another_build();
    let now = world.said_by(&other, "out", &["--shard", "0/2"]);
    assert!(now.contains("6 cases: ") && now.contains("0 skipped, 6 redone"), "{now}");
    assert_eq!(world.gather("out"), Some(6), "records of two builds are not gathered together");
    let now = world.said_by(&other, "out", &[]);
    assert!(now.contains("6 skipped, 6 redone"), "{now}");
    assert_eq!(world.gather("out"), Some(5));
    assert_eq!(tables(&world.at("out")), before, "no table tells the build");
}

#[test]
fn cases_that_go_wrong_cost_themselves_only() {
    let world = World::empty();
    let faults = [
        "kill",
        "panic",
        "abort",
        "silent",
        "garbage",
        "half",
        "mute",
        "hang",
        "refuse geometry.gap",
        "refuse-plan plan.side",
        "well",
    ];
    world.write_cases(&faults);
    let flags = ["--jobs", "3", "--state", "state", "--case-limit", "4"];
    let said = world.said("out", &flags);
    for expected in [
        "11 cases: 1 done, 2 refused, 0 skipped, 0 redone, 8 unfinished",
        "case case0: its process was ended by signal 9",
        "case case1: its process ended with status 101",
        "case case2: its process was ended by signal 6",
        "case case3: its process left no whole report",
        "case case4: its process left no whole report",
        "case case5: its process left no whole report",
        "case case6: its process refused it without a reason",
        "case case7: its process was ended after 4 s",
    ] {
        assert!(said.contains(expected), "{expected}\n{said}");
    }
    assert_eq!(world.gather("out"), Some(6));
    assert!(world.said("out", &flags).contains("3 skipped, 0 redone, 0 unfinished"));
    assert_eq!(world.gather("out"), Some(5));
}

#[test]
fn a_second_run_on_one_folder_refuses_and_a_dead_one_does_not_block() {
    let world = World::of_scans(30, 0);
    let mut first = world.start("out", &["--sleep", "30"]);
    world.wait_for_cases("out", 2);
    let begun = Instant::now();
    let (status, said) = world.ended("out", &[]);
    assert_eq!(status.code(), Some(6));
    assert!(said.contains("another run is at work in this output folder"), "{said}");
    assert!(begun.elapsed() < Duration::from_secs(5));
    first.kill().expect("it was started here");
    assert_eq!(first.wait().expect("it was started here").signal(), Some(9));
    assert_eq!(world.cohort("out", &[]).code(), Some(0));
    assert_eq!(world.nothing_is_half_there("out"), 30);
}

#[test]
fn a_killed_run_takes_its_cases_along() {
    let world = World::of_scans(4, 0);
    let mut run = world.start("out", &["--jobs", "2", "--sleep", "60000"]);
    let children = world.wait_for_children(run.id(), 2);
    run.kill().expect("it was started here");
    run.wait().expect("it was started here");
    let end = Instant::now() + Duration::from_secs(5);
    while children.iter().any(|pid| cohort_support::world::is_alive(*pid)) {
        assert!(Instant::now() < end, "a case went on after its run was killed");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn a_manifest_that_changes_under_the_run_costs_nothing() {
    let world = World::of_scans(20, 0);
    let run = world.start("out", &["--sleep", "20"]);
    world.wait_for_cases("out", 2);
    world.turn_manifest();
    let output = run.wait_with_output().expect("it was started here");
    assert_eq!(output.status.code(), Some(6));
    assert!(String::from_utf8_lossy(&output.stderr).contains("the manifest changed under the run"));
    assert!(world.said("out", &[]).contains("20 skipped, 0 redone, 0 unfinished"));
    assert_eq!(world.gather("out"), Some(5));
    assert_eq!(world.cohort("fresh", &[]).code(), Some(0));
    assert_eq!(world.gather("fresh"), Some(5));
    assert_eq!(tables(&world.at("out")), tables(&world.at("fresh")));
}

#[test]
fn a_full_disk_loses_nothing() {
    let world = World::of_scans(40, 0);
    let Some(small) = world.small_disk("small", 256) else { return };
    let (status, said) = world.ended("small/out", &[]);
    assert_ne!(status.code(), Some(0), "the disk is meant to be too small: {said}");
    let whole = world.nothing_is_half_there("small/out");
    say(&format!("full disk: {status}, {whole} cases whole"));
    small.grow(20_000);
    assert_eq!(world.cohort("small/out", &[]).code(), Some(0));
    assert_eq!(world.nothing_is_half_there("small/out"), 40);
    assert_eq!(world.gather("small/out"), Some(5));
    let before = tables(&world.at("small/out"));
    small.fill();
    assert_eq!(world.gather("small/out"), Some(1), "tables need space too");
    assert_eq!(tables(&world.at("small/out")), before, "the earlier tables stand");
}

#[test]
fn a_read_only_folder_is_refused_with_a_sentence() {
    let world = World::of_scans(3, 0);
    let Some(small) = world.small_disk("small", 1000) else { return };
    assert_eq!(world.cohort("small/out", &[]).code(), Some(0));
    small.read_only();
    for flags in [&[][..], &["--gather"]] {
        let (status, said) = world.ended("small/out", flags);
        assert_eq!(status.code(), Some(1));
        assert!(said.starts_with("error: cannot") && said.contains("read-only"), "{said}");
    }
}

#[test]
fn names_of_files_and_folders_leave_nowhere() {
    let world = World::empty();
    fs::create_dir_all(world.at("MUSTERMANN")).expect("made");
    fs::write(world.at("MUSTERMANN/1"), "holes 2\n").expect("written");
    fs::write(world.at("MUSTERMANN/plan"), "plan").expect("written");
    fs::write(world.at("MUSTERMANN/truth"), "{\"holes\":[]}").expect("written");
    fs::write(
        world.at("manifest.csv"),
        "case,scan,plan,truth\nx,MUSTERMANN,MUSTERMANN/plan,MUSTERMANN/truth\n\
         y,MUSTERMANN/none,MUSTERMANN/plan,\n",
    )
    .expect("written");
    let (status, said) = world.ended("out", &[]);
    assert_eq!(status.code(), Some(6));
    assert!(said.contains("case y: its scan cannot be read") && !said.contains("MUSTER"), "{said}");
    assert_eq!(world.gather("out"), Some(6));
    let mut looked_at = 0;
    for (path, bytes) in cohort_support::world::files(&world.at("out")) {
        looked_at += 1;
        let text = String::from_utf8_lossy(&bytes);
        assert!(!text.contains("MUSTER"), "{}", path.display());
    }
    assert!(looked_at > 8);
}

#[test]
fn memory_is_shared_within_the_limit() {
    let world = World::of_scans(12, 0);
    let said = world.said("out", &["--jobs", "6", "--memory", "2500", "--sleep", "10"]);
    assert!(said.contains("most memory 2000"), "{said}");
}

#[test]
fn known_answers_become_error_columns() {
    let world = World::empty();
    world.write_cases(&["well", "well"]);
    fs::write(
        world.at("manifest.csv"),
        "case,scan,plan,truth,noise_hu\ncase0,scan-0,plan.toml,truth,10\n\
         case1,scan-1,plan.toml,gone,20\n",
    )
    .expect("written");
    let truth = r#"{"holes":[{"id":"a","near_cortex_mm":1.25,"thread_hu":100}]}"#;
    fs::write(world.at("truth"), truth).expect("written");
    assert_eq!(world.cohort("out", &[]).code(), Some(0));
    assert_eq!(world.gather("out"), Some(0));
    let rows = world.rows("out", "holes");
    let value = |row: &std::collections::BTreeMap<String, String>, name: &str| {
        row[name].parse::<f64>().expect("a number")
    };
    let (first, measured) = (&rows[0], value(&rows[0], "near_cortex_mm"));
    assert_eq!(value(first, "truth.near_cortex_mm").to_bits(), 1.25_f64.to_bits());
    assert_eq!(value(first, "error.near_cortex_mm").to_bits(), (measured - 1.25).to_bits());
    assert_eq!(value(first, "truth.hu.thread.mean").to_bits(), 100.0_f64.to_bits());
    assert_eq!(first["error.far_cortex_mm"], "");
    assert!(rows[1..].iter().all(|row| row["truth.near_cortex_mm"].is_empty()));
    let page = fs::read_to_string(world.at("out/tables/cohort.html")).expect("there");
    assert!(
        page.contains("error of near_cortex_mm against noise_hu")
            || page.contains("Errors against known answers")
    );
}

#[test]
fn files_asked_for_stay_and_others_go() {
    let world = World::of_scans(2, 0);
    assert_eq!(world.cohort("out", &["--keep", "holes.csv"]).code(), Some(0));
    let mut names: Vec<_> = fs::read_dir(world.case("out", "000000"))
        .expect("there")
        .map(|e| e.expect("readable").file_name().into_string().expect("ASCII"))
        .collect();
    names.sort();
    assert_eq!(names, ["case.json", "holes.csv", "report.json"]);
    assert!(world.said("out", &[]).contains("2 skipped"), "fewer files are no reason to redo");
    let said = world.said("out", &["--keep", "bone.stl"]);
    assert!(said.contains("files asked for were not kept"), "{said}");
    assert!(world.case("out", "000000").join("bone.stl").exists());
}

#[test]
fn parquet_holds_what_csv_holds() {
    let world = World::of_scans(40, 0);
    assert_eq!(world.cohort("out", &["--jobs", "2"]).code(), Some(0));
    assert_eq!(world.gather("out"), Some(5));
    for table in ["cases", "holes", "findings"] {
        let rows = world.rows("out", table);
        let columns =
            cohort_support::columns::read(&world.at(&format!("out/tables/{table}.parquet")));
        assert!(!rows.is_empty() && columns.len() == rows[0].len(), "{table}");
        for (name, cells) in columns {
            assert_eq!(cells.len(), rows.len(), "{table}.{name}");
            for (cell, row) in cells.iter().zip(&rows) {
                assert_eq!(*cell, row[&name], "{table}.{name}");
            }
        }
    }
}

#[test]
fn every_case_is_in_the_table_with_its_outcome() {
    let world = World::of_scans(40, 0);
    let first_half = ["--shard", "0/2"];
    assert_eq!(world.cohort("out", &first_half).code(), Some(0));
    assert_eq!(world.gather("out"), Some(6));
    let rows = world.rows("out", "cases");
    for (at, row) in rows.iter().enumerate() {
        let expected = if at.is_multiple_of(2) { "done" } else { "unfinished" };
        assert_eq!(row["outcome"], expected, "row {}", row["row"]);
        assert_eq!(row["input"].len(), if expected == "done" { 64 } else { 0 });
        assert_eq!(row["site"], format!("site {}", at % 3));
    }
    assert_eq!(world.cohort("out", &["--shard", "1/2"]).code(), Some(0));
    assert_eq!(world.gather("out"), Some(5));
    let rows = world.rows("out", "cases");
    let refused: Vec<_> = rows.iter().filter(|row| row["outcome"] != "done").collect();
    let seen: Vec<_> =
        refused.iter().map(|r| (&*r["case"], &*r["outcome"], &*r["refused"])).collect();
    assert_eq!(
        seen,
        [
            ("000007", "scan_refused", "geometry.gap"),
            ("000013", "plan_refused", "plan.outside_scan"),
            ("000027", "scan_refused", "geometry.gap"),
        ]
    );
    let findings = world.rows("out", "findings");
    assert_eq!(findings.iter().filter(|f| f["kind"] == "refusal").count(), 3);
    let holes: usize = rows.iter().map(|r| r["holes"].parse().unwrap_or(0)).sum();
    assert_eq!(world.rows("out", "holes").len(), holes);
}

#[test]
fn the_page_needs_nothing_from_outside() {
    let world = World::of_scans(30, 0);
    assert_eq!(world.cohort("out", &["--jobs", "2"]).code(), Some(0));
    assert_eq!(world.gather("out"), Some(5));
    let page = fs::read_to_string(world.at("out/tables/cohort.html")).expect("there");
    for forbidden in ["http:", "https:", "//www", "<link", "src=", "@import", "url("] {
        assert!(!page.contains(forbidden), "{forbidden}");
    }
    for expected in ["not a medical device", "geometry.gap", "ischium", "Completeness", "<svg"] {
        assert!(page.contains(expected), "{expected}");
    }
}

#[test]
fn the_data_dictionary_is_that_of_the_program() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/cohort-tables.md");
    let text = fs::read_to_string(path).expect("docs/cohort-tables.md is there");
    let carried = text.find("## `cases`").map(|at| &text[at..]);
    let dictionary = pilothole_study::cohort::dictionary();
    assert!(
        carried == Some(dictionary.as_str()),
        "docs/cohort-tables.md must end with:\n{dictionary}"
    );
}

#[test]
fn the_recipes_in_the_docs_are_those_that_the_tests_run() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |name: &str| fs::read_to_string(root.join(name)).expect("it is there");
    let docs = read("../docs/cohorts.md");
    for recipe in ["slurm/cohort.sbatch", "snakemake/Snakefile"] {
        assert!(docs.contains(&read(recipe)), "docs/cohorts.md carries tests/{recipe} as it is");
    }
}

#[test]
fn a_check_names_everything_that_is_wrong_before_the_night() {
    use pilothole_study::cohort::{CheckHooks, check};
    let world = World::empty();
    world.write_cases(&["well", "well", "well", "well"]);
    fs::remove_file(world.at("scan-0")).expect("it was there");
    fs::remove_file(world.at("scan-1")).expect("it was there");
    fs::create_dir(world.at("scan-1")).expect("made");
    fs::write(world.at("bad.toml"), "bad").expect("written");
    let manifest = fs::read_to_string(world.at("manifest.csv")).expect("there");
    let manifest = manifest.replace("scan-2,plan.toml", "scan-2,bad.toml");
    fs::write(world.at("manifest.csv"), manifest).expect("written");
    let plan = |path: &std::path::Path| match fs::read_to_string(path) {
        Ok(text) if text == "plan" => Vec::new(),
        _ => vec!["plan.syntax".to_owned()],
    };
    let estimate = |scan: &std::path::Path| fs::metadata(scan).ok().map(|m| m.len());
    let hooks = CheckHooks { plan: &plan, estimate: &estimate };
    let found = check(&world.at("manifest.csv"), &hooks).expect("the manifest can be used");
    let texts: Vec<String> =
        found.problems.iter().map(|p| format!("{} {}: {}", p.row, p.case, p.text)).collect();
    assert_eq!(
        texts,
        [
            "1 case0: the scan cannot be read: there is no such file",
            "2 case1: the scan is an empty folder",
            "3 case2: the plan: plan.syntax",
        ]
    );
    assert_eq!((found.cases, found.without_estimate, found.exit_status()), (4, 2, 2));
    fs::write(world.at("taken.csv"), "case,scan,plan,purchase_mm\na,s,p,1\n").expect("written");
    let refused = check(&world.at("taken.csv"), &hooks).expect_err("a name of the tables'");
    assert_eq!(refused.exit_status(), 2);
    assert!(refused.to_string().contains("`purchase_mm`"));
}
