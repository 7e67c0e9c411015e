//! Nothing that names a patient, a study or a place leaves.

use dicom_core::VR;
use dicom_dictionary_std::tags;
use pilothole_intake::{Limits, open};

use crate::made::{Series, text};

const PLANTED: [&str; 8] = [
    "ZWILLINGER",
    "QX-4711",
    "19470203",
    "2.25.998877",
    "Sankt-Elsewhere",
    "FOLDERNAME",
    "FILENAME",
    "KERNELNAME",
];

fn planted() -> Series {
    Series::default().with(|k, o| {
        text(o, tags::PATIENT_NAME, VR::PN, "ZWILLINGER^ADA");
        text(o, tags::PATIENT_ID, VR::LO, "QX-4711");
        text(o, tags::PATIENT_BIRTH_DATE, VR::DA, "19470203");
        text(o, tags::INSTITUTION_NAME, VR::LO, "Sankt-Elsewhere");
        text(o, tags::SERIES_INSTANCE_UID, VR::UI, "2.25.998877");
        text(o, tags::STUDY_INSTANCE_UID, VR::UI, "2.25.9988771");
        text(o, tags::SOP_INSTANCE_UID, VR::UI, &format!("2.25.9988772{k}"));
        text(o, tags::CONVOLUTION_KERNEL, VR::SH, "KERNELNAME");
        text(o, tags::SERIES_DESCRIPTION, VR::LO, "hip of ZWILLINGER");
        text(o, tags::RESCALE_TYPE, VR::LO, "HU");
    })
}

fn assert_clean(what: &str, text: &str) {
    for name in PLANTED {
        assert!(!text.contains(name), "{what} shows {name}: {text}");
    }
}

#[test]
fn planted_names_are_in_no_output() {
    let outer = tempfile::tempdir().expect("a folder");
    let folder = outer.path().join("FOLDERNAME");
    std::fs::create_dir(&folder).expect("makes a folder");
    for k in 0..8 {
        let path = folder.join(format!("FILENAME{k}"));
        std::fs::write(path, planted().file(k)).expect("writes");
    }
    let limits = Limits::default();
    let scan = open(&folder, &limits).expect("opens");
    assert_clean("scan", &format!("{scan:?}"));
    assert_clean("series", &format!("{:?} {:?}", scan.series(), scan.surveyed(&limits)));
    assert_clean("tags", &format!("{:?}", scan.identity_tags(1)));
    let intake = scan.read(None, &limits).expect("reads");
    assert_clean("facts", &format!("{:?} {:?}", intake.facts, intake.findings));
    assert_clean("volume", &format!("{:?}", intake.volume.grid()));
}

#[test]
fn planted_names_are_in_no_refusal() {
    type Broken = (&'static str, fn(usize, &mut crate::made::Object));
    let broken: [Broken; 7] = [
        ("gap", |k, o| text(o, tags::IMAGE_POSITION_PATIENT, VR::DS, &format!("0\\0\\{}", k * k))),
        ("unit", |_, o| text(o, tags::RESCALE_TYPE, VR::LO, "ZWILLINGER")),
        ("modality", |_, o| text(o, tags::MODALITY, VR::CS, "ZWILLINGER")),
        ("number", |_, o| text(o, tags::PIXEL_SPACING, VR::DS, "ZWILLINGER")),
        ("type", |_, o| text(o, tags::IMAGE_TYPE, VR::CS, "ZWILLINGER\\QX-4711\\LOCALIZER")),
        ("class", |_, o| text(o, tags::SOP_CLASS_UID, VR::UI, "2.25.998877")),
        ("pixels", |k, o| {
            if k == 1 {
                crate::made::words(o, &[1, 2, 3]);
            }
        }),
    ];
    for (what, change) in broken {
        let outer = tempfile::tempdir().expect("a folder");
        let folder = outer.path().join("FOLDERNAME");
        std::fs::create_dir(&folder).expect("makes a folder");
        let series = planted().with(change);
        for k in 0..8 {
            let path = folder.join(format!("FILENAME{k}"));
            std::fs::write(path, series.file(k)).expect("writes");
        }
        let limits = Limits::default();
        let scan = open(&folder, &limits).expect("lists it");
        assert_clean(what, &format!("{:?}", scan.series()));
        let refusal = scan.read(None, &limits).expect_err(what);
        assert_clean(what, &format!("{refusal} {refusal:?}"));
    }
    let refusal = open(std::path::Path::new("/FOLDERNAME/FILENAME"), &Limits::default());
    assert_clean("absent", &format!("{refusal:?}"));
}

#[test]
fn tags_are_named_by_keyword_and_action() {
    let folder = tempfile::tempdir().expect("a folder");
    planted().write(folder.path());
    let scan = open(folder.path(), &Limits::default()).expect("opens");
    let found = scan.identity_tags(1);
    let action = |keyword| found.iter().find(|tag| tag.keyword == keyword).map(|tag| tag.action);
    // PS3.15 table E.1-1, 2024e.
    assert_eq!(action("PatientName"), Some("Z"));
    assert_eq!(action("PatientID"), Some("Z/D"));
    assert_eq!(action("InstitutionName"), Some("X/Z/D"));
    assert_eq!(action("SeriesDescription"), Some("X"));
    assert_eq!(action("SOPInstanceUID"), Some("U"));
    assert_eq!(action("KVP"), None);
    assert!(found.iter().all(|tag| tag.file_count == 8));
    let finding = scan.series()[0].findings.iter().find(|f| f.code == "identity.present");
    assert_eq!(finding.and_then(|f| f.measured), Some(5.0));
}

#[test]
fn nested_and_private_attributes_are_found_and_removal_is_believed_for_dummies() {
    let folder = tempfile::tempdir().expect("a folder");
    let series = Series::default().with(|_, o| {
        text(o, tags::PATIENT_IDENTITY_REMOVED, VR::CS, "YES");
        text(o, tags::PATIENT_NAME, VR::PN, "dummy");
        let mut inner = crate::made::Object::new_empty();
        text(&mut inner, tags::PATIENT_COMMENTS, VR::LT, "x");
        crate::made::sequence(o, tags::REQUEST_ATTRIBUTES_SEQUENCE, vec![inner]);
        text(o, dicom_core::Tag(0x0009, 0x1001), VR::LO, "private");
    });
    series.write(folder.path());
    let scan = open(folder.path(), &Limits::default()).expect("opens");
    let keywords: Vec<_> = scan.identity_tags(1).iter().map(|tag| tag.keyword).collect();
    for keyword in ["PatientComments", "RequestAttributesSequence", "PrivateAttributes"] {
        assert!(keywords.contains(&keyword), "{keyword} in {keywords:?}");
    }
    let finding = scan.series()[0].findings.iter().find(|f| f.code == "identity.present");
    assert_eq!(finding.and_then(|f| f.measured), Some(3.0));
}
