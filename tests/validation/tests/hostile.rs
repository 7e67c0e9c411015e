//! Files made to hurt, read in a child with a limit of memory and of time.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Output};

/// Address space of a child, KiB. A child of two threads takes a tenth.
const MOST_KIB: u32 = 2_000_000;
/// A hang, not a slow machine: such a child ends within seconds.
const MOST_SECONDS: &str = "300";
/// Broken files of each kind.
const COUNT: &str = "400";

/// Run this package's program under the limits.
fn limited(args: &[&str]) -> Output {
    Command::new("sh")
        .arg("-c")
        .arg(format!("ulimit -v {MOST_KIB}; exec timeout {MOST_SECONDS} \"$0\" \"$@\""))
        .arg(env!("CARGO_BIN_EXE_validation"))
        .args(args)
        .env("RAYON_NUM_THREADS", "2")
        .output()
        .expect("sh runs")
}

#[test]
fn changed_files_of_every_kind_do_no_harm() {
    let run = limited(&["--hostile", COUNT]);
    let said = String::from_utf8_lossy(&run.stdout);
    #[expect(clippy::print_stderr, reason = "the number of files tried is said aloud")]
    {
        eprintln!("{said}");
    }
    let end = String::from_utf8_lossy(&run.stderr);
    assert!(run.status.success(), "{:?}\n{said}\n{end}", run.status);
    assert_eq!(said.lines().count(), 11, "every kind was tried:\n{said}");
    for line in said.lines() {
        assert!(
            line.contains(&format!(": {COUNT} tried")) && line.ends_with(" 0 panicked"),
            "{line}"
        );
    }
}

/// Read one file as the tool reads it, under the limits; whether it was taken.
fn reads(kind: &str, path: &Path) -> bool {
    let run = limited(&["--read", kind, path.to_str().expect("UTF-8")]);
    let said = String::from_utf8_lossy(&run.stdout).into_owned();
    assert!(run.status.success(), "{kind}: {:?} {said}", run.status);
    assert!(said == "taken\n" || said == "refused\n", "{kind}: {said}");
    said == "taken\n"
}

fn written(home: &Path, name: &str, bytes: &[u8]) -> std::path::PathBuf {
    let path = home.join(name);
    std::fs::write(&path, bytes).expect("written");
    path
}

/// A gzip stream of zeros and a zip of them: 280 MiB, 24 more than may be packed
/// so tightly.
fn bombs() -> (Vec<u8>, Vec<u8>) {
    let zeros = vec![0_u8; 1 << 20];
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    zip.start_file("../../zeros", options).expect("starts");
    for _ in 0..280 {
        zip.write_all(&zeros).expect("writes");
        gzip.write_all(&zeros).expect("writes");
    }
    (gzip.finish().expect("finishes"), zip.finish().expect("finishes").into_inner())
}

#[test]
fn many_megabytes_of_zeros_in_an_archive_are_refused() {
    let home = tempfile::tempdir().expect("a folder");
    let (gzip, zip) = bombs();
    for (name, bytes) in [("b.tar.gz", &gzip), ("b.nii.gz", &gzip), ("b.zip", &zip)] {
        assert!(bytes.len() < 8 << 20, "{name} is small: {}", bytes.len());
        assert!(!reads("scan", &written(home.path(), name, bytes)), "{name}");
    }
}

#[test]
fn archives_write_nothing_whatever_their_names() {
    let home = tempfile::tempdir().expect("a folder");
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    for name in ["../escaped", "/tmp/escaped", "a/../../escaped", "C:\\escaped", "x\0escaped"] {
        zip.start_file(name, options).expect("starts");
        zip.write_all(b"no slice").expect("writes");
    }
    let bytes = zip.finish().expect("finishes").into_inner();
    let path = written(home.path(), "t.zip", &bytes);
    assert!(!reads("scan", &path));
    let left: Vec<_> = std::fs::read_dir(home.path()).expect("readable").collect();
    assert_eq!(left.len(), 1, "only the archive is there");
    assert!(!Path::new("/tmp/escaped").exists());
}

#[test]
fn plans_that_grow_or_nest_are_refused() {
    let home = tempfile::tempdir().expect("a folder");
    let deep = 200_000;
    let lists = format!("a = {}{}", "[".repeat(deep), "]".repeat(deep));
    let tables = format!("a = {}1{}", "{a = ".repeat(deep), "}".repeat(deep));
    let dotted = format!("{}a = 1", "a.".repeat(deep));
    let heads = "[[hole]]\n".repeat(deep);
    let long = format!("schema = \"{}\"", "x".repeat(64 << 20));
    // Neither language has references: a text can only repeat itself.
    let laughs: Vec<String> =
        (0..200_000).map(|n| format!("lol{n} = [\"lol\", \"lol\"]\n")).collect();
    let laughs = laughs.concat();
    for (name, text) in [
        ("lists", &lists),
        ("tables", &tables),
        ("dotted", &dotted),
        ("heads", &heads),
        ("long", &long),
        ("laughs", &laughs),
    ] {
        let path = written(home.path(), &format!("{name}.toml"), text.as_bytes());
        assert!(!reads("plan", &path), "{name}");
    }
    let lists = format!("{}{}", "[".repeat(deep), "]".repeat(deep));
    let objects = format!("{}1{}", "{\"a\":".repeat(deep), "}".repeat(deep));
    for (name, text) in [("lists", &lists), ("objects", &objects)] {
        let path = written(home.path(), &format!("{name}.json"), text.as_bytes());
        assert!(!reads("plan", &path), "{name}");
    }
}

#[test]
fn manifests_that_grow_are_refused() {
    let home = tempfile::tempdir().expect("a folder");
    let columns: Vec<String> = (0..200_000).map(|n| format!(",c{n}")).collect();
    let columns = columns.concat();
    let wide = format!("case,scan,plan{columns},c0\n");
    let quoted = format!("case,scan,plan\n\"{}", "x\n".repeat(1 << 22));
    for (name, text) in [("wide", &wide), ("quoted", &quoted)] {
        assert!(!reads("manifest", &written(home.path(), &format!("{name}.csv"), text.as_bytes())));
    }
}
