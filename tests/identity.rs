//! No identifier leaves: names are planted, and every byte that leaves is
//! searched for them.

mod every_command;

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Command;

use every_command::{World, results, run};

use pilothole_phantom::{Identity, SeriesHeader, demo_hip, write_series};
use pilothole_tests::{binary, files_below};

/// Made for this test; recognisable, no real person's.
const PLANTED: [&str; 8] = [
    "ZZQUILLFEATHER",
    "PATNUM7788991",
    "19010203",
    "ZZHOSPITALNAME",
    "ZZDOCTORNAME",
    "ZZSTUDYWORDS",
    "19991231",
    "zzfoldername",
];

fn header() -> SeriesHeader {
    SeriesHeader {
        description: "ZZSTUDYWORDS series".to_owned(),
        identity: Some(Identity {
            patient_name: "ZZQUILLFEATHER^AB".to_owned(),
            patient_id: "PATNUM7788991".to_owned(),
            birth_date: "19010203".to_owned(),
            institution: "ZZHOSPITALNAME".to_owned(),
            physician: "ZZDOCTORNAME".to_owned(),
            study_description: "ZZSTUDYWORDS".to_owned(),
            study_date: "19991231".to_owned(),
        }),
        ..SeriesHeader::default()
    }
}

fn holds(bytes: &[u8], word: &str) -> bool {
    bytes.windows(word.len()).any(|window| window.eq_ignore_ascii_case(word.as_bytes()))
}

/// Run at the noisiest and search everything said and written.
fn search(args: &[&str], out: Option<&Path>) {
    let run = Command::new(binary())
        .args(args)
        .env("RUST_BACKTRACE", "1")
        .env("RUST_LOG", "trace")
        .output()
        .expect("the binary runs");
    let mut texts = vec![("stdout".to_owned(), run.stdout), ("stderr".to_owned(), run.stderr)];
    texts.extend(out.into_iter().flat_map(results));
    is_clean(texts, args);
}

/// Nothing of what was planted, in names or bytes.
fn is_clean(texts: Vec<(String, Vec<u8>)>, args: &[impl std::fmt::Debug]) {
    let uid = b"2.25.";
    for (name, bytes) in texts {
        for word in PLANTED {
            assert!(!holds(&bytes, word), "{word} leaves by {name} of {args:?}");
            assert!(!holds(name.as_bytes(), word), "{word} leaves in the name {name} of {args:?}");
        }
        // A phantom is a made series with identifiers of its own.
        let made = name.starts_with("phantom/");
        let found = bytes.windows(uid.len()).any(|w| w == uid);
        assert!(made || !found, "a UID leaves by {name} of {args:?}");
    }
}

#[test]
fn nothing_of_the_patient_or_of_a_file_name_leaves() {
    let home = tempfile::tempdir().expect("a folder");
    let phantom = demo_hip().expect("made");
    let scan = home.path().join("zzfoldername");
    let files = write_series(&phantom.volume, &scan, &header()).expect("written");
    let plan = home.path().join("zzfoldername-plan.toml");
    fs::write(&plan, &phantom.plan_toml).expect("written");
    let out = home.path().join("results");
    let text = |path: &Path| path.to_str().expect("UTF-8").to_owned();
    let (scan, plan, to) = (text(&scan), text(&plan), text(&out));

    search(&["inspect", &scan], None);
    search(&["inspect", &scan, "--json", "--identity"], None);
    search(&["assess", &scan, &plan, "--out", &to, "--samples", "20"], Some(&out));
    search(&["assess", &scan, &plan, "--out", &to, "--samples", "20", "--json"], Some(&out));

    // Error paths: a gap, a truncated file, a broken plan, no scan at all.
    fs::remove_file(&files[40]).expect("removed");
    search(&["assess", &scan, &plan, "--out", &to], None);
    let bytes = fs::read(&files[41]).expect("there");
    fs::write(&files[41], &bytes[..700]).expect("written");
    search(&["assess", &scan, &plan, "--out", &to], None);
    search(&["inspect", &scan], None);
    search(&["plan", "check", &scan], None);
    search(&["assess", &text(&home.path().join("zzfoldername-none")), &plan, "--out", &to], None);
    search(&["assess", &scan, &text(&home.path().join("zzfoldername-none")), "--out", &to], None);
}

#[test]
fn nothing_planted_leaves_by_any_command() {
    let home = tempfile::tempdir().expect("a folder");
    let world = World::make(home.path(), "zzfoldername", &header());
    for words in world.commands("zzfoldername", "2") {
        let run = run(&words);
        let status = run.status.code();
        // A ball has no head of a femur to propose.
        assert!(status == Some(0) || words[0] == "landmarks", "{words:?}: {status:?} {run:?}");
        is_clean(
            vec![("stdout".to_owned(), run.stdout), ("stderr".to_owned(), run.stderr)],
            &words,
        );
    }
    is_clean(results(&world.out), &["every command"]);
}

/// Ways in which an input goes wrong, each with the planted folder in its place.
fn broken(world: &World, home: &Path) {
    let files: Vec<_> = fs::read_dir(&world.scan).expect("readable").flatten().collect();
    let mut files: Vec<_> = files.into_iter().map(|entry| entry.path()).collect();
    files.sort();
    let whole = fs::read(&files[3]).expect("readable");
    fs::write(&files[3], &whole[..whole.len() / 2]).expect("written");
    // Patient words where numbers belong.
    let text = fs::read(&files[5]).expect("readable");
    let at = text.windows(4).position(|w| w == [0x28, 0x00, 0x30, 0x00]).expect("a spacing");
    let mut worse = text.clone();
    worse[at + 8..at + 11].copy_from_slice(b"ZZQ");
    fs::write(&files[5], worse).expect("written");
    fs::write(home.join("zzfoldername-plan.toml"), "side = \"left\"\nzz = [").expect("written");
    fs::write(home.join("zzfoldername-table.csv"), "id,seat_x\na,b\n").expect("written");
    fs::write(home.join("zzfoldername-frame.txt"), "1 2\nx\n").expect("written");
    fs::write(home.join("zzfoldername-recipe.toml"), "scene = 7\n").expect("written");
    let rows = "case,scan,plan\na,zzfoldername-none,zzfoldername-plan.toml\na,b\n";
    fs::write(home.join("zzfoldername-manifest.csv"), rows).expect("written");
}

#[test]
fn nothing_planted_leaves_by_any_error_path() {
    let home = tempfile::tempdir().expect("a folder");
    let world = World::make(home.path(), "zzfoldername", &header());
    broken(&world, home.path());
    let mut failed = 0;
    for words in world.commands("zzfoldername", "2") {
        let run = run(&words);
        failed += usize::from(run.status.code() != Some(0));
        is_clean(
            vec![("stdout".to_owned(), run.stdout), ("stderr".to_owned(), run.stderr)],
            &words,
        );
    }
    assert!(failed >= 12, "the error paths were taken: {failed}");
    // Nothing there at all, and a file where a folder belongs.
    fs::remove_dir_all(&world.scan).expect("removed");
    for _ in 0..2 {
        for words in world.commands("zzfoldername", "1") {
            let run = run(&words);
            let said = vec![("stdout".to_owned(), run.stdout), ("stderr".to_owned(), run.stderr)];
            is_clean(said, &words);
        }
        fs::write(&world.scan, "ZZQUILLFEATHER PATNUM7788991").expect("written");
    }
    is_clean(results(&world.out), &["every error path"]);
}

/// An archive of the slices whose names and comment are planted.
fn planted_zip(scan: &Path, to: &Path) {
    let mut writer = zip::ZipWriter::new(fs::File::create(to).expect("made"));
    writer.set_comment("PATNUM7788991").expect("short");
    let options = zip::write::SimpleFileOptions::default();
    for (at, path) in files_below(scan).iter().enumerate() {
        writer.start_file(format!("ZZQUILLFEATHER/{at}"), options).expect("starts");
        writer.write_all(&fs::read(path).expect("readable")).expect("writes");
    }
    writer.finish().expect("finishes");
}

fn planted_tar(scan: &Path, to: &Path) {
    let mut builder = tar::Builder::new(fs::File::create(to).expect("made"));
    builder.append_dir_all("ZZQUILLFEATHER", scan).expect("appends");
    builder.finish().expect("finishes");
}

/// A NIfTI-1 file of 24 voxels an edge, a bright cube in soft tissue in air, with
/// something planted in every field of text of its header.
fn planted_nifti(to: &Path) {
    const EDGE: i16 = 24;
    let mut bytes = vec![0_u8; 352];
    bytes[0..4].copy_from_slice(&348_i32.to_le_bytes());
    for (at, value) in [(40, 3), (42, EDGE), (44, EDGE), (46, EDGE), (48, 1), (70, 4), (72, 16)] {
        bytes[at..at + 2].copy_from_slice(&value.to_le_bytes());
    }
    bytes[108..112].copy_from_slice(&352_f32.to_le_bytes());
    bytes[123] = 2;
    bytes[254] = 1;
    for (at, step) in [(280, -2_f32), (300, -2.0), (320, 2.0)] {
        bytes[at..at + 4].copy_from_slice(&step.to_le_bytes());
    }
    for (at, word) in PLANTED.iter().zip([4, 14, 148, 170, 228, 328]).map(|(word, at)| (at, word)) {
        let room = if at == 4 { 10 } else { 14 };
        let text = &word.as_bytes()[..word.len().min(room)];
        bytes[at..at + text.len()].copy_from_slice(text);
    }
    bytes[344..348].copy_from_slice(b"n+1\0");
    let within = |from: i16, at: [i16; 3]| at.iter().all(|i| (from..EDGE - from).contains(i));
    for z in 0..EDGE {
        for y in 0..EDGE {
            for x in 0..EDGE {
                let hu: i16 = match [x, y, z] {
                    at if within(8, at) => 900,
                    at if within(3, at) => 50,
                    _ => -1000,
                };
                bytes.extend(hu.to_le_bytes());
            }
        }
    }
    fs::write(to, bytes).expect("written");
}

#[test]
fn nothing_planted_leaves_by_an_archive_or_a_nifti_file() {
    let home = tempfile::tempdir().expect("a folder");
    let world = World::make(home.path(), "zzfoldername", &header());
    let place = |name: &str| home.path().join(name);
    planted_zip(&world.scan, &place("zzfoldername.zip"));
    planted_tar(&world.scan, &place("zzfoldername.tar"));
    planted_nifti(&place("zzfoldername.nii"));
    let text = |path: &Path| path.to_str().expect("UTF-8").to_owned();
    let (plan, to) = (text(&world.plan), text(&world.out));
    for ending in ["zip", "tar", "nii"] {
        let scan = text(&place(&format!("zzfoldername.{ending}")));
        search(&["inspect", &scan, "--json", "--identity"], None);
        search(&["bone", &scan, "--out", &to], Some(&world.out));
        assert!(results(&world.out).len() > 2, "{ending}: bones were written");
        fs::remove_dir_all(&world.out).expect("removed");
        search(&["assess", &scan, &plan, "--out", &to, "--samples", "20"], Some(&world.out));
        // Cut short: an error path.
        let whole = fs::read(&scan).expect("readable");
        fs::write(&scan, &whole[..whole.len() / 3]).expect("written");
        search(&["inspect", &scan], None);
        search(&["assess", &scan, &plan, "--out", &to], None);
        if world.out.exists() {
            fs::remove_dir_all(&world.out).expect("removed");
        }
    }
}
