//! No identifier leaves: names are planted, and every byte that leaves is
//! searched for them.

use std::fs;
use std::path::Path;
use std::process::Command;

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
    if let Some(out) = out.filter(|out| out.exists()) {
        for file in files_below(out) {
            let name = file.file_name().expect("a file has a name").to_string_lossy().into_owned();
            texts.push((name, fs::read(&file).expect("readable")));
        }
    }
    let uid = b"2.25.";
    for (name, bytes) in texts {
        for word in PLANTED {
            assert!(!holds(&bytes, word), "{word} leaves by {name} of {args:?}");
        }
        assert!(!bytes.windows(uid.len()).any(|w| w == uid), "a UID leaves by {name} of {args:?}");
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
