//! Landmarks found on the bone's surface, to be confirmed.

use std::path::Path;

use pilothole_assess::Scene;
use pilothole_assess::set::SphereProposal;
use pilothole_assess::set::landmarks::{SphereKind, SphereParams, propose_sphere};
use pilothole_bone::{BoneName, BoneParams, HipHint, HipHints, Side as BoneSide, find_bones};
use pilothole_intake as intake;
use pilothole_plan::{LandmarkKind, LandmarkName, Side};
use pilothole_volume::{Mask, PatientPoint, Region};

use crate::error::CaseError;
use crate::params::CaseParams;

/// Bone looked at around a hip, mm: a head and a socket with what is around.
const REACH_MM: f64 = 70.0;

/// Propose hip centres near hints, as a block for a plan file.
///
/// # Errors
///
/// [`CaseError::Scan`], and [`CaseError::Failed`] when no sphere is found.
pub fn propose_landmarks(
    scan: &Path,
    hints: &[(Side, [f64; 3])],
    params: &CaseParams,
) -> Result<String, CaseError> {
    let read = intake::open(scan, &params.limits)?.read(params.series, &params.limits)?;
    let mut text = String::from(
        "# Proposed, to be confirmed by a person on the pictures of the scan.\n\
         # Decision support for research and planning, not a medical device.\n",
    );
    for (side, at) in hints {
        let centre = PatientPoint(*at);
        let region = Region::around(read.volume.grid(), centre, REACH_MM).ok_or_else(|| {
            CaseError::Usage(format!("the {} hint lies outside the scan", side.word()))
        })?;
        let (bone_side, head) = match side {
            Side::Left => (BoneSide::Left, BoneName::FemurLeft),
            Side::Right => (BoneSide::Right, BoneName::FemurRight),
        };
        let asked = BoneParams {
            hips: HipHints {
                hips: vec![HipHint { side: bone_side, centre, radius_mm: None }],
                points: Vec::new(),
            },
            ..BoneParams::default()
        };
        let bones = find_bones(&read.volume, region, &asked)
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
        let found = bones
            .named(head)
            .and_then(|bone| {
                propose_sphere(&scene, centre, bone.label, SphereKind::Head, &SphereParams::OWN)
            })
            .ok_or_else(|| {
                CaseError::Failed(format!(
                    "no femoral head was found near the {} hint",
                    side.word()
                ))
            })?;
        let name = LandmarkName { kind: LandmarkKind::HipCentre, side: *side };
        text.push_str(&block(name, &found));
    }
    Ok(text)
}

fn block(name: LandmarkName, found: &SphereProposal) -> String {
    let [x, y, z] = found.centre.0;
    format!(
        "\n# Sphere of radius {:.1} mm (standard error {:.2}) through {} points, rms {:.2} mm;\n\
         # half-angle of the cap {:.0} deg; centre known to {:.2} mm in its worst direction.\n\
         [[landmark]]\nname = \"{}\"\nat_mm = [{x:.1}, {y:.1}, {z:.1}]\n",
        found.radius_mm,
        found.radius_se_mm,
        found.points,
        found.rms_mm,
        found.cap_rad.to_degrees(),
        found.worst_se_mm,
        name.word(),
    )
}
