//! The bones of a scan: labels, one surface a bone, and what was measured.

use std::path::Path;

use pilothole_assess::cortex::{CortexModel, LevelSource, cortex_thickness};
use pilothole_assess::{Finding, PathParams, Scene};
use pilothole_bone::{BoneName, BoneParams, BoneRecord, Bones, find_bones};
use pilothole_intake as intake;
use pilothole_plan::Plan;
use pilothole_surface::{
    ClosedSurface, Decimation, Extract, MeshLabel, Side as MeshSide, Simplified, SurfaceNets,
    write_stl,
};
use pilothole_volume::{Mask, Region};
use serde_json::{Value, json};

use crate::error::CaseError;
use crate::folder::{Folder, Replace};
use crate::hints::hints_of;
use crate::labels_file::labels_nii_gz;
use crate::params::CaseParams;
use crate::plan_file::read_plan;
use crate::records::{blur_unknown, bone_finding, level_assumed};

/// Find the bones of a whole scan and write `labels.nii.gz`, `bones.json` and
/// one surface a bone; answers with what `bones.json` holds.
///
/// - `plan`: its landmarks name the bones and tell joints apart.
/// - `within_mm`: write surfaces of as few triangles as lie this near the full
///   ones; what was measured is of the full ones, and the distance between both
///   stands beside it.
///
/// # Errors
///
/// [`CaseError`]; nothing is written then.
pub fn write_bones(
    scan: &Path,
    plan: Option<&Path>,
    out: (&Path, Replace),
    params: &CaseParams,
    within_mm: Option<f64>,
) -> Result<String, CaseError> {
    let plan = plan.map(read_plan).transpose()?.map(|file| file.plan);
    let read = intake::open(scan, &params.limits)?.read(params.series, &params.limits)?;
    let region = Region::whole(read.volume.grid());
    let bones = find_bones(&read.volume, region, &bone_params(plan.as_ref(), params))
        .map_err(|error| CaseError::Failed(error.to_string()))?;
    let none = Mask::none(bones.grid.size());
    let scene = Scene {
        volume: &read.volume,
        field: &bones.field,
        labels: &bones.labels,
        metal: &bones.metal,
        cement: &none,
        untrusted: &bones.artefact,
        threshold_hu: bones.threshold_hu,
        cortex: None,
    };
    let path = &params.judge.path;
    let cortex = CortexModel::find(&scene, &bones, read.facts.kvp, path);
    let scene = Scene { cortex: cortex.as_ref(), ..scene };
    let cortices: Vec<Value> =
        bones.records.iter().map(|record| cortex_row(&scene, record, path)).collect();
    drop(read);
    let mut files = Vec::new();
    let mut rows = Vec::new();
    for record in &bones.records {
        let (mut row, file) = one_bone(&bones, record.label, within_mm)?;
        row["cortex"] = cortices[usize::from(record.label) - 1].clone();
        rows.push(row);
        files.extend(file);
    }
    let text = whole(&bones, plan.is_some(), cortex.as_ref(), &rows);
    files.push(("labels.nii.gz".to_owned(), labels_nii_gz(&bones.grid, &bones.labels)?));
    files.push(("bones.json".to_owned(), text.clone().into_bytes()));
    let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
    let known = known_names(&names);
    let known: Vec<&str> = known.iter().map(String::as_str).collect();
    let folder = Folder::begin(out.0, &known, out.1)?;
    for (name, bytes) in &files {
        folder.write(name, bytes)?;
    }
    folder.finish()?;
    Ok(text)
}

/// Mean thickness of a bone's cortex, square to its surface, by plates fitted
/// where they fit; null where the scan's blur cannot be measured, and for bones
/// without a name.
fn cortex_row(scene: &Scene<'_>, record: &BoneRecord, params: &PathParams) -> Value {
    let named = record.name.map(|_| record.label);
    let Some(cortex) = named.and_then(|label| cortex_thickness(scene, label, params)) else {
        return Value::Null;
    };
    let level = scene.cortex.and_then(|model| model.level_of(record.label));
    json!({
        "level_hu": level.map(|level| level.hu),
        "level_sd_hu": level.map(|level| level.sd_hu),
        "level_is_assumed": level.map(|level| level.from == LevelSource::Assumed),
        "mean_mm": cortex.mean_mm,
        "median_mm": cortex.median_mm,
        "sd_mm": cortex.sd_mm,
        "fitted": cortex.fitted,
        "dense": cortex.dense,
        "refused": cortex.refused,
        "unseen": cortex.unseen,
    })
}

fn bone_params(plan: Option<&Plan>, params: &CaseParams) -> BoneParams {
    let mut asked = BoneParams::default();
    if let Some(threshold_hu) = params.threshold_hu.or(plan.and_then(|p| p.bone.threshold_hu)) {
        asked.threshold_hu = threshold_hu;
    }
    if let Some(plan) = plan {
        asked.hips = hints_of(plan);
    }
    asked
}

/// Names that an earlier run may have left: every named bone, every number.
fn known_names(now: &[&str]) -> Vec<String> {
    let named = [
        BoneName::HipLeft,
        BoneName::HipRight,
        BoneName::Sacrum,
        BoneName::FemurLeft,
        BoneName::FemurRight,
    ];
    let mut names: Vec<String> = now.iter().map(|name| (*name).to_owned()).collect();
    names.extend(named.iter().map(|name| format!("{}.stl", name.as_str())));
    names.extend((1..=u8::MAX).map(|label| format!("bone-{label}.stl")));
    names
}

fn side_of(name: Option<BoneName>) -> MeshSide {
    match name {
        Some(BoneName::HipLeft | BoneName::FemurLeft) => MeshSide::Left,
        Some(BoneName::HipRight | BoneName::FemurRight) => MeshSide::Right,
        _ => MeshSide::Both,
    }
}

/// A file's name and bytes.
type NamedFile = (String, Vec<u8>);

/// One bone's row of `bones.json` and its surface's file.
fn one_bone(
    bones: &Bones,
    label: u8,
    within_mm: Option<f64>,
) -> Result<(Value, Option<NamedFile>), CaseError> {
    let record = &bones.records[usize::from(label) - 1];
    let stem = record.name.map_or_else(|| format!("bone-{label}"), |name| name.as_str().to_owned());
    let extraction = SurfaceNets
        .extract_field(&bones.field_of(label))
        .map_err(|error| CaseError::Failed(error.to_string()))?;
    let border = extraction.border;
    let mut row = json!({
        "label": label,
        "name": record.name.map(BoneName::as_str),
        "voxels": record.voxel_count,
        "volume_mm3": record.volume_mm3,
        "below_threshold_share": record.below_threshold_fraction,
        "touches": record.touches,
        "cut": record.cut,
        "capped_faces": {"low": border.low, "high": border.high, "unmeasured": border.unmeasured},
    });
    let bounds = extraction.mesh.bounds_mm();
    row["bounds_mm"] = json!(bounds.map(|b| b.map(|p| p.0)));
    match extraction.closed() {
        Ok(surface) => {
            row["surface"] = surface_row(&surface);
            let (surface, simplified) = simplified(surface, within_mm)?;
            row["simplified"] = simplified;
            let name = format!("{stem}.stl");
            let mut bytes = Vec::new();
            write_stl(&mut bytes, surface.mesh(), MeshLabel { side: side_of(record.name) })
                .map_err(|error| CaseError::Failed(error.to_string()))?;
            row["file"] = json!(name);
            Ok((row, Some((name, bytes))))
        }
        Err(error) => {
            row["surface"] = Value::Null;
            row["simplified"] = Value::Null;
            row["file"] = Value::Null;
            row["not_closed"] = json!(error.to_string());
            Ok((row, None))
        }
    }
}

/// The surface that goes into the file, and how far it lies from the full one;
/// null where it is that one.
fn simplified(
    full: ClosedSurface,
    within_mm: Option<f64>,
) -> Result<(ClosedSurface, Value), CaseError> {
    let Some(within_mm) = within_mm else { return Ok((full, Value::Null)) };
    let Simplified { surface, deviation } = Decimation { fewest_triangles: 4, within_mm }
        .apply(&full)
        .map_err(|error| CaseError::Failed(error.to_string()))?;
    let row = json!({
        "within_mm": within_mm,
        "triangles": surface.mesh().triangles.len(),
        "max_mm": deviation.max_mm,
        "rms_mm": deviation.rms_mm,
        "points": deviation.points,
    });
    Ok((surface, row))
}

fn surface_row(surface: &ClosedSurface) -> Value {
    json!({
        "vertices": surface.mesh().vertices.len(),
        "triangles": surface.mesh().triangles.len(),
        "volume_mm3": surface.volume_mm3(),
        "area_mm2": surface.area_mm2(),
        "mass_centre_mm": surface.mass_centre().0,
        "euler_number": surface.euler_number(),
        "parts": surface.components().len(),
        "closed": true,
        "manifold": true,
    })
}

fn whole(bones: &Bones, planned: bool, cortex: Option<&CortexModel>, rows: &[Value]) -> String {
    let untold = (!planned).then(|| {
        Finding::new(
            "bone.no_hint",
            "No plan says where a hip is: femur, hip bone and sacrum are one bone where they touch. Give --plan to tell them apart.",
        )
    });
    let known = bones.findings.iter().filter_map(|finding| bone_finding(bones, finding, None));
    let findings: Vec<Value> = untold
        .into_iter()
        .chain(known)
        .chain(blur_unknown(cortex))
        .chain(level_assumed(bones, cortex))
        .map(|finding| {
            json!({
                "code": finding.code,
                "text": finding.text,
                "measured": finding.measured,
                "limit": finding.limit,
                "unit": finding.unit,
            })
        })
        .collect();
    let all = json!({
        "schema": "pilothole/bones/1",
        "caution": pilothole_report::CAUTION,
        "threshold_hu": bones.threshold_hu,
        "size": bones.grid.size(),
        "voxel_mm": bones.grid.spacing_mm(),
        "blur_sd_mm": cortex.map(|cortex| {
            json!({
                "in_plane": cortex.blur.in_plane_sigma_mm,
                "axial": cortex.blur.axial_sigma_mm,
            })
        }),
        "metal_voxels": bones.metal.count(),
        "bones": rows,
        "findings": findings,
    });
    format!("{all:#}\n")
}
