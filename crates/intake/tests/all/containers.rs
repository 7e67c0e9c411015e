//! The same series in every container and native syntax gives the same volume.

use std::io::Write as _;
use std::path::Path;

use pilothole_intake::{Intake, Limits, open};

use crate::made::{BIG_ENDIAN, DEFLATED, IMPLICIT, Series, code, read};

fn files() -> Vec<Vec<u8>> {
    (0..8).map(|k| Series::default().file(k)).collect()
}

fn reference() -> Intake {
    Series::default().read().expect("reads")
}

fn zipped(entries: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        let options = zip::write::SimpleFileOptions::default()
            .compression_method(zip::CompressionMethod::Deflated);
        writer.start_file(name.as_str(), options).expect("starts");
        writer.write_all(bytes).expect("writes");
    }
    writer.finish().expect("finishes").into_inner()
}

fn tarred(entries: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut builder = tar::Builder::new(Vec::new());
    for (name, bytes) in entries {
        let mut header = tar::Header::new_ustar();
        header.set_size(bytes.len() as u64);
        header.set_mode(0o644);
        header.set_path(name).expect("a path");
        header.set_cksum();
        builder.append(&header, &bytes[..]).expect("appends");
    }
    builder.into_inner().expect("finishes")
}

fn gzipped(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes).expect("writes");
    encoder.finish().expect("finishes")
}

fn named() -> Vec<(String, Vec<u8>)> {
    files().into_iter().enumerate().map(|(k, b)| (format!("../../etc/x{k}"), b)).collect()
}

fn check(path: &Path) {
    let found = read(path).expect("reads");
    assert_eq!(found.digest, reference().digest, "{}", path.extension().is_some());
}

#[test]
fn archives_hold_what_folders_hold() {
    let folder = tempfile::tempdir().expect("a folder");
    let put = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).expect("writes");
        path
    };
    let plain: Vec<_> = named().into_iter().map(|(n, b)| (n.replace("../", ""), b)).collect();
    check(&put("a.zip", &zipped(&named())));
    check(&put("a.tar", &tarred(&plain)));
    check(&put("a.tar.gz", &gzipped(&tarred(&plain))));
    let inner = zipped(&named()[..4]);
    let mut outer = named()[4..].to_vec();
    outer.push(("inner.zip".to_owned(), inner));
    check(&put("nested.zip", &zipped(&outer)));
    assert!(!folder.path().join("etc").exists(), "no name of an entry is used");
}

#[test]
fn an_archive_in_an_archive_in_an_archive_is_passed_over() {
    let folder = tempfile::tempdir().expect("a folder");
    let deep = zipped(&[("b.zip".into(), zipped(&[("c.zip".into(), zipped(&named()))]))]);
    let path = folder.path().join("a.zip");
    std::fs::write(&path, deep).expect("writes");
    assert_eq!(code(read(&path)), "scan.nothing");
}

#[test]
fn a_folder_of_archives_and_odd_files_is_one_scan() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("half.zip"), zipped(&named()[..4])).expect("writes");
    for (k, bytes) in files().into_iter().enumerate().skip(4) {
        std::fs::write(folder.path().join(format!("IM{k}")), bytes).expect("writes");
    }
    std::fs::write(folder.path().join("README"), "viewer").expect("writes");
    std::fs::write(folder.path().join("empty"), "").expect("writes");
    check(folder.path());
    let scan = open(folder.path(), &Limits::default()).expect("opens");
    assert_eq!(scan.passed_over(), 2);
}

#[test]
fn a_media_directory_stands_for_its_folder() {
    let folder = tempfile::tempdir().expect("a folder");
    Series::default().write(folder.path());
    let index = folder.path().join("DICOMDIR");
    let meta = dicom_object::FileMetaTableBuilder::new()
        .transfer_syntax("1.2.840.10008.1.2.1")
        .media_storage_sop_class_uid("1.2.840.10008.1.3.10")
        .media_storage_sop_instance_uid("2.25.5");
    let object = dicom_object::InMemDicomObject::new_empty().with_meta(meta).expect("complete");
    object.write_to_file(&index).expect("writes");
    check(&index);
    check(folder.path());
}

#[test]
fn every_native_syntax_is_the_same_volume() {
    for syntax in [IMPLICIT, DEFLATED, BIG_ENDIAN] {
        let found = Series { syntax, ..Series::default() }.read().expect(syntax);
        assert_eq!(found.digest, reference().digest, "{syntax}");
    }
}

#[test]
fn files_without_preamble_or_meta_group_are_read() {
    for (cut, syntax) in [(128 + 4, "1.2.840.10008.1.2.1"), (128 + 4, IMPLICIT)] {
        let folder = tempfile::tempdir().expect("a folder");
        for k in 0..8 {
            let whole = Series { syntax, ..Series::default() }.file(k);
            std::fs::write(folder.path().join(format!("m{k}")), &whole[cut..]).expect("writes");
        }
        check(folder.path());
    }
    for syntax in ["1.2.840.10008.1.2.1", IMPLICIT, BIG_ENDIAN] {
        let folder = tempfile::tempdir().expect("a folder");
        for k in 0..8 {
            let whole = Series { syntax, ..Series::default() }.file(k);
            // The meta group states its own length after its first 12 bytes.
            let len = u32::from_le_bytes([whole[140], whole[141], whole[142], whole[143]]);
            let bare = &whole[144 + len as usize..];
            std::fs::write(folder.path().join(format!("b{k}")), bare).expect("writes");
        }
        check(folder.path());
    }
}

#[test]
fn bytes_after_the_pixels_do_no_harm() {
    let folder = tempfile::tempdir().expect("a folder");
    for (k, mut bytes) in files().into_iter().enumerate() {
        bytes.extend_from_slice(b"left over by a copying program ");
        std::fs::write(folder.path().join(format!("t{k}")), bytes).expect("writes");
    }
    check(folder.path());
}

#[test]
fn one_file_in_gzip_is_one_file() {
    let folder = tempfile::tempdir().expect("a folder");
    for (k, bytes) in files().into_iter().enumerate() {
        std::fs::write(folder.path().join(format!("{k}.gz")), gzipped(&bytes)).expect("writes");
    }
    check(folder.path());
}

#[test]
fn archives_are_held_to_their_limits() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.zip");
    std::fs::write(&path, zipped(&named())).expect("writes");
    for limits in [
        Limits { max_files: 7, ..Limits::default() },
        Limits { max_unpacked_bytes: 3000, ..Limits::default() },
        Limits { max_held_bytes: 1000, ..Limits::default() },
    ] {
        let refusal = open(&path, &limits).expect_err("over a limit");
        assert_eq!(refusal.0[0].code, "limits.too_large");
    }
    // A MiB of zeros in some KiB, against a ratio of 50.
    let strict = Limits { ratio_from_bytes: 100_000, max_ratio: 50.0, ..Limits::default() };
    let zeros = vec![0; 1 << 20];
    for (name, bomb) in [("b.gz", gzipped(&zeros)), ("c.zip", zipped(&[("z".into(), zeros)]))] {
        let path = folder.path().join(name);
        std::fs::write(&path, bomb).expect("writes");
        let refusal = open(&path, &strict).expect_err("a bomb");
        assert_eq!(refusal.0[0].code, "limits.too_large");
    }
}

#[test]
fn a_locked_archive_is_named_as_such() {
    let mut bytes = zipped(&named());
    // Bit 0 of the flags in each record of the central directory.
    for at in 0..bytes.len() - 10 {
        if bytes[at..at + 4] == *b"PK\x01\x02" {
            bytes[at + 8] |= 1;
        }
    }
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.zip");
    std::fs::write(&path, bytes).expect("writes");
    assert_eq!(code(read(&path)), "scan.locked");
}

#[test]
fn a_cut_archive_is_refused_whole() {
    let folder = tempfile::tempdir().expect("a folder");
    let whole = zipped(&named());
    let path = folder.path().join("a.zip");
    std::fs::write(&path, &whole[..whole.len() - 300]).expect("writes");
    assert_eq!(code(read(&path)), "pixels.truncated");
    // One wrong byte is refused, or it lies in a name or date and changes nothing.
    let mut refused = 0;
    for at in (0..whole.len()).step_by(97) {
        let mut wrong = whole.clone();
        wrong[at] ^= 0x55;
        std::fs::write(&path, &wrong).expect("writes");
        match read(&path) {
            Ok(intake) => assert_eq!(intake.digest, reference().digest, "byte {at}"),
            Err(_) => refused += 1,
        }
    }
    assert!(refused > 10, "{refused}");
}
