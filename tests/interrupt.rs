//! Ctrl-C while a command is at work.

mod ball;

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

use pilothole_phantom::SeriesHeader;
use pilothole_tests::{binary, pilothole, said};
use pilothole_volume::{Direction, PatientPoint};

/// A ball of bone in muscle, and a plan of holes that point through its middle.
fn case(home: &Path, holes: u32, swivel_deg: f64) {
    ball::write(&ball::ball(), &home.join("scan"), &SeriesHeader::default());
    let mut plan = "schema = \"pilothole/plan/1\"\nside = \"left\"\ncoordinates = \"LPS\"\n\
                    [socket]\ncentre_mm = [0.0, 0.0, -24.0]\naxis = [0.0, 0.0, -1.0]\n\
                    outer_diameter_mm = 40.0\n"
        .to_owned();
    for hole in 0..holes {
        let out = (-Direction::SUPERIOR).tilted(1.2, f64::from(hole));
        let (seat, into) = ((PatientPoint([0.0; 3]) + out * 21.0).0, (-out).components());
        let text = format!(
            "[[hole]]\nid = \"h{hole}\"\nzone = \"cup\"\nseat_mm = {seat:?}\n\
             direction = {into:?}\nscrew = \"HB 6.5\"\nswivel_deg = {swivel_deg:?}\n"
        );
        plan.push_str(&text);
    }
    fs::write(home.join("plan.toml"), plan).expect("written");
}

fn start(home: &Path, command: &str) -> Child {
    Command::new(binary())
        .args([command, "scan", "plan.toml", "--out", "out", "--samples", "20"])
        .current_dir(home)
        .stdout(Stdio::null())
        .stderr(File::create(home.join("said")).expect("made"))
        .spawn()
        .expect("the binary runs")
}

/// The folder in the making, once it is there.
fn staging(home: &Path, child: &mut Child) -> PathBuf {
    loop {
        let begun = names(home).into_iter().find(|name| name.starts_with(".pilothole-"));
        if let Some(name) = begun {
            return home.join(name);
        }
        assert!(child.try_wait().expect("a child").is_none(), "it ended before it began");
        sleep(Duration::from_millis(5));
    }
}

fn names(home: &Path) -> Vec<String> {
    let entries = fs::read_dir(home).expect("readable");
    let mut names: Vec<String> =
        entries.map(|e| e.expect("readable").file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

fn interrupt(child: &Child) {
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(sent.expect("kill is there").success());
}

#[test]
fn a_command_ends_with_130_and_leaves_nothing_half_written() {
    for command in ["assess", "stock"] {
        let home = tempfile::tempdir().expect("a folder");
        case(home.path(), 3, 0.0);
        let mut child = start(home.path(), command);
        staging(home.path(), &mut child);
        interrupt(&child);
        let status = child.wait().expect("it ends");
        assert_eq!(status.code(), Some(130), "{command}");
        assert_eq!(names(home.path()), ["plan.toml", "said", "scan"], "{command}");
        let said = fs::read_to_string(home.path().join("said")).expect("there");
        assert_eq!(said, "stopped; what was unfinished is cleared\n");
    }
}

#[test]
fn earlier_results_stay_when_the_next_are_interrupted() {
    let home = tempfile::tempdir().expect("a folder");
    case(home.path(), 2, 0.0);
    assert_eq!(start(home.path(), "assess").wait().expect("it ends").code(), Some(0));
    let before = fs::read(home.path().join("out/report.json")).expect("there");
    let mut child = start(home.path(), "assess");
    staging(home.path(), &mut child);
    interrupt(&child);
    assert_eq!(child.wait().expect("it ends").code(), Some(130));
    assert_eq!(fs::read(home.path().join("out/report.json")).expect("there"), before);
    assert_eq!(names(home.path()), ["out", "plan.toml", "said", "scan"]);
}

#[test]
fn an_interrupted_refinement_leaves_the_best_so_far() {
    let home = tempfile::tempdir().expect("a folder");
    // A search of minutes.
    case(home.path(), 16, 80.0);
    let path = |name: &str| home.path().join(name).to_str().expect("UTF-8").to_owned();
    let mut later = Duration::from_millis(500);
    loop {
        let mut child = start(home.path(), "refine");
        staging(home.path(), &mut child);
        sleep(later);
        interrupt(&child);
        match child.wait().expect("it ends").code() {
            // Before the search had begun there is no best.
            Some(130) => later *= 2,
            other => {
                assert_eq!(other, Some(0));
                break;
            }
        }
    }
    let text = fs::read_to_string(path("out/refine.json")).expect("there");
    let refined: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(refined["complete"], false);
    assert_eq!(refined["holes"].as_array().map(Vec::len), Some(16));
    let reasons = || refined["holes"].as_array().expect("rows").iter().map(|h| &h["reason"]);
    assert!(reasons().any(|reason| reason == "interrupted"));
    for name in ["plan.refined.toml", "compare.json", "compare.csv", "compare.html"] {
        assert!(home.path().join("out").join(name).is_file(), "{name}");
    }
    let checked = pilothole(&["plan", "check", &path("out/plan.refined.toml"), &path("scan")]);
    assert_eq!(checked.status.code(), Some(0), "{}", said(&checked).1);
    assert_eq!(names(home.path()), ["out", "plan.toml", "said", "scan"]);
}
