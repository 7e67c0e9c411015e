//! One series judged by its headers: refused with reasons, or placed with
//! findings.

use super::geometry::{Placed, place, too_few};
use super::group::{Opened, Series};
use super::known::{facts, header_findings, identity_findings, unnamed_finding};
use super::units::check_stated;
use crate::dicom::{Codec, FrameHead, Head, Kind, PixelPlace, Tag};
use crate::facts::ScanFacts;
use crate::limits::Limits;
use crate::nifti::{self, NiftiHeader};
use crate::reason::Reason;

/// What the headers of a series allow.
#[derive(Clone, Debug)]
pub(crate) struct Judged {
    /// Reasons that forbid a volume, the most fundamental first.
    pub refusals: Vec<Reason>,
    pub findings: Vec<Reason>,
    /// The lattice, unless geometry is a reason.
    pub placed: Option<Placed>,
    pub facts: ScanFacts,
}

/// Judge a series.
///
/// - `file_count`: how many files there are in all, for `file 3 of 20`.
pub(crate) fn judge(
    series: &Series,
    files: &[Opened],
    file_count: usize,
    limits: &Limits,
) -> Judged {
    let frames = series.heads(files);
    let members: Vec<&Opened> = series.files().into_iter().map(|at| &files[at]).collect();
    // The first by identifier, so that names of files do not matter.
    let head = &files[series.frames[0].file].head;
    let mut refusals = Vec::new();
    refusals.extend(check_kind(head, &frames).err());
    if refusals.is_empty() {
        refusals.extend(check_stated(&frames).err());
        refusals.extend(check_pixels(&members, file_count));
    }
    let matrix = [head.layout.columns, head.layout.rows];
    refusals.extend(check_size(matrix, frames.len(), limits).err());
    let mut findings = Vec::new();
    let placed = match place(&frames, matrix, limits.min_slices) {
        Ok(placed) => {
            findings.extend(placed.findings.iter().cloned());
            Some(placed)
        }
        Err(reason) => {
            refusals.push(reason);
            None
        }
    };
    let facts = facts(&members, &frames, placed.as_ref());
    findings.extend(header_findings(&facts, placed.as_ref()));
    findings.extend(unnamed_finding(head));
    findings.extend(identity_findings(&members));
    Judged { refusals, findings, placed, facts }
}

/// Judge a `NIfTI` file: nothing is known of how its numbers came to be.
pub(crate) fn judge_nifti(found: Result<&NiftiHeader, &nifti::Refused>, limits: &Limits) -> Judged {
    let mut facts = ScanFacts { file_count: 1, syntax: Some("NIfTI-1"), ..ScanFacts::default() };
    facts.derived = true;
    let header = match found {
        Ok(header) => header,
        Err(refused) => {
            facts.slice_count = refused.size[2];
            let refusals = vec![refused.reason.clone()];
            return Judged { refusals, findings: Vec::new(), placed: None, facts };
        }
    };
    facts.slice_count = header.grid.size()[2];
    let refusals: Vec<Reason> = (facts.slice_count < limits.min_slices)
        .then(|| too_few(facts.slice_count, limits.min_slices))
        .into_iter()
        .collect();
    let [x, y, z] = header.grid.steps();
    let normal = x.cross(y);
    let tilt_deg = normal.cross(z).length_mm().atan2(normal.dot(z)).to_degrees();
    facts.tilt_deg = Some(tilt_deg);
    let placed =
        Placed { grid: header.grid.clone(), order: Vec::new(), tilt_deg, findings: Vec::new() };
    let unit = if header.states_unit { "" } else { ", and millimetres are assumed" };
    let mut findings = vec![
        Reason::new(
            "scan.provenance",
            format!(
                "a NIfTI file: scanner, kernel, tube voltage and earlier processing are unknown, \
                 Hounsfield units are assumed{unit}"
            ),
        )
        .next("prefer the DICOM series that it was made from"),
    ];
    findings.extend(header_findings(&facts, Some(&placed)));
    Judged { refusals, findings, placed: Some(placed), facts }
}

fn check_kind(head: &Head, frames: &[&FrameHead]) -> Result<(), Reason> {
    let not_ct = |text: &str| {
        Err(Reason::new("scan.not_ct", text)
            .next("give the CT series, not reports, pictures or other modalities"))
    };
    match (head.kind, head.modality.as_deref()) {
        (Kind::SecondaryCapture, _) => {
            return not_ct(
                "the images are secondary captures: pictures of a screen or of results, without CT values",
            );
        }
        (_, Some(other)) if other != "CT" => return not_ct("Modality is not CT"),
        (Kind::Other, _) => return not_ct("the objects are not CT images"),
        (Kind::Unstated, None) => {
            return not_ct("neither SOPClassUID nor Modality says that these are CT images");
        }
        _ => {}
    }
    let is_localizer = |f: &&FrameHead| {
        f.image_type
            .iter()
            .skip(2)
            .any(|v| matches!(v.as_str(), "LOCALIZER" | "SCOUT" | "TOPOGRAM"))
    };
    if frames.iter().any(is_localizer) {
        return Err(Reason::new(
            "scan.localizer",
            "a localizer: a flat overview image, not a volume",
        )
        .next("give the axial series of the same study"));
    }
    Ok(())
}

fn check_size(matrix: [usize; 2], slices: usize, limits: &Limits) -> Result<(), Reason> {
    let voxels = matrix[0] as f64 * matrix[1] as f64 * slices as f64;
    let limit = limits.max_voxels as f64;
    if voxels > limit {
        return Err(Reason::new(
            "limits.too_large",
            format!("{} x {} x {slices} voxels, limit {limit}", matrix[0], matrix[1]),
        )
        .measured(voxels, limit, "voxels")
        .next("ask for a reconstruction of the pelvis alone"));
    }
    Ok(())
}

/// One reason for each kind of fault, with the first file that has it.
fn check_pixels(members: &[&Opened], file_count: usize) -> Vec<Reason> {
    let mut reasons: Vec<Reason> = Vec::new();
    for opened in members {
        if let Err(reason) = check_file(opened, file_count)
            && reasons.iter().all(|known| known.code != reason.code)
        {
            reasons.push(reason);
        }
    }
    reasons
}

fn check_file(opened: &Opened, of: usize) -> Result<(), Reason> {
    let Opened { ordinal, head } = opened;
    let layout = &head.layout;
    let file = format!("file {ordinal} of {of}");
    let convert = "have it sent uncompressed (explicit little endian), or convert it with the archive's own export";
    let Some(place) = head.pixels else {
        return Err(Reason::new("pixels.truncated", format!("{file} ends before its pixels"))
            .next("copy or export it again"));
    };
    if place.element.tag != Tag::PIXEL_DATA {
        return Err(Reason::new("pixels.syntax", format!("{file} stores floating-point pixels"))
            .next(convert));
    }
    if place.syntax.codec == Codec::Unsupported {
        return Err(Reason::new(
            "pixels.syntax",
            format!(
                "{file} is written in a transfer syntax that is not read: {}",
                place.syntax.name
            ),
        )
        .next(convert));
    }
    if layout.samples != 1 || !layout.is_grey {
        return Err(Reason::new(
            "pixels.colour",
            format!("{file} is a colour picture, {} samples a pixel", layout.samples),
        )
        .measured(layout.samples.into(), 1.0, "samples")
        .next("give the CT images, not pictures of them"));
    }
    let bits_fit = matches!(layout.allocated, 8 | 16)
        && layout.stored >= 1
        && layout.high < layout.allocated
        && layout.stored <= layout.high + 1;
    if !bits_fit {
        return Err(Reason::new(
            "pixels.syntax",
            format!(
                "{file} stores {} of {} allocated bits, high bit {}; read are 8 or 16 allocated",
                layout.stored, layout.allocated, layout.high
            ),
        )
        .measured(layout.allocated.into(), 16.0, "bits")
        .next(convert));
    }
    if layout.rows == 0 || layout.columns == 0 {
        return Err(Reason::new("pixels.size", format!("{file} states no rows or no columns")));
    }
    if head.frames.len() != head.frame_count {
        return Err(Reason::new(
            "geometry.missing",
            format!(
                "{file} has {} frames and describes the place of {}",
                head.frame_count,
                head.frames.len()
            ),
        )
        .measured(head.frames.len() as f64, head.frame_count as f64, "frames"));
    }
    check_length(&place, head, &file)
}

fn check_length(place: &PixelPlace, head: &Head, file: &str) -> Result<(), Reason> {
    let layout = &head.layout;
    let is_native = place.syntax.codec == Codec::Native;
    let Some(stated) = place.element.len else {
        return if is_native {
            Err(Reason::new(
                "pixels.syntax",
                format!("{file} says uncompressed, its pixels are packed"),
            ))
        } else {
            Ok(())
        };
    };
    if !is_native {
        return Err(Reason::new(
            "pixels.syntax",
            format!("{file} says {}, its pixels are not packed", place.syntax.name),
        ));
    }
    let needed = layout.rows as f64
        * layout.columns as f64
        * f64::from(layout.allocated / 8)
        * head.frame_count as f64;
    let there = place.total.saturating_sub(place.element.at) as f64;
    let again = "copy or export the series again";
    let stated = stated as f64;
    if there < stated {
        let missing = stated;
        return Err(Reason::new(
            "pixels.truncated",
            format!("{file} ends after {there} of {missing} bytes of pixels"),
        )
        .measured(there, missing, "bytes")
        .next(again));
    }
    if stated < needed {
        return Err(Reason::new(
            "pixels.size",
            format!(
                "{file} holds {stated} bytes of pixels; {} rows, {} columns, {} frames of {} bits need {needed}",
                layout.rows, layout.columns, head.frame_count, layout.allocated
            ),
        )
        .measured(stated, needed, "bytes")
        .next(again));
    }
    Ok(())
}
