//! Landmarks found on the bone's surface, to be confirmed.

use std::fmt::Write as _;
use std::path::Path;

use pilothole_assess::Scene;
use pilothole_assess::set::SphereProposal;
use pilothole_assess::set::heads::{LikelyHip, likely_hips};
use pilothole_assess::set::landmarks::{SphereKind, SphereParams, propose_sphere};
use pilothole_bone::{
    BoneName, BoneParams, Bones, HipHint, HipHints, Side as BoneSide, find_bones,
};
use pilothole_intake as intake;
use pilothole_plan::{LandmarkKind, LandmarkName, Side};
use pilothole_report::{SHORT_CAUTION, landmarks_html};
use pilothole_volume::{Mask, PatientPoint, Region, Volume};

use crate::error::CaseError;
use crate::folder::{Folder, Replace};
use crate::params::CaseParams;

/// Bone looked at around a hip, mm: a head and a socket with what is around.
const REACH_MM: f64 = 70.0;
/// A hip this near to a hint is the one that is meant, mm: within its head.
const NEAR_HINT_MM: f64 = 20.0;
/// Metal within a sphere, and this far outside it, is told, mm.
const METAL_NEAR_MM: f64 = 5.0;

/// Files of a folder of proposals.
const NAMES: [&str; 2] = ["landmarks.html", "landmarks.toml"];

/// Propose hip centres, as a block for a plan file.
///
/// - `hints`: a point in each hip that is meant, mm, LPS; empty for every hip
///   that the scan shows.
/// - `out`: where the block and pictures to check it by are written.
///
/// # Errors
///
/// [`CaseError::Scan`]; [`CaseError::Usage`] for a hint outside the scan;
/// [`CaseError::Failed`] when no sphere is found, or a single hip's side cannot
/// be told.
pub fn propose_landmarks(
    scan: &Path,
    hints: &[(Side, [f64; 3])],
    out: Option<(&Path, Replace)>,
    params: &CaseParams,
) -> Result<String, CaseError> {
    let read = intake::open(scan, &params.limits)?.read(params.series, &params.limits)?;
    let volume = &read.volume;
    let hips: Vec<(Side, PatientPoint)> = if hints.is_empty() {
        seek(volume)?
    } else {
        let seen = likely_hips(volume);
        hints.iter().map(|(side, at)| (*side, seen_near(&seen, PatientPoint(*at)))).collect()
    };
    let mut text = format!(
        "# Proposed, to be confirmed by a person on the pictures of the scan.\n# {}\n",
        SHORT_CAUTION.replace(". ", ".\n# ")
    );
    if hints.is_empty() {
        text.push_str(
            "# Found without a hint. Sides are those of patient space: of two hips the one\n\
             # further along +x is the patient's left; a single one is told by the body's\n\
             # middle.\n",
        );
    }
    let mut pictures = Vec::new();
    for (side, centre) in hips {
        match propose(volume, side, centre)? {
            Some(hip) => {
                block(&mut text, &hip);
                let surface = hip.surface();
                pictures.push((hip.sphere, surface));
            }
            None => put(
                &mut text,
                format_args!(
                    "\n# hip-centre-{}: neither head nor socket is round there\n",
                    side.word()
                ),
            ),
        }
    }
    if pictures.is_empty() {
        return Err(CaseError::Failed(
            "neither a femoral head nor a socket was found where a hip was looked for".to_owned(),
        ));
    }
    if let Some((place, replace)) = out {
        let folder = Folder::begin(place, &NAMES, replace)?;
        folder.write(NAMES[0], landmarks_html(volume, &pictures).as_bytes())?;
        folder.write(NAMES[1], text.as_bytes())?;
        folder.finish()?;
    }
    Ok(text)
}

/// The hips that the scan shows.
fn seek(volume: &Volume) -> Result<Vec<(Side, PatientPoint)>, CaseError> {
    let hint = "say where to look: --left X,Y,Z or --right X,Y,Z, a point inside a femoral head";
    let found = likely_hips(volume);
    if found.is_empty() {
        return Err(CaseError::Failed(format!("no hip was found in the scan; {hint}")));
    }
    let told = |hip: &LikelyHip| Some((hip.side?, hip.centre));
    found.iter().map(told).collect::<Option<Vec<_>>>().ok_or_else(|| {
        let [x, y, z] = found[0].centre.0;
        CaseError::Failed(format!(
            "one hip was found, near {x:.0},{y:.0},{z:.0} mm, and the scan does not tell its side; {hint}"
        ))
    })
}

/// The hip that the scan shows near a hint, so that neighbouring hints lead to
/// one answer; the hint itself where it shows none.
fn seen_near(seen: &[LikelyHip], hint: PatientPoint) -> PatientPoint {
    let near = seen.iter().map(|hip| hip.centre).find(|at| at.distance_mm(hint) <= NEAR_HINT_MM);
    near.unwrap_or(hint)
}

/// A hip centre, and the surface it was fitted to.
struct Proposed {
    sphere: SphereProposal,
    kind: SphereKind,
    metal: bool,
}

impl Proposed {
    fn surface(&self) -> String {
        let surface = match self.kind {
            SphereKind::Head => "femoral head",
            SphereKind::Socket => "socket, worn or not, for want of a head",
        };
        let metal = if self.metal { ", metal in or beside it" } else { "" };
        format!("{surface}{metal}")
    }
}

/// The sphere of the head near a point, else of the socket; `None` when
/// neither is round.
fn propose(
    volume: &Volume,
    side: Side,
    centre: PatientPoint,
) -> Result<Option<Proposed>, CaseError> {
    let region = Region::around(volume.grid(), centre, REACH_MM).ok_or_else(|| {
        CaseError::Usage(format!("the {} hint lies outside the scan", side.word()))
    })?;
    let (bone_side, femur, hip) = match side {
        Side::Left => (BoneSide::Left, BoneName::FemurLeft, BoneName::HipLeft),
        Side::Right => (BoneSide::Right, BoneName::FemurRight, BoneName::HipRight),
    };
    let asked = BoneParams {
        hips: HipHints {
            hips: vec![HipHint { side: bone_side, centre, radius_mm: None }],
            points: Vec::new(),
        },
        ..BoneParams::default()
    };
    let bones =
        find_bones(volume, region, &asked).map_err(|error| CaseError::Failed(error.to_string()))?;
    // A joint that was seen is nearer to the centre than the hint.
    let centre = bones.joints.first().map_or(centre, |joint| joint.centre);
    let has_head = bones.joints.first().is_none_or(|joint| joint.head);
    let none = Mask::none(bones.grid.size());
    let scene = Scene {
        volume,
        field: &bones.field,
        labels: &bones.labels,
        metal: &bones.metal,
        cement: &none,
        untrusted: &bones.artefact,
        threshold_hu: bones.threshold_hu,
        cortex: None,
    };
    let on = |bone: BoneName, kind: SphereKind| {
        let label = bones.named(bone)?.label;
        let sphere = propose_sphere(&scene, centre, label, kind, &SphereParams::OWN)?;
        let sphere = sphere.for_landmark(LandmarkName { kind: LandmarkKind::HipCentre, side });
        let metal = metal_near(&bones, &sphere);
        Some(Proposed { sphere, kind, metal })
    };
    let head = has_head.then(|| on(femur, SphereKind::Head)).flatten();
    Ok(head.or_else(|| on(hip, SphereKind::Socket)))
}

/// Whether metal lies in a sphere or beside it.
fn metal_near(bones: &Bones, sphere: &SphereProposal) -> bool {
    let reach_mm = sphere.radius_mm + METAL_NEAR_MM;
    let Some(region) = Region::around(&bones.grid, sphere.centre, reach_mm) else { return false };
    let (from, to) = (region.from(), region.to());
    (from[2]..to[2]).any(|slice| {
        (from[1]..to[1]).any(|row| {
            (from[0]..to[0]).any(|column| {
                let index = [column, row, slice];
                bones.metal.has(index)
                    && bones.grid.centre_of(index).distance_mm(sphere.centre) <= reach_mm
            })
        })
    })
}

fn block(text: &mut String, hip: &Proposed) {
    let found = &hip.sphere;
    let name = found.name.map(LandmarkName::word).unwrap_or_default();
    let [x, y, z] = found.centre.0;
    put(
        text,
        format_args!(
            "\n# Sphere of radius {:.1} mm (standard error {:.2}) on the {}:\n\
             # {} points, rms {:.2} mm; half-angle of the cap {:.0} deg; standard error of the\n\
             # centre in its worst direction {:.2} mm. That is the fit's alone: artefacts, a\n\
             # surface that is not round, and the scan's own edges are not in it.\n",
            found.radius_mm,
            found.radius_se_mm,
            hip.surface(),
            found.points,
            found.rms_mm,
            found.cap_rad.to_degrees(),
            found.worst_se_mm,
        ),
    );
    for finding in &found.findings {
        put(text, format_args!("# {}: {}\n", finding.code, finding.text));
    }
    put(text, format_args!("[[landmark]]\nname = \"{name}\"\nat_mm = [{x:.1}, {y:.1}, {z:.1}]\n"));
}

fn put(text: &mut String, words: std::fmt::Arguments<'_>) {
    text.write_fmt(words).expect("a string takes every write");
}
