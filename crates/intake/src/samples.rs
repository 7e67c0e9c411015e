//! Stored values of sample files against the recorded values of other readers.
//!
//! `fixtures/intake/samples.csv` was made by
//! `tests/reference/intake_samples.py`; the files themselves are found at test
//! time: the wheel of pydicom through `python3` (or the interpreter named by
//! `PILOTHOLE_PYTHON`), the others in `PILOTHOLE_DATA` or beside the workspace.
#![expect(clippy::print_stderr, reason = "a test says aloud what it skips")]

use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use sha2::{Digest, Sha256};

use crate::dicom::{Head, Recognised, open_file};
use crate::limits::Limits;
use crate::pixels::{FileJob, Rule, SliceJob, load};
use crate::source::Blob;

/// Samples that are not equal, each with its reason; the list may only shrink.
const KNOWN: &[(&str, &str)] = &[
    ("JPEG-lossy.dcm", "JPEG extended, 12 bit, is refused"),
    ("JPGExtended.dcm", "JPEG extended, 12 bit, is refused"),
    ("1.2.840.10008.1.2.4.51.dcm", "JPEG extended, 12 bit, is refused"),
    ("1.2.840.10008.1.2.4.53.dcm", "JPEG spectral selection is refused"),
    ("1.2.840.10008.1.2.4.55.dcm", "JPEG full progression is refused"),
    ("1.2.840.10008.1.2.4.50.dcm", "lossy: rounding differs, by 1 at most, in 0.05 % of pixels"),
    ("JPEG2000.dcm", "lossy: rounding differs, by 1 at most, in 0.12 % of pixels"),
    ("CT1_J2KI.dcm", "lossy: rounding differs, by 1 at most, in 0.94 % of pixels"),
    ("JPEG2000-embedded-sequence-delimiter.dcm", "the other readers have no value either"),
    ("MR_truncated.dcm", "pixels are cut off"),
];

/// The sample's stored values, or why there are none.
fn stored(bytes: Vec<u8>) -> Result<Vec<i32>, &'static str> {
    let limits = Limits::default();
    let blob = Blob::held(bytes);
    let head: Box<Head> = match open_file(&blob, &limits) {
        Recognised::Object(head) => head,
        Recognised::Other => return Err("not DICOM"),
        Recognised::Damaged(_) => return Err("damaged header"),
    };
    let mut layout = head.layout;
    layout.padding = None;
    let rule = Rule::new(&layout, 1.0, 0.0);
    let slices = (0..head.frame_count).map(|frame| SliceJob { frame, slot: frame, rule }).collect();
    let place = head.pixels.ok_or("no pixels")?;
    let frame_count = head.frame_count;
    let job = FileJob { blob: &blob, ordinal: 1, layout, place, frame_count, slices };
    let loaded = load::<f32>(&[job], &limits).map_err(|_fault| "pixels refused")?;
    Ok(loaded.values.into_iter().map(|v| v as i32).collect())
}

fn hash(values: &[i32]) -> String {
    let mut hash = Sha256::new();
    for value in values {
        hash.update(value.to_le_bytes());
    }
    hash.finalize().iter().fold(String::new(), |text, byte| format!("{text}{byte:02x}"))
}

#[expect(clippy::disallowed_methods, reason = "tests are told where samples lie")]
fn setting(name: &str) -> Option<PathBuf> {
    std::env::var(name).ok().map(PathBuf::from)
}

/// Folder of pydicom's sample files, where a Python has it.
fn wheel() -> Option<PathBuf> {
    let python = setting("PILOTHOLE_PYTHON").unwrap_or_else(|| "python3".into());
    let script = "import pydicom, os; print(os.path.dirname(pydicom.__file__))";
    let output = Command::new(python).args(["-c", script]).output().ok()?;
    let folder = PathBuf::from(String::from_utf8(output.stdout).ok()?.trim());
    let folder = folder.join("data").join("test_files");
    folder.is_dir().then_some(folder)
}

fn data() -> Option<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    let folder = setting("PILOTHOLE_DATA").unwrap_or(beside).join("trouble");
    folder.is_dir().then_some(folder)
}

fn sample(set: &str, file: &str, wheel: Option<&Path>, data: Option<&Path>) -> Option<Vec<u8>> {
    if set == "pydicom" {
        return std::fs::read(wheel?.join(file)).ok();
    }
    let archive = std::fs::File::open(data?.join(set)).ok()?;
    let mut archive = zip::ZipArchive::new(archive).ok()?;
    let mut bytes = Vec::new();
    archive.by_name(file).ok()?.read_to_end(&mut bytes).ok()?;
    Some(bytes)
}

#[test]
fn samples_hold_what_other_readers_found() {
    let table = include_str!("../../../fixtures/intake/samples.csv");
    let (wheel, data) = (wheel(), data());
    if wheel.is_none() {
        eprintln!("skipped: no pydicom samples");
    }
    if data.is_none() {
        eprintln!("skipped: no real scan");
    }
    let (mut equal, mut wrong) = (0, Vec::new());
    for line in table.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let [set, file, .., recorded] = cells[..] else { panic!("a row of eight cells") };
        let Some(bytes) = sample(set, file, wheel.as_deref(), data.as_deref()) else { continue };
        let found = stored(bytes);
        let is_equal = found.as_ref().is_ok_and(|values| hash(values) == recorded);
        let known = KNOWN.iter().find(|(name, _)| *name == file);
        match (is_equal, known) {
            (true, None) => equal += 1,
            (true, Some(_)) => {
                wrong.push(format!("{set}/{file} is equal now: take it off the list"));
            }
            (false, Some(_)) => {}
            (false, None) => {
                wrong.push(format!("{set}/{file}: {}", found.err().unwrap_or("other values")));
            }
        }
    }
    eprintln!("{equal} samples equal, {} known not to be", KNOWN.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    if wheel.is_some() && data.is_some() {
        assert!(equal >= 40, "something ran");
    }
}
