//! The bone stage: from a region's HU to separate bones with an envelope each.

use pilothole_volume::{
    Field, Labels, Mask, NOTHING_I16, PatientPoint, Region, Volume, VolumeError,
};
use rayon::prelude::*;

use crate::behind::Behind;
use crate::bones::{BoneFinding, BoneRecord, Bones, JointRecord};
use crate::coarse::Cells;
use crate::edge::Edge;
use crate::enclose::{Enclosed, Prior, Task, enclose, spaces};
use crate::faint;
use crate::gap;
use crate::joint::{Joint, Socket};
use crate::lumen;
use crate::metal;
use crate::noise;
use crate::params::{BoneName, BoneParams};
use crate::patch::Patch;
use crate::pieces;
use crate::records;
use crate::sacroiliac::Sacroiliac;
use crate::separate::{Hip, Owned, separate};
use crate::wall::{WEAK_SHARE, walls};

/// Shares of directions below which a joint counts as not resolved.
const JOINT_SEEN_LIMIT: f64 = 0.25;
/// How far apart the middles of a joint may lie that neighbouring hints lead to,
/// mm: as far as the hints of one careful reader.
const JOINT_APART_MM: f64 = 3.0;
/// How far above a hip centre a sacrum reaches, mm; own choice: on an open scan
/// its base lies 85 to 105 mm above, and a vertebra is 30 to 40 mm high.
const SACRUM_REACH_MM: f64 = 125.0;
/// Voxel edge above which a thin cortex is not resolved, mm: half of the mean
/// pelvic cortex (1.5 mm) needs 1 mm, own choice on published protocol advice.
const COARSE_MM: f64 = 1.0;

/// The voxels within `reach_mm` of `centre` along every axis, cut to the scan;
/// `None` when the scan holds none of them.
///
/// 80 mm reaches every path of a screw from a socket; memory grows with the
/// cube of it.
pub fn bone_region(volume: &Volume, centre: PatientPoint, reach_mm: f64) -> Option<Region> {
    Region::around(volume.grid(), centre, reach_mm)
}

/// Find the bones of a region and the envelope of each.
///
/// Steps: walls (threshold, and thin sheets below it), hip joints as smooth
/// surfaces through the joint space, walls shared out between bones by a flood
/// that meets in the darkest valley, enclosure by a vote of rays, narrow gaps
/// between fragments opened, edges at the halfway level.
/// `docs/methods/envelope.md` says how each was chosen.
///
/// # Errors
///
/// [`BoneError`] when a parameter is out of its range or nothing was measured
/// in the region.
pub fn find_bones(
    volume: &Volume,
    region: Region,
    params: &BoneParams,
) -> Result<Bones, BoneError> {
    check(params)?;
    let patch = Patch::of(volume, region);
    let unknown = unknown(&patch);
    if unknown == patch.len() {
        return Err(BoneError::NothingMeasured);
    }
    let cells = Cells::over(&patch);
    let mut findings = first_findings(&patch, unknown);
    let noise_hu = noise::noise_hu(&patch);
    let calmed = noise::calmed(&patch, noise_hu);
    let calm = calmed.as_ref().unwrap_or(&patch);
    let (hips, (metal, lumens)) = rayon::join(
        || find_hips(&patch, params, &mut findings),
        || {
            let metal = metal::find(&patch, params.metal_hu, volume.ceiling_hu());
            (metal, lumen::find(calm))
        },
    );
    let walls =
        walls(&patch, calm, &cells, params.threshold_hu, |at| in_head_shell(&patch, &hips, at));
    let mut owned =
        separate(&patch, walls, &metal.metal, (calm, &lumens.voxels), &hips, &params.hips);
    let behind = Behind::of(&patch, &hips, &owned.names);
    let in_row = |row| behind.reaches(row);
    let follows = |owner, index| behind.holds(owner, index);
    let faint =
        faint::follow(&patch, (params.threshold_hu, noise_hu), in_row, follows, &mut owned.owners);
    let (mut labels, mut names) = enclosed(&patch, &cells, owned, &hips);
    faint::let_go(&patch, &faint, &mut labels);
    gap::open(&patch, &mut labels, &mut findings);
    let labelled = (labels.as_mut_slice(), &mut names);
    pieces::clean(calm, &metal.metal, &lumens, labelled, &mut findings);
    let edge = Edge::new(&patch, params.threshold_hu * WEAK_SHARE);
    edge.settle(&mut labels);
    let names = pieces::renumber(&mut labels, &names);
    let ((field, placed), (artefact, records)) = rayon::join(
        || edge.field(&labels),
        || {
            rayon::join(
                || metal::artefact(&patch, &cells, &metal, &labels, params.metal_margin_mm),
                || records::of(&patch, &labels, &names, params.threshold_hu, &mut findings),
            )
        },
    );
    spine_finding(&patch, &records, &hips, &mut findings);
    last_findings(&patch, &metal, &artefact, placed, &mut findings);
    Ok(Bones {
        region,
        labels: Labels::new(patch.size, labels).ok_or(BoneError::NothingMeasured)?,
        field: Field::of(patch.grid.clone(), field)?,
        records,
        metal: metal.metal,
        saturated: metal.saturated,
        artefact,
        threshold_hu: params.threshold_hu,
        joints: hips.iter().map(record_of).collect(),
        findings,
        grid: patch.grid,
    })
}

fn unknown(patch: &Patch<'_>) -> usize {
    let in_row = |row| patch.hu.row(row).iter().filter(|hu| **hu == NOTHING_I16).count();
    (0..patch.hu.rows()).into_par_iter().map(in_row).sum()
}

fn check(params: &BoneParams) -> Result<(), BoneError> {
    let ranges = [
        ("threshold_hu", params.threshold_hu, 100.0, 1000.0),
        ("metal_hu", params.metal_hu, params.threshold_hu, 3071.0),
        ("metal_margin_mm", params.metal_margin_mm, 0.0, 50.0),
    ];
    for (name, value, least, most) in ranges {
        if !(value >= least && value <= most) {
            return Err(BoneError::Param { name, value, least, most });
        }
    }
    Ok(())
}

fn first_findings(patch: &Patch<'_>, unknown: usize) -> Vec<BoneFinding> {
    let mut findings = Vec::new();
    if unknown > 0 {
        let fraction = unknown as f64 / patch.len() as f64;
        findings.push(BoneFinding::NotMeasured { fraction });
    }
    let edge_mm = patch.spacing_mm.iter().copied().fold(0.0, f64::max);
    if edge_mm > COARSE_MM + 1e-6 {
        findings.push(BoneFinding::Coarse { edge_mm, limit_mm: COARSE_MM });
    }
    findings
}

fn find_hips(patch: &Patch<'_>, params: &BoneParams, findings: &mut Vec<BoneFinding>) -> Vec<Hip> {
    let hints = &params.hips.hips;
    let found: Vec<Option<Hip>> = hints
        .par_iter()
        .map(|hint| {
            let joint = Joint::find(patch, hint)?;
            let sacroiliac = Sacroiliac::find(patch, &joint);
            Some(Hip { joint, sacroiliac })
        })
        .collect();
    let mut hips = Vec::new();
    for (hint, hip) in hints.iter().zip(found) {
        let side = hint.side;
        let Some(hip) = hip else {
            findings.push(BoneFinding::HipOutside { side });
            continue;
        };
        let seen_fraction = hip.joint.seen_fraction;
        if !hip.joint.head {
            findings.push(BoneFinding::NoHead { side });
        } else if seen_fraction < JOINT_SEEN_LIMIT {
            let limit = JOINT_SEEN_LIMIT;
            findings.push(BoneFinding::JointNotResolved { side, seen_fraction, limit });
        }
        if let Some(apart_mm) = hip.joint.apart_mm.filter(|mm| *mm > JOINT_APART_MM) {
            let limit_mm = JOINT_APART_MM;
            findings.push(BoneFinding::JointDoubtful { side, apart_mm, limit_mm });
        }
        if hip.sacroiliac.is_none() {
            findings.push(BoneFinding::SacroiliacNotResolved { side });
        }
        hips.push(hip);
    }
    hips
}

/// In the outer 6 mm of a head, where its thin shell may fall below the
/// threshold far from any wall that does not.
fn in_head_shell(patch: &Patch<'_>, hips: &[Hip], at: usize) -> bool {
    hips.iter().any(|Hip { joint, .. }| {
        let point = patch.centre(patch.index(at));
        joint.head && joint.reaches(point, 1.0) && {
            let place = joint.place(point);
            joint.lies_within(&place, 0.0) && !joint.lies_within(&place, -6.0)
        }
    })
}

/// What the walls enclose: a label a voxel, and the bones' names by label.
fn enclosed(patch: &Patch<'_>, cells: &Cells, owned: Owned, hips: &[Hip]) -> (Vec<u8>, Names) {
    let enclosed = enclose_all(patch, cells, &owned, hips);
    let Owned { owners: mut labels, names, .. } = owned;
    merge(patch, &enclosed, &mut labels);
    (labels, names)
}

fn enclose_all(
    patch: &Patch<'_>,
    cells: &Cells,
    owned: &Owned,
    hips: &[Hip],
) -> Vec<Option<Enclosed>> {
    let sockets: Vec<Option<Socket>> = hips
        .iter()
        .map(|hip| {
            let bone = owned.names.iter().position(|n| *n == Some(hip.joint.side.hip()))?;
            let owner = bone as u8 + 1;
            Some(hip.joint.socket(patch, |at| owned.owners[at] == owner))
        })
        .collect();
    let mut spaces = spaces(patch, &owned.owners, owned.names.len());
    if let Some(lumen) = owned.lumen {
        spaces[usize::from(lumen) - 1] = None;
    }
    spaces
        .par_iter()
        .enumerate()
        .map(|(bone, space)| {
            let name = owned.names[bone];
            let task = Task { owner: bone as u8 + 1, space: (*space)? };
            let head = hips.iter().find(|hip| name == Some(hip.joint.side.femur()));
            let may_add =
                |row| head.is_some_and(|hip| hip.joint.reaches_row(patch, row, SURELY_HEAD_MM));
            let prior = |index| prior(patch, name, hips, &sockets, index);
            Some(enclose(patch, cells, &owned.owners, task, may_add, prior))
        })
        .collect()
}

/// Width beyond the joint surface in which a bone of the other side cannot be.
const JOINT_WIDTH_MM: f64 = 10.0;
/// Reach to each side of the sacroiliac joint in which the other bone cannot be.
const SACROILIAC_REACH_MM: f64 = 10.0;
/// Depth below the joint surface from which a head is surely head, mm.
const SURELY_HEAD_MM: f64 = -3.0;

/// What the joints say of a voxel that is no wall.
fn prior(
    patch: &Patch<'_>,
    name: Option<BoneName>,
    hips: &[Hip],
    sockets: &[Option<Socket>],
    index: [usize; 3],
) -> Prior {
    let point = patch.centre(index);
    for (hip, Hip { joint, sacroiliac }) in hips.iter().enumerate() {
        let is_hip = name == Some(joint.side.hip());
        let is_femur = name == Some(joint.side.femur());
        if (is_hip || name == Some(BoneName::Sacrum))
            && let Some(beyond_mm) = sacroiliac.as_ref().and_then(|s| s.beyond_mm(point))
            && beyond_mm.abs() < SACROILIAC_REACH_MM
            && (beyond_mm < 0.0) == is_hip
        {
            return Prior::Outside;
        }
        let alone = is_femur && !joint.head;
        if !(is_hip || is_femur) || alone || !joint.reaches(point, JOINT_WIDTH_MM) {
            continue;
        }
        let place = joint.place(point);
        if is_femur {
            if joint.lies_within(&place, SURELY_HEAD_MM) {
                return Prior::Inside;
            }
            let beside = place.in_socket() && place.lateral_mm < 25.0;
            let across =
                || joint.lies_within(&place, JOINT_WIDTH_MM) && !joint.lies_within(&place, 0.0);
            if beside && across() {
                return Prior::Outside;
            }
            continue;
        }
        let in_joint_space =
            || sockets[hip].as_ref().is_some_and(|s| joint.in_joint_space(s, &place));
        let in_head = joint.head && joint.lies_within(&place, 0.0);
        if in_head || (!place.in_neck() && in_joint_space()) {
            return Prior::Outside;
        }
    }
    Prior::Open
}

/// One label a voxel: that of the bone that encloses it most, the lower on ties.
fn merge(patch: &Patch<'_>, enclosed: &[Option<Enclosed>], labels: &mut [u8]) {
    labels.par_chunks_mut(patch.plane()).enumerate().for_each(|(z, labels)| {
        // Pages of zeros are left as they are: they take no memory.
        let rows = labels.chunks_mut(patch.size[0]);
        rows.filter(|row| row.iter().any(|label| *label != 0)).for_each(|row| row.fill(0));
        let mut best = vec![0_u8; labels.len()];
        for (bone, found) in enclosed.iter().enumerate() {
            let Some(Enclosed { space, percent }) = found else { continue };
            if z < space.from[2] || z >= space.to[2] {
                continue;
            }
            let [nx, ny, _] = space.size();
            let slice = &percent[(z - space.from[2]) * nx * ny..][..nx * ny];
            for (y, percents) in slice.chunks(nx).enumerate() {
                let start = (space.from[1] + y) * patch.size[0] + space.from[0];
                claim(bone as u8 + 1, percents, &mut labels[start..], &mut best[start..]);
            }
        }
    });
}

fn claim(label: u8, percents: &[u8], labels: &mut [u8], best: &mut [u8]) {
    for (percent, (to, best)) in percents.iter().zip(labels.iter_mut().zip(best)) {
        if percent > best {
            (*to, *best) = (label, *percent);
        }
    }
}

/// Say when what bears the sacrum's name goes on as the lumbar spine.
fn spine_finding(
    patch: &Patch<'_>,
    records: &[BoneRecord],
    hips: &[Hip],
    findings: &mut Vec<BoneFinding>,
) {
    let Some(sacrum) = records.iter().find(|r| r.name == Some(BoneName::Sacrum)) else { return };
    let [low, high] = sacrum.bounds;
    let ends = [low, high.map(|h| h - 1)].map(|index| patch.centre(index).0[2]);
    let top = ends[0].max(ends[1]);
    let above = hips.iter().map(|hip| top - hip.joint.centre.0[2]).fold(f64::INFINITY, f64::min);
    if above.is_finite() && above > SACRUM_REACH_MM {
        let limit_mm = SACRUM_REACH_MM;
        findings.push(BoneFinding::SpineInSacrum { above_mm: above, limit_mm });
    }
}

fn last_findings(
    patch: &Patch<'_>,
    found: &metal::Metal,
    artefact: &Mask,
    placed: f64,
    findings: &mut Vec<BoneFinding>,
) {
    let count = found.saturated.count();
    if count > 0 {
        findings.push(BoneFinding::Saturated { count });
    }
    if !found.metal.is_empty() {
        let voxel_mm3 = patch.grid.voxel_mm3();
        findings.push(BoneFinding::Metal {
            volume_mm3: found.metal.count() as f64 * voxel_mm3,
            artefact_mm3: artefact.count() as f64 * voxel_mm3,
        });
    }
    if placed < 1.0 {
        findings.push(BoneFinding::NoCortex { fraction: 1.0 - placed });
    }
}

fn record_of(hip: &Hip) -> JointRecord {
    let joint = &hip.joint;
    JointRecord {
        side: joint.side,
        centre: joint.centre,
        radius_mm: joint.radius_mm,
        head: joint.head,
        seen_fraction: joint.seen_fraction,
        sacroiliac_fraction: hip.sacroiliac.as_ref().map(|joint| joint.seen_fraction),
    }
}

/// Names kept for the bones by label from 1.
pub(crate) type Names = Vec<Option<BoneName>>;

/// Why there are no bones.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BoneError {
    /// A parameter is out of its range.
    #[error("{name} is {value}, expected {least} to {most}")]
    Param {
        /// Which.
        name: &'static str,
        /// Its value.
        value: f64,
        /// Least accepted.
        least: f64,
        /// Most accepted.
        most: f64,
    },
    /// No voxel of the region holds a measurement.
    #[error("no voxel of the region holds a measurement")]
    NothingMeasured,
    /// The arrays do not fit the lattice.
    #[error(transparent)]
    Lattice(#[from] VolumeError),
}
