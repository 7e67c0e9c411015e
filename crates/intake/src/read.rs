//! A judged series becomes a volume.

use pilothole_volume::{Volume, Voxels};

use crate::digest::digest;
use crate::facts::ScanFacts;
use crate::limits::Limits;
use crate::pixels::{
    FileJob, HISTOGRAM_BINS, LoadFault, Loaded, PixelFault, Rule, SliceFacts, SliceJob, load,
};
use crate::reason::{IntakeFinding, Reason, Refusal};
use crate::series::{Judged, Opened, Placed, Series, check_tissue};
use crate::source::Blob;

/// A scan that was read: the volume, and what is known about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Intake {
    /// Hounsfield units placed in the patient.
    pub volume: Volume,
    /// What the numbers' trust rests on.
    pub facts: ScanFacts,
    /// Reservations, in order of discovery.
    pub findings: Vec<IntakeFinding>,
    /// SHA-256 over voxels and geometry, as `docs/methods/intake.md` lays it
    /// out.
    pub digest: [u8; 32],
}

/// Decode a series that its headers allow.
pub(crate) fn read_series(
    series: &Series,
    judged: &Judged,
    files: &[Opened],
    blobs: &[Blob],
    limits: &Limits,
) -> Result<Intake, Refusal> {
    let Some(placed) = &judged.placed else { return Err(Refusal(judged.refusals.clone())) };
    let jobs = jobs(series, placed, files, blobs);
    let rules = || jobs.iter().flat_map(|job| job.slices.iter().map(|slice| slice.rule));
    let ceiling = rules().map(|rule| rule.ceiling()).fold(f64::INFINITY, f64::min);
    let refuse = |fault: LoadFault| refuse(fault, &jobs, blobs.len());
    let whole = if rules().all(|rule| rule.is_whole()) {
        match load::<i16>(&jobs, limits) {
            Err(LoadFault { fault: PixelFault::Range, .. }) => None,
            loaded => Some(loaded.map_err(refuse)?),
        }
    } else {
        None
    };
    let (voxels, slices, is_float) = if let Some(Loaded { values, slices }) = whole {
        (Voxels::I16(values), slices, false)
    } else {
        let Loaded { values, slices } = load::<f32>(&jobs, limits).map_err(refuse)?;
        (Voxels::F32(values), slices, true)
    };
    let digests: Vec<[u8; 32]> = slices.iter().map(|slice| slice.digest).collect();
    let digest = digest(&placed.grid, is_float, &digests);
    let mut facts = judged.facts.clone();
    let mut findings = judged.findings.clone();
    let ceiling = look(&slices, Some(ceiling), &mut facts, &mut findings)?;
    let volume = Volume::new(placed.grid.clone(), voxels, ceiling).map_err(|error| {
        Reason::new("pixels.size", format!("the slices do not fill the volume: {error}"))
    })?;
    Ok(Intake { volume, facts, findings, digest })
}

/// Top of a 12-bit scale at the usual intercept: scanners clip there also
/// when more bits are stored.
const TWELVE_BIT_CEILING_HU: f64 = 3071.0;

/// Judge the numbers themselves; returns the largest value that storage or
/// scanner can hold.
pub(crate) fn look(
    slices: &[SliceFacts],
    stored_ceiling: Option<f64>,
    facts: &mut ScanFacts,
    findings: &mut Vec<Reason>,
) -> Result<Option<f64>, Refusal> {
    let max = slices.iter().map(|s| s.max).fold(f64::NEG_INFINITY, f64::max);
    let at = |hu: f64| -> usize {
        slices.iter().filter(|s| s.max.total_cmp(&hu).is_eq()).map(|s| s.at_max).sum()
    };
    let clipped = max.total_cmp(&TWELVE_BIT_CEILING_HU).is_eq();
    let ceiling = if clipped { Some(TWELVE_BIT_CEILING_HU) } else { stored_ceiling };
    facts.saturated_voxels = ceiling.map_or(0, at);
    facts.padding_voxels = slices.iter().map(|s| s.nothing).sum();
    facts.max_hu = max.is_finite().then_some(max);
    if let (Some(ceiling), 1..) = (ceiling, facts.saturated_voxels) {
        findings.push(
            Reason::new(
                "pixels.saturated",
                format!(
                    "{} voxels stand at {ceiling} HU, the most that can be stored: metal, whose \
                     true value is unknown",
                    facts.saturated_voxels
                ),
            )
            .measured(facts.saturated_voxels as f64, 0.0, "voxels"),
        );
    }
    let mut histogram = vec![0_u64; HISTOGRAM_BINS];
    for slice in slices {
        for (sum, count) in histogram.iter_mut().zip(&slice.histogram) {
            *sum += u64::from(*count);
        }
    }
    let (tissue, finding) = check_tissue(&histogram)?;
    facts.air_hu = tissue.air;
    facts.fat_hu = tissue.fat;
    facts.muscle_hu = tissue.muscle;
    findings.extend(finding);
    Ok(ceiling)
}

fn jobs<'a>(
    series: &Series,
    placed: &Placed,
    files: &'a [Opened],
    blobs: &'a [Blob],
) -> Vec<FileJob<'a>> {
    let mut jobs: Vec<FileJob<'a>> = Vec::new();
    // Files in order of first slice, so that reading runs along the body.
    let mut job_of_file: Vec<Option<usize>> = vec![None; files.len()];
    for (slot, at) in placed.order.iter().enumerate() {
        let frame = series.frames[*at];
        let opened = &files[frame.file];
        let head = &opened.head;
        let Some(place) = head.pixels else { continue };
        let job = *job_of_file[frame.file].get_or_insert_with(|| {
            jobs.push(FileJob {
                blob: &blobs[opened.ordinal - 1],
                ordinal: opened.ordinal,
                layout: head.layout,
                place,
                frame_count: head.frame_count,
                slices: Vec::new(),
            });
            jobs.len() - 1
        });
        let described = &head.frames[frame.frame];
        let (slope, intercept) =
            (described.slope.unwrap_or(f64::NAN), described.intercept.unwrap_or(f64::NAN));
        let rule = Rule::new(&head.layout, slope, intercept);
        jobs[job].slices.push(SliceJob { frame: frame.frame, slot, rule });
    }
    jobs
}

fn refuse(fault: LoadFault, jobs: &[FileJob<'_>], of: usize) -> Refusal {
    let file = format!("file {} of {of}", fault.ordinal);
    let job = jobs.iter().find(|job| job.ordinal == fault.ordinal);
    let syntax = job.map_or("", |job| job.place.syntax.name);
    let again = "copy or export the series again";
    let reason = match fault.fault {
        PixelFault::Truncated => {
            Reason::new("pixels.truncated", format!("{file} is cut off within its pixels"))
        }
        PixelFault::Size { columns, rows } => {
            let layout = job.map(|job| job.layout).unwrap_or_default();
            Reason::new(
                "pixels.size",
                format!(
                    "{file} holds a packed image of {columns} x {rows}, its header says {} x {}",
                    layout.columns, layout.rows
                ),
            )
            .measured(
                columns as f64 * rows as f64,
                layout.columns as f64 * layout.rows as f64,
                "pixels",
            )
        }
        PixelFault::Undecodable => Reason::new(
            "pixels.damaged",
            format!(
                "{file} says {syntax}, yet its pixels do not decode as one grey image of that kind"
            ),
        ),
        PixelFault::Unreadable => Reason::new(
            "pixels.damaged",
            format!("{file} cannot be read again, or its checksum is wrong"),
        ),
        PixelFault::Range => {
            Reason::new("units.not_hu", format!("{file} holds numbers beyond any Hounsfield unit"))
        }
    };
    reason.next(again).into()
}
