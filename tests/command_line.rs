//! The binary as its users meet it: refusals, statuses, what stays unwritten.

mod ball;

use std::fs;
use std::path::Path;

use pilothole_phantom::SeriesHeader;
use pilothole_tests::{pilothole, said};

/// A small scan: a ball of bone in muscle.
fn scan(folder: &Path, header: &SeriesHeader) -> Vec<std::path::PathBuf> {
    ball::write(&ball::ball(), folder, header)
}

const PLAN: &str = r#"schema = "pilothole/plan/1"
side = "left"
coordinates = "LPS"
[socket]
centre_mm = [0.0, 0.0, -24.0]
axis = [0.0, 0.0, -1.0]
outer_diameter_mm = 40.0
[[hole]]
id = "one"
zone = "cup"
seat_mm = [0.0, 0.0, -21.0]
direction = [0.0, 0.0, 1.0]
screw = "HB 6.5"
"#;

/// Run `assess` and look at status, code and folder.
fn refused(scan: &Path, plan: &str, status: i32, code: &str) {
    let home = tempfile::tempdir().expect("a folder");
    let file = home.path().join("plan.toml");
    fs::write(&file, plan).expect("written");
    let out = home.path().join("out");
    let text = |path: &Path| path.to_str().expect("UTF-8").to_owned();
    let run = pilothole(&["assess", &text(scan), &text(&file), "--out", &text(&out), "--json"]);
    let (stdout, stderr) = said(&run);
    assert_eq!(run.status.code(), Some(status), "{stderr}");
    assert!(stderr.contains(&format!("refused: {code}: ")), "{stderr}");
    let json: serde_json::Value = serde_json::from_str(&stdout).expect("JSON on stdout");
    assert_eq!(json["refused"][0]["code"], code);
    assert!(!out.exists(), "nothing is written");
    assert_eq!(fs::read_dir(home.path()).expect("readable").count(), 1, "nothing is left beside");
}

#[test]
fn a_sound_case_is_assessed_and_written_whole() {
    let home = tempfile::tempdir().expect("a folder");
    scan(&home.path().join("scan"), &SeriesHeader::default());
    fs::write(home.path().join("plan.toml"), PLAN).expect("written");
    let path = |name: &str| home.path().join(name).to_str().expect("UTF-8").to_owned();
    let args =
        ["assess", &path("scan"), &path("plan.toml"), "--out", &path("out"), "--samples", "50"];
    let run = pilothole(&args);
    let (stdout, stderr) = said(&run);
    assert_eq!(run.status.code(), Some(0), "{stderr}");
    assert!(stderr.is_empty(), "silence in a pipe: {stderr}");
    assert!(stdout.lines().count() <= 25, "{stdout}");
    assert!(stdout.lines().all(|line| line.chars().count() <= 80), "{stdout}");
    for name in [
        "report.json",
        "holes.csv",
        "kit.csv",
        "report.html",
        "plan.resolved.toml",
        "bone.stl",
        "scene.glb",
        "theatre.pdf",
    ] {
        assert!(home.path().join("out").join(name).is_file(), "{name} is there");
    }
    // The resolved plan runs again to the same holes, over the earlier report.
    let before = fs::read(home.path().join("out/holes.csv")).expect("there");
    fs::copy(home.path().join("out/plan.resolved.toml"), home.path().join("again.toml"))
        .expect("copied");
    let again =
        ["assess", &path("scan"), &path("again.toml"), "--out", &path("out"), "--samples", "50"];
    assert_eq!(pilothole(&again).status.code(), Some(0));
    assert_eq!(fs::read(home.path().join("out/holes.csv")).expect("there"), before);
}

#[test]
fn a_missing_slice_is_refused() {
    let home = tempfile::tempdir().expect("a folder");
    let files = scan(home.path(), &SeriesHeader::default());
    fs::remove_file(&files[20]).expect("removed");
    refused(home.path(), PLAN, 3, "geometry.gap");
}

#[test]
fn another_modality_is_refused() {
    let home = tempfile::tempdir().expect("a folder");
    scan(home.path(), &SeriesHeader { modality: "MR".to_owned(), ..SeriesHeader::default() });
    refused(home.path(), PLAN, 3, "scan.not_ct");
}

#[test]
fn an_empty_folder_is_refused() {
    let home = tempfile::tempdir().expect("a folder");
    refused(home.path(), PLAN, 3, "scan.nothing");
}

#[test]
fn a_truncated_file_is_refused() {
    let home = tempfile::tempdir().expect("a folder");
    let files = scan(home.path(), &SeriesHeader::default());
    let bytes = fs::read(&files[20]).expect("there");
    fs::write(&files[20], &bytes[..bytes.len() / 2]).expect("written");
    refused(home.path(), PLAN, 3, "pixels.truncated");
}

#[test]
fn a_misspelt_field_is_refused_with_its_line_and_the_nearest_word() {
    let home = tempfile::tempdir().expect("a folder");
    scan(home.path(), &SeriesHeader::default());
    let plan = PLAN.replace("outer_diameter_mm", "outer_diametre_mm");
    refused(home.path(), &plan, 4, "plan.field");
    fs::write(home.path().join("plan.toml"), plan).expect("written");
    let path = home.path().join("plan.toml");
    let run = pilothole(&["plan", "check", path.to_str().expect("UTF-8")]);
    let (_, stderr) = said(&run);
    assert!(stderr.contains("line 7"), "{stderr}");
    assert!(stderr.contains("outer_diameter_mm"), "{stderr}");
}

#[test]
fn a_direction_that_is_not_unit_is_refused_not_normalised() {
    let home = tempfile::tempdir().expect("a folder");
    scan(home.path(), &SeriesHeader::default());
    let plan = PLAN.replace("direction = [0.0, 0.0, 1.0]", "direction = [0.0, 0.1, 1.0]");
    refused(home.path(), &plan, 4, "plan.direction");
}

#[test]
fn a_seat_outside_the_scan_is_refused() {
    let home = tempfile::tempdir().expect("a folder");
    scan(home.path(), &SeriesHeader::default());
    let plan = PLAN.replace("seat_mm = [0.0, 0.0, -21.0]", "seat_mm = [0.0, 0.0, -210.0]");
    refused(home.path(), &plan, 4, "plan.outside_scan");
}

#[test]
fn a_folder_with_other_files_is_left_alone() {
    let home = tempfile::tempdir().expect("a folder");
    scan(&home.path().join("scan"), &SeriesHeader::default());
    fs::write(home.path().join("plan.toml"), PLAN).expect("written");
    let path = |name: &str| home.path().join(name).to_str().expect("UTF-8").to_owned();
    let run = pilothole(&["assess", &path("scan"), &path("plan.toml"), "--out", &path("")]);
    assert_eq!(run.status.code(), Some(2), "{:?}", said(&run));
    assert!(home.path().join("plan.toml").exists());
}
