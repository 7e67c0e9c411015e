//! Cohorts of small phantoms by the program itself, through kills, a full disk,
//! a manifest that changes and a folder that cannot be written.

mod cohort_support;

use std::os::unix::process::ExitStatusExt as _;
use std::time::Duration;

use cohort_support::phantoms::{FAULTS, faulty, mend};
use cohort_support::world::{World, random, say, tables};

/// What every run is told.
const FLAGS: [&str; 4] = ["--jobs", "2", "--samples", "20"];
const EVERY: usize = 18;

/// Moments of kills, the same for the same seed.
struct Moments(u64);

impl Moments {
    /// Of the seed in `PILOTHOLE_SEED`, or of one that nobody chose.
    fn told() -> Self {
        #[expect(clippy::disallowed_methods, reason = "a failure is repeated with its seed")]
        let named = std::env::var("PILOTHOLE_SEED").ok().and_then(|seed| seed.parse().ok());
        let seed = named.unwrap_or_else(random);
        say(&format!("the moments of the kills: PILOTHOLE_SEED={seed}"));
        Self(seed)
    }

    /// A number below `end`: Steele, Lea and Flood 2014, `SplitMix64`.
    fn below(&mut self, end: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (mixed ^ (mixed >> 31)) % end
    }
}

#[test]
fn killed_ten_times_phantoms_give_the_tables_of_an_undisturbed_run() {
    let world = World::of_phantoms(200, EVERY);
    let (status, said) = world.ended("plain", &FLAGS);
    assert_eq!(status.code(), Some(6), "two lack scan or plan");
    every_group_is_said(&said);
    assert_eq!(world.nothing_is_half_there("plain"), 198);
    assert_eq!(world.gather("plain"), Some(6));
    every_fault_is_told(&world);

    let mut moments = Moments::told();
    let mut whole = 0;
    for kill in 0..10 {
        let mut run = world.start("killed", &FLAGS);
        let more = usize::try_from(moments.below(16)).expect("small");
        world.wait_for_cases("killed", whole + more);
        std::thread::sleep(Duration::from_micros(moments.below(60_000)));
        run.kill().expect("it was started here");
        let status = run.wait().expect("it was started here");
        whole = world.nothing_is_half_there("killed");
        say(&format!("kill {kill}: {status}, {whole} cases whole"));
        assert_eq!(status.signal(), Some(9), "killed while at work");
        let mut gathering = world.start("killed", &["--gather"]);
        std::thread::sleep(Duration::from_micros(moments.below(40_000)));
        gathering.kill().expect("it was started here");
        gathering.wait().expect("it was started here");
        assert_eq!(world.nothing_is_half_there("killed"), whole);
    }
    assert_eq!(world.cohort("killed", &FLAGS).code(), Some(6));
    assert_eq!(world.nothing_is_half_there("killed"), 198);
    assert_eq!(world.leavings("killed"), 0, "the next run clears what the killed ones left");
    assert_eq!(world.gather("killed"), Some(6));
    assert!(tables(&world.at("plain")) == tables(&world.at("killed")), "the same bytes");

    for lacking in [9, 10] {
        mend(&world, &faulty(lacking, EVERY), "00000");
    }
    for out in ["plain", "killed"] {
        assert_eq!(world.cohort(out, &FLAGS).code(), Some(0), "what was lacking has come");
        assert_eq!(world.nothing_is_half_there(out), 200);
        assert_eq!(world.gather(out), Some(5));
    }
    assert!(tables(&world.at("plain")) == tables(&world.at("killed")), "the same bytes");
}

/// Each bad case is refused for its own fault, and no other case is.
fn every_fault_is_told(world: &World) {
    let rows = world.rows("plain", "cases");
    for (fault, (what, code)) in FAULTS.iter().enumerate() {
        let id = faulty(fault, EVERY);
        let row = rows.iter().find(|row| row["case"] == id).expect("every case has a row");
        let first = row["refused"].split(' ').next().unwrap_or_default();
        assert_eq!(first, code.unwrap_or_default(), "{what}");
        assert_eq!(row["outcome"] == "unfinished", code.is_none(), "{what}");
    }
    let done = rows.iter().filter(|row| row["outcome"] == "done").count();
    assert_eq!((rows.len(), done), (200, 200 - FAULTS.len()));
}

/// The end message, on standard output, before what was said meanwhile.
fn every_group_is_said(said: &str) {
    let expected = "\
200 cases: 189 done, 9 refused, 2 unfinished; 0 skipped as recorded, 0 redone
refused, by first reason
     2  plan.side: 00111 00147
     2  scan.nothing: 00039 00057
     1  geometry.duplicate_slice: 00093
     1  geometry.gap: 00003
     1  pixels.truncated: 00021
     1  plan.range: 00129
     1  scan.not_ct: 00075
unfinished
     1  its plan cannot be read: there is no such file: 00183
     1  its scan cannot be read: there is no such file: 00165
next: the same command again; what cannot be read or fails each time needs
mending first, its last words are in .private/logs of the output folder
";
    assert!(said.starts_with(expected), "{said}");
}

#[test]
fn a_full_disk_costs_phantoms_time_only() {
    let world = World::of_phantoms(20, 7);
    let Some(small) = world.small_disk("small", 400) else { return };
    let (status, said) = world.ended("small/out", &FLAGS);
    assert_ne!(status.code(), Some(0), "the disk is meant to be too small: {said}");
    let whole = world.nothing_is_half_there("small/out");
    say(&format!("full disk: {status}, {whole} cases whole"));
    assert!(whole < 20, "the disk is meant to be too small");
    small.grow(20_000);
    assert_eq!(world.cohort("small/out", &FLAGS).code(), Some(0));
    assert_eq!(world.nothing_is_half_there("small/out"), 20);
    assert_eq!(world.gather("small/out"), Some(5));
    assert_eq!(world.cohort("plain", &FLAGS).code(), Some(0));
    assert_eq!(world.gather("plain"), Some(5));
    let before = tables(&world.at("small/out"));
    assert!(before == tables(&world.at("plain")), "the same bytes");
    small.fill();
    assert_eq!(world.gather("small/out"), Some(1), "tables need space too");
    assert!(tables(&world.at("small/out")) == before, "the earlier tables stand");
    small.read_only();
    for flags in [&FLAGS[..], &["--gather"]] {
        let (status, said) = world.ended("small/out", flags);
        assert_eq!(status.code(), Some(1));
        assert!(said.starts_with("error: cannot") && said.contains("read-only"), "{said}");
        assert!(!said.contains("small"), "no path: {said}");
    }
}

#[test]
fn a_manifest_that_changes_under_a_run_costs_phantoms_nothing() {
    let world = World::of_phantoms(20, 7);
    let run = world.start("out", &FLAGS);
    world.wait_for_cases("out", 2);
    world.turn_manifest();
    let output = run.wait_with_output().expect("it was started here");
    assert_eq!(output.status.code(), Some(6));
    assert!(String::from_utf8_lossy(&output.stdout).contains("the manifest changed under the run"));
    assert_eq!(world.nothing_is_half_there("out"), 20);
    let (status, said) = world.ended("out", &FLAGS);
    assert!(status.code() == Some(0) && said.contains("20 skipped"), "{said}");
    assert_eq!(world.gather("out"), Some(5));
    assert_eq!(world.cohort("fresh", &FLAGS).code(), Some(0));
    assert_eq!(world.gather("fresh"), Some(5));
    assert!(tables(&world.at("out")) == tables(&world.at("fresh")), "the same bytes");
}
