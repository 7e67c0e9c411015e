//! Every command in a name space without interfaces: nothing is missed.

mod every_command;

use std::process::Command;

use every_command::{World, results};
use pilothole_phantom::SeriesHeader;
use pilothole_tests::{aloud, binary};

#[test]
fn every_command_runs_without_any_network() {
    let may = Command::new("unshare").args(["-r", "-n", "true"]).output();
    if !may.is_ok_and(|run| run.status.success()) {
        aloud("skipped: no name space of its own may be made here");
        return;
    }
    let home = tempfile::tempdir().expect("a folder");
    let world = World::make(home.path(), "a", &SeriesHeader::default());
    for words in world.commands("a", "2") {
        // Not even the loop back to itself is up there.
        let run = Command::new("unshare").args(["-r", "-n"]).arg(binary()).args(&words).output();
        let run = run.expect("unshare runs");
        // A ball has no head of a femur to propose.
        let expected = run.status.code() == Some(0) || words[0] == "landmarks";
        assert!(expected, "{words:?}: {}", String::from_utf8_lossy(&run.stderr));
    }
    assert!(results(&world.out).len() > 40, "results were written");
}
