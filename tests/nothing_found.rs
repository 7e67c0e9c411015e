//! Charts and refinements that find nothing, or are asked for too much: a
//! sentence and a code on the terminal and in the files.

mod ball;

use std::fs;
use std::path::Path;

use pilothole_phantom::SeriesHeader;
use pilothole_tests::{pilothole, said};

/// A ball of bone in muscle, above a socket, and a plan with one hole.
fn made(home: &Path, socket_axis: &str, direction: &str, more: &str) {
    ball::write(&ball::ball(), &home.join("scan"), &SeriesHeader::default());
    let plan = format!(
        "schema = \"pilothole/plan/1\"\nside = \"left\"\ncoordinates = \"LPS\"\n[socket]\n\
         centre_mm = [0.0, 0.0, -24.0]\naxis = {socket_axis}\nouter_diameter_mm = 20.0\n\
         [[hole]]\nid = \"one\"\nzone = \"cup\"\nseat_mm = [0.0, 0.0, -21.0]\n\
         direction = {direction}\nscrew = \"HB 6.5\"\n{more}"
    );
    fs::write(home.join("plan.toml"), plan).expect("written");
}

/// Status, what the terminal shows, and a file's text.
fn run(home: &Path, command: &str, more: &[&str], file: &str) -> (Option<i32>, String, String) {
    let path = |name: &str| home.join(name).to_str().expect("UTF-8").to_owned();
    let args = [command, &path("scan"), &path("plan.toml"), "--out", &path("out")];
    let run = pilothole(&[&args[..], more].concat());
    let (stdout, stderr) = said(&run);
    let text = fs::read_to_string(home.join("out").join(file)).unwrap_or_default();
    (run.status.code(), stdout + &stderr, text)
}

const UP: &str = "[0.0, 0.0, 1.0]";
const DOWN: &str = "[0.0, 0.0, -1.0]";

fn home() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

#[test]
fn a_chart_without_bone_says_so() {
    let home = home();
    made(home.path(), UP, UP, "");
    let wide = ["--spacing-deg", "6", "--seat-spacing-mm", "20"];
    let (status, said, page) = run(home.path(), "stock", &wide, "stock.html");
    assert_eq!(status, Some(0), "{said}");
    assert!(said.contains("stock.no_bone: no direction meets bone from centre"), "{said}");
    assert!(page.contains("stock.no_bone"));
}

#[test]
fn a_cone_without_bone_says_so() {
    let home = home();
    made(home.path(), DOWN, DOWN, "swivel_deg = 5.0\n");
    let (status, said, json) = run(home.path(), "refine", &[], "refine.json");
    assert_eq!(status, Some(0), "{said}");
    let plan = fs::read_to_string(home.path().join("out/plan.refined.toml")).expect("there");
    for text in [&said, &json, &plan] {
        assert!(text.contains("refine.none_holds"), "{text}");
    }
    assert!(said.contains("refine.none_holds: one: No direction within reach"), "{said}");
}

#[test]
fn a_hole_without_a_swivel_says_so() {
    for swivel in ["", "swivel_deg = 0.0\n"] {
        let home = home();
        made(home.path(), DOWN, UP, swivel);
        let (status, said, json) = run(home.path(), "refine", &[], "refine.json");
        assert_eq!(status, Some(0), "{said}");
        assert!(said.contains("refine.fixed: one: The hole has no swivel"), "{said}");
        assert!(json.contains("refine.fixed"));
    }
}

#[test]
fn a_swivel_of_half_a_turn_is_refused() {
    for command in ["stock", "refine"] {
        let home = home();
        made(home.path(), DOWN, UP, "swivel_deg = 180.0\n");
        let (status, said, _) = run(home.path(), command, &[], "");
        assert_ne!(status, Some(0));
        assert!(said.contains("refused: plan.range: "), "{said}");
        assert!(!home.path().join("out").exists(), "nothing is written");
    }
}

#[test]
fn more_directions_than_memory_are_refused() {
    let home = home();
    made(home.path(), DOWN, UP, "");
    for spacing in ["0.001", "1e-9", "0", "-1", "NaN", "180"] {
        let flag = format!("--spacing-deg={spacing}");
        let (status, said, _) = run(home.path(), "stock", &[&flag], "");
        assert_ne!(status, Some(0), "{spacing}");
        assert!(said.contains("plan.range"), "{spacing}: {said}");
        assert!(!home.path().join("out").exists(), "nothing is written");
    }
    let (status, said, _) = run(home.path(), "stock", &["--seat-spacing-mm=1e-6"], "");
    assert_ne!(status, Some(0));
    assert!(said.contains("refused: plan.range: "), "{said}");
}
