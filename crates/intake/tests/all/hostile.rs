//! Files made to hurt: no panic, no flood of memory, no long wait.
#![expect(clippy::print_stderr, reason = "the number of files tried is said aloud")]

use std::path::Path;
use std::time::{Duration, Instant};

use pilothole_intake::{Limits, open};

use crate::made::{BIG_ENDIAN, DEFLATED, EXPLICIT, IMPLICIT, Series, code, read};
use crate::mutate::{Draw, mutated};
use crate::pixels::{RUN_LENGTH, pack, run_length};

/// Files to start from: every native syntax, run lengths, and where they are
/// at hand a slice in every packed syntax.
pub(crate) fn bases() -> Vec<Vec<u8>> {
    let mut bases: Vec<Vec<u8>> = [EXPLICIT, IMPLICIT, BIG_ENDIAN, DEFLATED]
        .into_iter()
        .map(|syntax| Series { syntax, ..Series::default() }.file(0))
        .collect();
    let packed = Series { syntax: RUN_LENGTH, ..Series::default() }
        .with(|k, o| pack(o, vec![run_length(&Series::default().stored(k))]));
    bases.push(packed.file(0));
    bases
}

/// Open and read one file as a volume of one slice; how long it took.
pub(crate) fn attempt(path: &Path, bytes: &[u8]) -> Duration {
    std::fs::write(path, bytes).expect("writes");
    let limits = Limits { min_slices: 1, ..Limits::default() };
    let start = Instant::now();
    if let Ok(scan) = open(path, &limits) {
        for ordinal in scan.usable() {
            let _outcome = scan.read(Some(ordinal), &limits);
        }
    }
    start.elapsed()
}

#[test]
fn mutated_files_do_no_harm() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("m");
    let bases = bases();
    let mut worst = Duration::ZERO;
    // Five bases, 700 changes each.
    for seed in 0..3500 {
        let mut draw = Draw::new(seed);
        let bytes = mutated(&bases[seed as usize % bases.len()], &mut draw);
        worst = worst.max(attempt(&path, &bytes));
    }
    eprintln!("3500 mutated files tried, the slowest {worst:?}");
    assert!(worst < Duration::from_secs(2), "{worst:?}");
}

#[test]
fn files_cut_anywhere_do_no_harm() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("c");
    let mut tried = 0;
    for (at, base) in bases().into_iter().enumerate() {
        // Every byte of the first header, every seventh of the rest.
        for keep in 0..base.len() {
            if (at == 0 && keep < 1300) || keep % 7 == at {
                attempt(&path, &base[..keep]);
                tried += 1;
            }
        }
    }
    eprintln!("{tried} cut files tried");
}

#[test]
fn a_length_beyond_the_file_is_refused_before_memory_is_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("lie");
    let whole = Series::default().file(0);
    // (0008,0005) with a claim of 4 GiB less 16, before the first element.
    let tag = [0x08, 0x00, 0x16, 0x00];
    let at = whole.windows(4).position(|w| w == tag).expect("the class is there");
    for vr in [b"UN", b"OB", b"UT", b"SQ"] {
        let mut lie = whole.clone();
        let mut element = vec![0x08, 0x00, 0x05, 0x00, vr[0], vr[1], 0, 0];
        element.extend(0xFFFF_FFF0_u32.to_le_bytes());
        lie.splice(at..at, element);
        let took = attempt(&path, &lie);
        assert!(took < Duration::from_millis(500), "{took:?}");
        assert_eq!(code(read(&path)), "pixels.truncated");
    }
}

#[test]
fn deep_nesting_is_refused_and_shallow_nesting_is_not() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("deep");
    let whole = Series::default().file(0);
    let tag = [0x08, 0x00, 0x16, 0x00];
    let at = whole.windows(4).position(|w| w == tag).expect("the class is there");
    for (deep, expected) in [
        (5, "scan.too_few_slices"),
        (31, "scan.too_few_slices"),
        (40, "limits.too_large"),
        (20_000, "limits.too_large"),
    ] {
        let mut bytes = whole.clone();
        let mut nest = Vec::new();
        for _ in 0..deep {
            nest.extend([0x08, 0x00, 0x40, 0x11, b'S', b'Q', 0, 0, 0xFF, 0xFF, 0xFF, 0xFF]);
            nest.extend([0xFE, 0xFF, 0x00, 0xE0, 0xFF, 0xFF, 0xFF, 0xFF]);
        }
        for _ in 0..deep {
            nest.extend([0xFE, 0xFF, 0x0D, 0xE0, 0, 0, 0, 0, 0xFE, 0xFF, 0xDD, 0xE0, 0, 0, 0, 0]);
        }
        bytes.splice(at..at, nest);
        std::fs::write(&path, bytes).expect("writes");
        assert_eq!(code(read(&path)), expected, "{deep} deep");
    }
}

#[test]
fn a_matrix_larger_than_the_file_is_refused_at_once() {
    let series = Series::default().with(|_, o| {
        crate::made::number(o, dicom_dictionary_std::tags::ROWS, 65_535);
        crate::made::number(o, dicom_dictionary_std::tags::COLUMNS, 65_535);
    });
    let start = Instant::now();
    let code = series.refused();
    assert!(matches!(code, "pixels.size" | "limits.too_large"), "{code}");
    assert!(start.elapsed() < Duration::from_secs(1));
}
