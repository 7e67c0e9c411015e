//! Killed, full, locked, linked, oddly named: a sentence, and nothing lost.

mod every_command;

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

use every_command::World;
use pilothole_phantom::{Case, Recipe, SceneKind, SeriesHeader, write_series};
use pilothole_tests::{aloud, binary, files_below, said};
use tempfile::TempDir;

/// A small scan and two plans on it, whose reports differ.
struct Small {
    home: TempDir,
    binary: PathBuf,
}

impl Small {
    fn make() -> Self {
        let mut recipe = Recipe::of(SceneKind::Ball);
        recipe.grid.spacing_mm = [2.0; 3];
        recipe.grid.extent_mm = [52.0, 52.0, 104.0];
        let home = tempfile::tempdir().expect("a folder");
        let case = Case::of(&recipe).expect("a sound recipe");
        let plan = case.plan_toml.clone();
        let phantom = case.scan().expect("fits");
        write_series(&phantom.volume, &home.path().join("scan"), &SeriesHeader::default())
            .expect("written");
        fs::write(home.path().join("a.toml"), &plan).expect("written");
        let other = plan.replace("id = \"middle\"", "id = \"middle of it\"");
        assert_ne!(plan, other, "the plans differ");
        fs::write(home.path().join("b.toml"), other).expect("written");
        Self { home, binary: binary() }
    }

    fn place(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }

    fn assess(&self, plan: &str, out: &Path) -> Command {
        let mut command = Command::new(&self.binary);
        command.arg("assess").arg(self.place("scan")).arg(self.place(plan));
        command.arg("--out").arg(out).args(["--samples", "0", "--timeless", "--threads", "1"]);
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    fn run(&self, plan: &str, out: &Path) -> Output {
        self.assess(plan, out).output().expect("the binary runs")
    }
}

/// Names and bytes of a folder of results.
fn held(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    files_below(folder)
        .into_iter()
        .map(|path| {
            let bytes = fs::read(&path).expect("readable");
            (path.strip_prefix(folder).expect("below").to_path_buf(), bytes)
        })
        .collect()
}

/// Numbers from a seed, 0 to 1 (xorshift64*).
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// Wait until the results in the making hold so many files, or the run ends.
fn wait_for_files(beside: &Path, count: usize, child: &mut Child) {
    while child.try_wait().expect("a child").is_none() {
        let staged = fs::read_dir(beside)
            .expect("readable")
            .filter_map(|entry| Some(entry.ok()?.path()))
            .find(|path| path.file_name().is_some_and(|n| n.as_bytes().starts_with(b".pilothole-")))
            .and_then(|path| fs::read_dir(path).ok())
            .map_or(0, Iterator::count);
        if staged >= count {
            return;
        }
        std::thread::yield_now();
    }
}

/// Kill runs that replace the report of one plan by that of another; how often
/// the old and the new report were found.
fn killed(small: &Small, room: &str, seed: u64, kills: usize, whole: Duration) -> [usize; 2] {
    let beside = small.place(room);
    fs::create_dir(&beside).expect("made");
    let (out, mut draw) = (beside.join("out"), Draw(seed));
    let reports = ["a.toml", "b.toml"].map(|plan| {
        assert_eq!(small.run(plan, &out).status.code(), Some(0), "{plan}");
        held(&out)
    });
    let (mut stands, mut found) = (1, [0, 0]);
    for kill in 0..kills {
        let mut child =
            small.assess(["a.toml", "b.toml"][1 - stands], &out).spawn().expect("the binary runs");
        // Every second one while files are being written, where it is delicate.
        if kill % 2 == 0 {
            std::thread::sleep(whole.mul_f64(1.1 * draw.next()));
        } else {
            wait_for_files(&beside, 1 + (9.0 * draw.next()) as usize, &mut child);
            std::thread::sleep(Duration::from_micros((2000.0 * draw.next()) as u64));
        }
        child.kill().expect("killed");
        child.wait().expect("ended");
        let now = held(&out);
        let which = reports.iter().position(|report| *report == now);
        let which = which.unwrap_or_else(|| panic!("neither report after kill {kill}"));
        found[usize::from(which != stands)] += 1;
        stands = which;
    }
    // What the dead left beside is cleared by the next run.
    assert_eq!(small.run("a.toml", &out).status.code(), Some(0));
    assert_eq!(fs::read_dir(&beside).expect("readable").count(), 1, "nothing is left beside");
    found
}

#[test]
fn killed_at_a_hundred_moments_the_folder_holds_the_old_report_or_the_new() {
    let small = Small::make();
    let start = std::time::Instant::now();
    assert_eq!(small.run("a.toml", &small.place("first")).status.code(), Some(0));
    // Only the moments are taken from the clock; whatever they are, it holds.
    let whole = start.elapsed();
    let halves = std::thread::scope(|scope| {
        let small = &small;
        let run =
            |room: &'static str, seed| scope.spawn(move || killed(small, room, seed, 50, whole));
        [run("left", 11), run("right", 12)].map(|half| half.join().expect("holds"))
    });
    let [old, new] = [0, 1].map(|which| halves.iter().map(|half| half[which]).sum::<usize>());
    aloud(&format!("100 kills: the old report stood {old} times, the new one {new} times"));
    assert_eq!(old + new, 100);
    assert!(old > 0, "some kills came in time");
}

#[test]
fn an_interrupt_ends_the_run_and_leaves_the_old_report() {
    let small = Small::make();
    let out = small.place("room/out");
    assert_eq!(small.run("a.toml", &out).status.code(), Some(0));
    let before = held(&out);
    let planned = small.assess("b.toml", &out);
    // A shell that runs this in the background has interrupts ignored below it.
    let mut child = Command::new("env")
        .arg("--default-signal=INT")
        .arg(planned.get_program())
        .args(planned.get_args())
        .spawn()
        .expect("the binary runs");
    wait_for_files(&small.place("room"), 0, &mut child);
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(sent.expect("kill runs").success());
    assert!(!child.wait().expect("ended").success(), "it did not go on");
    assert_eq!(held(&out), before);
}

/// A run that must fail: status 1 or 2, one sentence, no path.
fn fails(small: &Small, run: &Output) -> String {
    let (stdout, stderr) = said(run);
    assert!(matches!(run.status.code(), Some(1 | 2)), "{:?}: {stderr}", run.status);
    assert_eq!(stderr.lines().count(), 1, "one sentence: {stderr}");
    assert!(stderr.starts_with("error: "), "{stderr}");
    let home = small.home.path().to_str().expect("UTF-8");
    assert!(!stderr.contains(home) && stdout.is_empty(), "{stderr}{stdout}");
    stderr
}

/// A small file system of its own; `None`, said aloud, where none may be made.
struct Mounted(PathBuf);

impl Mounted {
    fn at(place: PathBuf, options: &str) -> Option<Self> {
        fs::create_dir_all(&place).expect("made");
        let mount = Command::new("mount")
            .args(["-t", "tmpfs", "-o", options, "tmpfs"])
            .arg(&place)
            .stderr(Stdio::null())
            .status();
        if mount.is_ok_and(|status| status.success()) {
            return Some(Self(place));
        }
        aloud("skipped: no file system may be mounted here");
        None
    }

    fn remount(&self, options: &str) {
        let run = Command::new("mount").args(["-o", options]).arg(&self.0).status();
        assert!(run.expect("mount runs").success());
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        let run = Command::new("umount").arg(&self.0).status();
        assert!(run.is_ok_and(|status| status.success()), "unmounted");
    }
}

#[test]
fn a_full_disk_is_said_and_the_old_report_stays() {
    let small = Small::make();
    let whole: usize = {
        let out = small.place("first");
        assert_eq!(small.run("a.toml", &out).status.code(), Some(0));
        held(&out).values().map(Vec::len).sum()
    };
    // Room for one report and a half.
    let options = format!("size={}", whole + whole / 2);
    let Some(disk) = Mounted::at(small.place("disk"), &options) else { return };
    let out = disk.0.join("out");
    assert_eq!(small.run("a.toml", &out).status.code(), Some(0));
    let before = held(&out);
    let text = fails(&small, &small.run("b.toml", &out));
    assert!(text.contains("write"), "{text}");
    assert_eq!(held(&out), before);
    assert_eq!(fs::read_dir(&disk.0).expect("readable").count(), 1, "nothing is left beside");
}

#[test]
fn a_read_only_disk_is_said_and_the_old_report_stays() {
    let small = Small::make();
    let Some(disk) = Mounted::at(small.place("disk"), "size=64m") else { return };
    let out = disk.0.join("out");
    assert_eq!(small.run("a.toml", &out).status.code(), Some(0));
    let before = held(&out);
    disk.remount("remount,ro");
    fails(&small, &small.run("b.toml", &out));
    assert_eq!(held(&out), before);
}

#[test]
fn a_folder_of_somebody_else_is_said() {
    let small = Small::make();
    let room = small.place("room");
    fs::create_dir(&room).expect("made");
    fs::set_permissions(&room, fs::Permissions::from_mode(0o555)).expect("set");
    let mut command = small.assess("a.toml", &room.join("out"));
    let copy = small.place("binary");
    if fs::metadata("/proc/self").is_ok_and(|own| std::os::unix::fs::MetadataExt::uid(&own) == 0) {
        // Rights do not bind root: be nobody.
        fs::copy(&small.binary, &copy).expect("copied");
        fs::set_permissions(small.home.path(), fs::Permissions::from_mode(0o755)).expect("set");
        let mut as_nobody = Command::new(&copy);
        as_nobody.args(command.get_args());
        as_nobody.uid(65_534).gid(65_534);
        command = as_nobody;
    }
    let run = command.output().expect("the binary runs");
    let text = fails(&small, &run);
    assert!(text.contains("permission"), "{text}");
    assert_eq!(fs::read_dir(&room).expect("readable").count(), 0);
}

#[test]
fn a_link_for_a_folder_loses_nothing() {
    let small = Small::make();
    let (real, link) = (small.place("real"), small.place("link"));
    assert_eq!(small.run("a.toml", &real).status.code(), Some(0));
    let before = held(&real);
    symlink(&real, &link).expect("linked");
    let run = small.run("b.toml", &link);
    if run.status.code() == Some(0) {
        assert_ne!(held(&link), before, "the new report is behind the name that was given");
    } else {
        fails(&small, &run);
        assert_eq!(held(&link), before);
    }
    assert!(!held(&real).is_empty(), "what lay behind the link is there");

    // A link that leads nowhere, and one that leads to a file.
    let nowhere = small.place("nowhere");
    symlink(small.place("gone"), &nowhere).expect("linked");
    fails(&small, &small.run("a.toml", &nowhere));
    let file = small.place("to-file");
    symlink(small.place("a.toml"), &file).expect("linked");
    let plan = fs::read(small.place("a.toml")).expect("there");
    fails(&small, &small.run("b.toml", &file));
    assert_eq!(fs::read(small.place("a.toml")).expect("there"), plan);
}

#[test]
fn odd_names_work_or_are_refused_with_a_sentence() {
    let small = Small::make();
    let room = small.place("room");
    fs::create_dir(&room).expect("made");
    for name in [
        &b"C:\\results\\x"[..],
        b"CON",
        b"a b;c&d|e",
        b"-out",
        b"\xff\xfe\x80",
        "Łódź – 骨".as_bytes(),
    ] {
        let out = room.join(OsStr::from_bytes(name));
        let run = small.run("a.toml", &out);
        assert_eq!(run.status.code(), Some(0), "{:?}: {:?}", OsStr::from_bytes(name), said(&run));
        assert!(held(&out).len() > 5);
    }
    let long = "n".repeat(300);
    fails(&small, &small.run("a.toml", &room.join(&long)));
    let deep: PathBuf = std::iter::repeat_n("d".repeat(200), 40).collect();
    fails(&small, &small.run("a.toml", &room.join(deep)));
    // The scan and the plan by odd names.
    let odd = small.place("odd");
    fs::create_dir(&odd).expect("made");
    let scan = odd.join(OsStr::from_bytes(b"s\xff\xfe"));
    fs::rename(small.place("scan"), &scan).expect("moved");
    let plan = odd.join(OsStr::from_bytes(b"p\x80.toml"));
    fs::copy(small.place("a.toml"), &plan).expect("copied");
    let run = Command::new(&small.binary)
        .arg("assess")
        .arg(&scan)
        .arg(&plan)
        .arg("--out")
        .arg(odd.join("out"))
        .args(["--samples", "0"])
        .output()
        .expect("the binary runs");
    assert_eq!(run.status.code(), Some(0), "{:?}", said(&run));
    let missing = Command::new(&small.binary)
        .arg("inspect")
        .arg(OsStr::from_bytes(b"/nowhere/\xff"))
        .output()
        .expect("the binary runs");
    assert_eq!(missing.status.code(), Some(3), "{:?}", said(&missing));
}

#[test]
fn every_command_that_writes_says_that_it_cannot_and_touches_nothing() {
    let home = tempfile::tempdir().expect("a folder");
    let world = World::make(home.path(), "a", &SeriesHeader::default());
    // A file stands where the folder of all results would be made.
    fs::write(&world.out, "mine").expect("written");
    let before = held(home.path());
    let mut looked_at = 0;
    for words in world.commands("a", "1") {
        // What is compared would have to be there first.
        if !words.iter().any(|word| word == "--out") || words[0] == "compare" {
            continue;
        }
        looked_at += 1;
        let run = every_command::run(&words);
        let (_, stderr) = said(&run);
        assert!(matches!(run.status.code(), Some(1 | 2)), "{words:?}: {stderr}");
        assert!(stderr.lines().any(|line| line.starts_with("error: ")), "{words:?}: {stderr}");
        assert!(!stderr.contains(home.path().to_str().expect("UTF-8")), "{words:?}: {stderr}");
        assert!(!stderr.contains("fault in pilothole"), "{words:?}: {stderr}");
        assert!(held(home.path()) == before, "{words:?} changed something");
    }
    assert!(looked_at >= 8, "the commands that write were run: {looked_at}");
}
