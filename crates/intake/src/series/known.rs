//! What headers say about a series, and the reservations that follow.

use super::geometry::Placed;
use super::group::Opened;
use super::kernel::KernelClass;
use crate::dicom::{Codec, FrameHead, Head};
use crate::facts::{Lossy, ScanFacts};
use crate::identity;
use crate::reason::Reason;

/// Facts of a series; those that differ between its files are not stated.
pub(super) fn facts(
    members: &[&Opened],
    frames: &[&FrameHead],
    placed: Option<&Placed>,
) -> ScanFacts {
    let first = frames[0];
    // Values that differ along the series are not one fact.
    let same = |value: fn(&FrameHead) -> Option<f64>| {
        frames.iter().all(|f| value(f) == value(first)).then(|| value(first)).flatten()
    };
    let derived = first.image_type.first().is_some_and(|v| v == "DERIVED");
    let has_type = |word: &str| first.image_type.iter().any(|v| v == word);
    let says_hu = |f: &&FrameHead| f.rescale_type.as_deref() == Some("HU");
    ScanFacts {
        modality: "CT",
        kvp: same(|f| f.kvp),
        kernel_class: kernel_class(frames),
        slice_thickness_mm: same(|f| f.thickness),
        tilt_deg: placed.map(|p| p.tilt_deg),
        tilt_tag_deg: one(members, |h| h.tilt_tag_deg),
        lossy: lossy(members),
        contrast: members.iter().find_map(|m| m.head.contrast),
        derived,
        reformatted: has_type("MPR") || has_type("SECONDARY"),
        multi_energy: members.iter().any(|m| m.head.multi_energy)
            || has_type("VMI")
            || has_type("MULTI_ENERGY"),
        slice_count: frames.len(),
        file_count: members.len(),
        syntax: one(members, |h| h.pixels.map(|p| p.syntax.name)),
        patient_position: one(members, |h| h.patient_position),
        rescale_type: frames.iter().all(says_hu).then_some("HU"),
        bits_stored: members.iter().map(|m| m.head.layout.stored).max().unwrap_or_default(),
        ..ScanFacts::default()
    }
}

/// A fact that all files share; `None` where they differ.
fn one<T: PartialEq>(members: &[&Opened], fact: fn(&Head) -> Option<T>) -> Option<T> {
    let first = fact(&members[0].head);
    members.iter().all(|m| fact(&m.head) == first).then_some(first).flatten()
}

/// The class that all kernels share; of a mixture, sharp when one is.
fn kernel_class(frames: &[&FrameHead]) -> KernelClass {
    let class = |f: &FrameHead| KernelClass::from_name(f.kernel.inner().as_deref());
    let first = class(frames[0]);
    if frames.iter().all(|f| class(f) == first) {
        first
    } else if frames.iter().any(|f| class(f) == KernelClass::Sharp) {
        KernelClass::Sharp
    } else {
        KernelClass::Unknown
    }
}

/// Loss in any file, with the largest ratio stated.
fn lossy(members: &[&Opened]) -> Option<Lossy> {
    let is_lossy = |head: &Head| {
        let Some(place) = head.pixels else { return false };
        // Part 1 of JPEG 2000 is lossless too, when the header says so.
        let by_syntax = place.syntax.lossy
            && (place.syntax.codec != Codec::Jpeg2000 || head.lossy_flag != Some(false));
        by_syntax || head.lossy_flag == Some(true)
    };
    let all: Vec<&Head> = members.iter().map(|m| &m.head).filter(|h| is_lossy(h)).collect();
    let ratio = all.iter().filter_map(|head| head.lossy_ratio).max_by(f64::total_cmp);
    (!all.is_empty()).then_some(Lossy { ratio })
}

/// Largest voxel edge that passes without a word, mm: with more, a cortex of
/// 1.5 mm, the thick side of the acetabular wall, is thinner than a voxel.
const COARSE_MM: f64 = 1.5;

pub(super) fn header_findings(facts: &ScanFacts, placed: Option<&Placed>) -> Vec<Reason> {
    let mut findings = Vec::new();
    if let Some(placed) = placed {
        let edge = placed.grid.spacing_mm().into_iter().fold(0.0, f64::max);
        if edge > COARSE_MM {
            findings.push(
                Reason::new(
                    "voxel.coarse",
                    format!("voxels are {edge:.2} mm long on one side, limit {COARSE_MM} mm: a thin cortex is blurred"),
                )
                .measured(edge, COARSE_MM, "mm")
                .next("ask for a reconstruction of 1 mm or less"),
            );
        }
    }
    findings.extend(placed.and_then(|placed| thickness_finding(facts, placed)));
    if facts.kernel_class == KernelClass::Sharp {
        findings.push(
            Reason::new(
                "kernel.sharp",
                "the reconstruction kernel is sharp: HU overshoot at the edges of bone and metal",
            )
            .next("ask for a standard or soft kernel of the same acquisition"),
        );
    }
    if facts.kvp.is_none() {
        findings.push(Reason::new(
            "kvp.unknown",
            "the tube voltage is not stated, or not one for all slices: bone HU differ by a third between 80 and 120 kV",
        ));
    }
    if let Some(lossy) = facts.lossy {
        let text = match lossy.ratio {
            Some(ratio) => format!("the images were compressed with loss, ratio {ratio}"),
            None => "the images were compressed with loss, ratio not stated".to_owned(),
        };
        let mut reason = Reason::new("pixels.lossy", text).next("ask for the lossless original");
        if let Some(ratio) = lossy.ratio {
            reason = reason.value(ratio, "1");
        }
        findings.push(reason);
    }
    if facts.contrast == Some(true) {
        findings.push(Reason::new(
            "contrast.present",
            "contrast medium was given: bright vessels beside bone may measure as bone",
        ));
    }
    if facts.multi_energy {
        findings.push(Reason::new(
            "units.multi_energy",
            "computed from several tube voltages: HU depend on the energy chosen",
        ));
    }
    if facts.reformatted {
        findings.push(
            Reason::new(
                "scan.reformatted",
                "a reformat, computed from another series: HU are averaged once more",
            )
            .next("prefer the original axial series"),
        );
    }
    findings
}

/// Least part by which thickness and step differ that is said: nominal values
/// are rounded.
const THICKNESS_PART: f64 = 0.05;

/// Slices thicker than their step overlap, thinner ones leave tissue out.
fn thickness_finding(facts: &ScanFacts, placed: &Placed) -> Option<Reason> {
    let thickness = facts.slice_thickness_mm.filter(|mm| *mm > 0.0)?;
    // Across the slices, not along a tilted table.
    let step = placed.grid.spacing_mm()[2] * placed.tilt_deg.to_radians().cos();
    let (code, text) = if thickness > step * (1.0 + THICKNESS_PART) {
        let text = format!(
            "slices of {thickness:.2} mm lie {step:.2} mm apart: neighbours share tissue, so the \
             smaller step is no finer detail"
        );
        ("geometry.overlap", text)
    } else if thickness < step * (1.0 - THICKNESS_PART) {
        let text = format!(
            "slices of {thickness:.2} mm lie {step:.2} mm apart: {:.2} mm between neighbours were \
             not measured",
            step - thickness
        );
        ("geometry.between", text)
    } else {
        return None;
    };
    Some(Reason::new(code, text).measured(thickness, step, "mm"))
}

/// Said when nothing but geometry holds the images together.
pub(super) fn unnamed_finding(head: &Head) -> Option<Reason> {
    head.series_uid.inner().is_empty().then(|| {
        Reason::new(
            "scan.no_series_uid",
            "SeriesInstanceUID is empty: the images are one series by their geometry alone",
        )
        .next("check that the folder holds one scan of one patient")
    })
}

pub(super) fn identity_findings(members: &[&Opened]) -> Vec<Reason> {
    let mut findings = Vec::new();
    let traces: Vec<_> = members.iter().map(|m| &m.head.traces).collect();
    findings.extend(identity::finding(&traces));
    let burned = members.iter().filter(|m| m.head.burned_in).count();
    if burned > 0 {
        findings.push(
            Reason::new(
                "identity.burned_in",
                format!(
                    "BurnedInAnnotation says that {burned} of {} images have text in their pixels",
                    members.len()
                ),
            )
            .measured(burned as f64, 0.0, "images"),
        );
    }
    findings
}
