//! The whole job in a name space without interfaces: nothing is missed.

use std::process::Command;

use pilothole_tests::{aloud, binary};

#[test]
fn the_demo_runs_without_any_network() {
    let may = Command::new("unshare").args(["-r", "-n", "true"]).output();
    if !may.is_ok_and(|run| run.status.success()) {
        aloud("skipped: no name space of its own may be made here");
        return;
    }
    let home = tempfile::tempdir().expect("a folder");
    // Not even the loop back to itself is up there.
    let run = Command::new("unshare")
        .args(["-r", "-n"])
        .arg(binary())
        .args(["demo", "--samples", "0", "--out"])
        .arg(home.path().join("demo"))
        .output()
        .expect("unshare runs");
    assert_eq!(run.status.code(), Some(0), "{}", String::from_utf8_lossy(&run.stderr));
    assert!(home.path().join("demo/report/report.html").is_file());
}
