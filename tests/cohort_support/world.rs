//! A folder with cases, and a program run on them: the stand-in on made-up
//! ones, or the program itself on phantoms.

use std::collections::BTreeMap;
use std::fs;
use std::hash::{BuildHasher as _, Hasher as _, RandomState};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use super::whole;

const STANDIN: &str = env!("CARGO_BIN_EXE_pilothole-standin");

/// A folder to work in, and the program that is run there.
pub(crate) struct World {
    home: tempfile::TempDir,
    program: PathBuf,
}

/// A file system of its own, as large as it is told.
pub(crate) struct SmallDisk(PathBuf);

/// Say something aloud, whether the test passes or not.
pub(crate) fn say(text: &str) {
    use std::io::Write as _;
    // A closed standard error is no reason to fail.
    let _said = writeln!(std::io::stderr(), "{text}");
}

/// A number that nobody chose.
pub(crate) fn random() -> u64 {
    RandomState::new().build_hasher().finish()
}

impl World {
    pub(crate) fn empty() -> Self {
        Self::of_program(PathBuf::from(STANDIN))
    }

    /// Empty, for another program than the stand-in.
    pub(crate) fn of_program(program: PathBuf) -> Self {
        Self { home: tempfile::tempdir().expect("a folder to work in"), program }
    }

    /// `count` cases, one in twenty refused, one in `faults` of the rest
    /// ending badly the first time.
    pub(crate) fn of_scans(count: usize, faults: usize) -> Self {
        let world = Self::empty();
        let [count, faults] = [count, faults].map(|n| n.to_string());
        let made = Command::new(STANDIN)
            .args(["scans", &count, "--faults", &faults, "--out", "."])
            .current_dir(world.home.path())
            .status();
        assert!(made.expect("started").success());
        world
    }

    /// Cases `case0`, `case1`, … of the given behaviours.
    pub(crate) fn write_cases(&self, behaviours: &[&str]) {
        use std::fmt::Write as _;
        let mut manifest = "case,scan,plan\n".to_owned();
        for (at, behaviour) in behaviours.iter().enumerate() {
            let text = format!("holes 2 {behaviour}\n{at}\n");
            fs::write(self.at(&format!("scan-{at}")), text).expect("written");
            writeln!(manifest, "case{at},scan-{at},plan.toml").expect("written");
        }
        fs::write(self.at("plan.toml"), "plan").expect("written");
        fs::write(self.at("manifest.csv"), manifest).expect("written");
    }

    pub(crate) fn at(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }

    /// Put the manifest's first row last.
    pub(crate) fn turn_manifest(&self) {
        let place = self.at("manifest.csv");
        let manifest = fs::read_to_string(&place).expect("there");
        let (heads, rest) = manifest.split_once('\n').expect("heads");
        let (first, rest) = rest.split_once('\n').expect("rows");
        fs::write(place, format!("{heads}\n{rest}{first}\n")).expect("written");
    }

    /// Start `cohort` on the manifest.
    pub(crate) fn start(&self, out: &str, flags: &[&str]) -> Child {
        self.start_of(&self.program, out, flags)
    }

    /// Another build of the same program: the same code in other bytes.
    ///
    /// A process of its own writes it: a file that this one holds open is held
    /// by what other tests start meanwhile too, and cannot be run then.
    pub(crate) fn another_build(&self) -> PathBuf {
        let other = self.at("another-build");
        let script = "cp \"$1\" \"$2\" && printf '\\0' >> \"$2\"";
        let status = Command::new("sh")
            .args(["-c", script, "sh", STANDIN])
            .arg(&other)
            .status()
            .expect("a shell");
        assert!(status.success());
        other
    }

    /// What `cohort` of this program says.
    pub(crate) fn said_by(&self, program: &Path, out: &str, flags: &[&str]) -> String {
        let run = self.start_of(program, out, flags);
        let output = run.wait_with_output().expect("started");
        String::from_utf8_lossy(&output.stderr).into_owned()
    }

    fn start_of(&self, program: &Path, out: &str, flags: &[&str]) -> Child {
        Command::new(program)
            .args(["cohort", "manifest.csv", "--out", out])
            .args(flags)
            .env("RUST_BACKTRACE", "0")
            .current_dir(self.home.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("started")
    }

    /// Its status and what it said.
    pub(crate) fn ended(&self, out: &str, flags: &[&str]) -> (ExitStatus, String) {
        let output = self.start(out, flags).wait_with_output().expect("started");
        let [words, complaints] =
            [&output.stdout, &output.stderr].map(|bytes| String::from_utf8_lossy(bytes));
        (output.status, format!("{words}{complaints}"))
    }

    pub(crate) fn cohort(&self, out: &str, flags: &[&str]) -> ExitStatus {
        self.ended(out, flags).0
    }

    pub(crate) fn said(&self, out: &str, flags: &[&str]) -> String {
        self.ended(out, flags).1
    }

    pub(crate) fn gather(&self, out: &str) -> Option<i32> {
        self.cohort(out, &["--gather"]).code()
    }

    /// Where a case's results stand.
    pub(crate) fn case(&self, out: &str, case: &str) -> PathBuf {
        cases(&self.at(out)).into_iter().find(|path| path.ends_with(case)).expect("there")
    }

    /// Look at everything in place: whole, all of it. The number of cases.
    pub(crate) fn nothing_is_half_there(&self, out: &str) -> usize {
        let out = self.at(out);
        whole::top(&out);
        whole::parts(&out);
        whole::tables(&out);
        let folders = cases(&out);
        for folder in &folders {
            whole::case(folder);
        }
        folders.len()
    }

    /// Folders of work in progress.
    pub(crate) fn leavings(&self, out: &str) -> usize {
        fs::read_dir(self.at(out).join(".tmp")).expect("there").count()
    }

    pub(crate) fn wait_for_cases(&self, out: &str, count: usize) {
        wait_for(|| (cases(&self.at(out)).len() >= count).then_some(()));
    }

    /// Process ids of a run's cases.
    #[expect(clippy::unused_self, reason = "reads as the world's own")]
    pub(crate) fn wait_for_children(&self, parent: u32, count: usize) -> Vec<u32> {
        wait_for(|| {
            let found: Vec<u32> = fs::read_dir("/proc")
                .expect("Linux")
                .flatten()
                .filter_map(|entry| entry.file_name().to_str()?.parse().ok())
                .filter(|pid| parent_of(*pid) == Some(parent))
                .collect();
            (found.len() >= count).then_some(found)
        })
    }

    /// Rows of a CSV table, by head.
    pub(crate) fn rows(&self, out: &str, table: &str) -> Vec<BTreeMap<String, String>> {
        let path = self.at(out).join(format!("tables/{table}.csv"));
        let mut reader = csv::Reader::from_path(path).expect("the table is there");
        reader.deserialize().map(|row| row.expect("a row")).collect()
    }

    /// Mount a file system of so many KiB; `None`, said aloud, where that is
    /// not permitted.
    pub(crate) fn small_disk(&self, name: &str, kib: usize) -> Option<SmallDisk> {
        let path = self.at(name);
        fs::create_dir(&path).expect("made");
        let options = format!("size={kib}k");
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &options, "tmpfs"])
            .arg(&path)
            .stderr(Stdio::null())
            .status();
        if mounted.is_ok_and(|status| status.success()) {
            return Some(SmallDisk(path));
        }
        say("skipped: mounting a small file system is not permitted here");
        None
    }
}

impl SmallDisk {
    pub(crate) fn grow(&self, kib: usize) {
        self.remount(&format!("remount,size={kib}k"));
    }

    pub(crate) fn read_only(&self) {
        self.remount("remount,ro");
    }

    /// Leave no room.
    pub(crate) fn fill(&self) {
        use std::io::Write as _;
        let mut file = fs::File::create(self.0.join("filler")).expect("a name is free");
        while file.write_all(&[0; 4096]).is_ok() {}
    }

    fn remount(&self, options: &str) {
        let status = Command::new("mount").args(["-o", options]).arg(&self.0).status();
        assert!(status.expect("mount was there").success());
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        // Lazily: a file may still be open.
        let _unmounted = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

/// Every file of the tables, by name.
pub(crate) fn tables(out: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(out.join("tables")).expect("gathered");
    let read = |entry: fs::DirEntry| {
        let name = entry.file_name().to_string_lossy().into_owned();
        (name, fs::read(entry.path()).expect("readable"))
    };
    let tables: BTreeMap<_, _> = entries.flatten().map(read).collect();
    assert_eq!(tables.len(), 7);
    tables
}

/// Every file below a folder.
pub(crate) fn files(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut found = Vec::new();
    let mut waiting = vec![folder.to_path_buf()];
    while let Some(path) = waiting.pop() {
        if path.is_dir() {
            waiting.extend(fs::read_dir(&path).expect("readable").flatten().map(|e| e.path()));
        } else {
            let bytes = fs::read(&path).expect("readable");
            found.push((path, bytes));
        }
    }
    found
}

/// Whether a process still runs: a dead one that nobody waited for does not.
pub(crate) fn is_alive(pid: u32) -> bool {
    let stat = fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default();
    stat.rsplit_once(") ").is_some_and(|(_, rest)| !rest.starts_with(['Z', 'X']))
}

fn parent_of(pid: u32) -> Option<u32> {
    let stat = fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
    stat.rsplit_once(") ")?.1.split(' ').nth(1)?.parse().ok()
}

fn cases(out: &Path) -> Vec<PathBuf> {
    let list = |path: &Path| -> Vec<PathBuf> {
        fs::read_dir(path).into_iter().flatten().flatten().map(|e| e.path()).collect()
    };
    list(&out.join("cases")).iter().flat_map(|folder| list(folder)).collect()
}

/// Look until there is something, half a minute at most.
fn wait_for<T>(mut look: impl FnMut() -> Option<T>) -> T {
    let end = Instant::now() + Duration::from_secs(30);
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < end, "it did not come about in time");
        std::thread::sleep(Duration::from_millis(2));
    }
}
