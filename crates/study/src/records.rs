//! What the stages know, as the report words it.

use pilothole_assess::cortex::{CortexLevel, CortexModel, LevelSource};
use pilothole_assess::{Finding, HoleResult};
use pilothole_bone::density::shift_to_120;
use pilothole_bone::{BoneFinding, BoneName, Bones};
use pilothole_intake::Intake;
use pilothole_report::{BandRecord, BoneRecord, BonesRecord, ScanRecord, SurfaceRecord};
use pilothole_surface::ClosedSurface;

use crate::case::Prepared;

/// The scan, without whose it is.
pub(crate) fn scan_record(intake: &Intake) -> ScanRecord {
    let (grid, facts) = (intake.volume.grid(), &intake.facts);
    ScanRecord {
        digest: digest_words(intake),
        size: grid.size(),
        voxel_mm: grid.spacing_mm(),
        orientation: Some(orientation(intake)),
        kvp: facts.kvp,
        bone_hu_to_120_kvp: facts.kvp.and_then(shift_to_120).map(|shift| BandRecord {
            estimate: Some(shift.factor),
            low: Some(shift.low),
            high: Some(shift.high),
        }),
        kernel: Some(facts.kernel_class.word().to_owned()),
        slice_thickness_mm: facts.slice_thickness_mm,
        tilt_deg: facts.tilt_deg,
        uneven: Some(grid.slice_places().is_some()),
        lossy: Some(facts.lossy.is_some()),
        syntax: facts.syntax.map(ToOwned::to_owned),
        contrast: facts.contrast,
        saturated_voxels: Some(facts.saturated_voxels as u64),
        padding_voxels: Some(facts.padding_voxels as u64),
        ceiling_hu: intake.volume.ceiling_hu(),
    }
}

/// The digest over voxels and geometry, hexadecimal.
pub(crate) fn digest_words(intake: &Intake) -> String {
    intake.digest.iter().fold(String::new(), |mut words, byte| {
        for half in [byte >> 4, byte & 15] {
            words.push(char::from_digit(u32::from(half), 16).unwrap_or('0'));
        }
        words
    })
}

/// How the slices lie: by the patient axis that their normal is nearest to.
fn orientation(intake: &Intake) -> String {
    let steps = intake.volume.grid().steps();
    let normal = steps[0].cross(steps[1]);
    let length = normal.length_mm();
    let share: [f64; 3] = normal.0.map(|c| c.abs() / length);
    let names = ["sagittal", "coronal", "axial"];
    let main = (0..3).fold(0, |best, i| if share[i] > share[best] { i } else { best });
    let plane = names[main];
    if share[main] > 0.999 { plane.to_owned() } else { format!("oblique {plane}") }
}

/// What was taken for bone.
pub(crate) fn bones_record(prepared: &Prepared, surface: Option<&ClosedSurface>) -> BonesRecord {
    let bones = &prepared.bones;
    let voxel_mm3 = bones.grid.voxel_mm3();
    let share = prepared.untrusted.count() as f64 / bones.grid.voxel_count() as f64;
    BonesRecord {
        threshold_hu: bones.threshold_hu,
        method: "Walls at the threshold and thin bright sheets below it; bones parted in the \
                 joint spaces; inside what the walls of one bone enclose in most directions; \
                 surface at the halfway level between wall and outside."
            .to_owned(),
        bones: bones
            .records
            .iter()
            .map(|bone| BoneRecord {
                label: bone.label,
                name: bone.name.map(|name| name.as_str().to_owned()),
                volume_mm3: Some(bone.volume_mm3),
            })
            .collect(),
        metal_mm3: Some(bones.metal.count() as f64 * voxel_mm3),
        cement_mm3: Some(prepared.cement.count() as f64 * voxel_mm3),
        untrusted_share: Some(share),
        surface: surface.map(|surface| SurfaceRecord {
            vertices: surface.mesh().vertices.len(),
            triangles: surface.mesh().triangles.len(),
            volume_mm3: Some(surface.volume_mm3()),
            area_mm2: Some(surface.area_mm2()),
        }),
    }
}

/// Reservations about the scan and the bones; what concerns bones that no
/// operated hip touches is left out.
pub(crate) fn findings_of_scan(prepared: &Prepared, hip: BoneName) -> Vec<Finding> {
    let scan = prepared.intake.findings.iter().map(|reason| Finding {
        code: reason.code,
        hole: None,
        other: None,
        text: sentence(&reason.text),
        measured: reason.measured,
        limit: reason.limit,
        unit: reason.unit,
    });
    let known: Vec<&str> = prepared.intake.findings.iter().map(|f| f.code).collect();
    let bones = prepared
        .bones
        .findings
        .iter()
        .filter(|finding| !known.contains(&finding.code()))
        .filter_map(|finding| bone_finding(&prepared.bones, finding, Some(hip)));
    scan.chain(bones).chain(of_numbers(prepared)).collect()
}

/// What the numbers mean here: tube voltage, blur, cement.
fn of_numbers(prepared: &Prepared) -> Vec<Finding> {
    let mut findings = Vec::new();
    let kvp = prepared.intake.facts.kvp;
    if let Some((kvp, shift)) = kvp.and_then(|kvp| Some((kvp, shift_to_120(kvp)?)))
        && (shift.factor - 1.0).abs() > LEAST_SHIFT
    {
        let text = format!(
            "The scan was made at {kvp:.0} kVp: its bone reads {:.2} times what it would at 120 kVp ({:.2} to {:.2}). Grades take the scan's own HU against thresholds of 120 kVp.",
            1.0 / shift.factor,
            1.0 / shift.high,
            1.0 / shift.low
        );
        findings.push(Finding::new("kvp.shift", text).measured(kvp, Some(120.0), "kVp"));
    } else if let Some(kvp) = kvp.filter(|kvp| shift_to_120(*kvp).is_none()) {
        let text = format!(
            "The scan was made at {kvp:.0} kVp, outside 80 to 140; what its bone would read at 120 kVp is not known. Grades take the scan's own HU against thresholds of 120 kVp."
        );
        findings.push(Finding::new("kvp.shift", text).measured(kvp, Some(120.0), "kVp"));
    }
    findings.extend(blur_unknown(prepared.cortex.as_ref()));
    findings.extend(level_assumed(&prepared.bones, prepared.cortex.as_ref()));
    let cement_mm3 = prepared.cement.count() as f64 * prepared.bones.grid.voxel_mm3();
    if cement_mm3 > 0.0 {
        findings.push(
            Finding::new(
                "cement.suggested",
                "A bright, even body may be bone cement: a suggestion by HU and texture, to be looked at. No pull-out strength is counted in it.",
            )
            .measured(cement_mm3, Some(0.0), "mm3"),
        );
    }
    findings
}

/// Said of a scan whose blur does not show.
pub(crate) fn blur_unknown(cortex: Option<&CortexModel>) -> Option<Finding> {
    let text = "Too few cortices show the scan's blur; ends of the bone lie halfway, which puts a thin cortex too far out.";
    cortex.is_none().then(|| Finding::new("blur.unknown", text))
}

/// Said of bones whose cortex is nowhere thick enough to show its own level.
pub(crate) fn level_assumed(bones: &Bones, cortex: Option<&CortexModel>) -> Option<Finding> {
    let cortex = cortex?;
    let records = &bones.records;
    let named = records.iter().any(|record| record.name.is_some());
    let (names, levels): (Vec<String>, Vec<CortexLevel>) = records
        .iter()
        .filter(|record| record.name.is_some() || !named)
        .filter_map(|record| Some((record.label, cortex.level_of(record.label)?)))
        .filter(|(_, level)| level.from == LevelSource::Assumed)
        .map(|(bone, level)| (name_of(bones, bone), level))
        .unzip();
    let assumed = levels.first()?;
    let text = format!(
        "Too few thick places show how dense the cortex is ({}): {:.0} HU are assumed, with a spread of {:.0} HU, which is in the errors of thin cortices' edges and thickness. A cortex of 900 HU or less shows far too thin.",
        names.join(", "),
        assumed.hu,
        assumed.sd_hu
    );
    Some(Finding::new("cortex.level_assumed", text).measured(assumed.hu, None, "HU"))
}

/// Said of a path that ends where the border between hip bone and sacrum is a
/// guess: it may have passed from one into the other.
pub(crate) fn guessed_border(prepared: &Prepared, hole: &HoleResult) -> Option<Finding> {
    let bones = &prepared.bones;
    let name = bones.records.get(usize::from(hole.bone?).checked_sub(1)?)?.name?;
    if name.is_femur() {
        return None;
    }
    let far_mm = hole.far?.at_mm;
    let end = hole.seat + hole.direction * far_mm;
    let guessed = bones.joints.iter().any(|joint| joint.border_is_guessed_at(end));
    guessed.then(|| {
        let text = "The path ends where the border between hip bone and sacrum is a guess, as the sacroiliac joint does not show: the screw may cross the joint, and depth, length and HU may count the sacrum's bone.";
        Finding::new("path.border_guessed", text).of_hole(hole.hole).measured(far_mm, None, "mm")
    })
}

/// Shift of bone HU against 120 kVp that is told: half of what the band around
/// a threshold of 110 HU can tell, 2 %. Own choice.
const LEAST_SHIFT: f64 = 0.02;

/// A finding whose sentence begins with a bone's number, with its name.
pub(crate) fn named(prepared: &Prepared, mut finding: Finding) -> Finding {
    if let Some(rest) = finding.text.strip_prefix("Bone ")
        && let Some((label, rest)) = rest.split_once(' ')
        && let Ok(label) = label.trim_end_matches(',').parse::<u8>()
    {
        let name = sentence(&name_of(&prepared.bones, label));
        finding.text = format!("{} {rest}", name.trim_end_matches('.'));
    }
    finding
}

/// A sentence with a capital and a period.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first: String = letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    let rest = letters.as_str();
    let end = if rest.ends_with(['.', '?', '!']) { "" } else { "." };
    format!("{first}{rest}{end}")
}

fn name_of(bones: &Bones, label: u8) -> String {
    bones
        .records
        .iter()
        .find(|record| record.label == label)
        .and_then(|record| record.name)
        .map_or_else(|| format!("bone {label}"), |name| name.as_str().replace('-', " "))
}

/// What a reader is told of a finding about bones; of bones that touch only
/// what touches a hip bone, where that is given.
pub(crate) fn bone_finding(
    bones: &Bones,
    finding: &BoneFinding,
    hip: Option<BoneName>,
) -> Option<Finding> {
    let code = finding.code();
    let plain = |text: String| Finding::new(code, text);
    Some(match finding {
        BoneFinding::NotMeasured { fraction } => {
            plain("Part of the region holds no measurement and counts as outside.".to_owned())
                .measured(*fraction, Some(0.0), "1")
        }
        BoneFinding::HipOutside { side } => {
            plain(format!("The {} hip centre lies outside the region.", side_word(*side)))
        }
        BoneFinding::NoHead { side } => plain(format!(
            "No femoral head fills the {} hip; its femur may be missing near the joint.",
            side_word(*side)
        )),
        BoneFinding::JointNotResolved { side, seen_fraction, limit } => plain(format!(
            "The {} hip's joint space shows in few directions; elsewhere the border between femur and hip bone is a smooth guess.",
            side_word(*side)
        ))
        .measured(*seen_fraction, Some(*limit), "1"),
        BoneFinding::JointDoubtful { side, apart_mm, limit_mm } => plain(format!(
            "Beside metal the middle of the {} hip joint is doubtful: hints 4 mm beside the one given lead elsewhere, and the border between femur and hip bone with them.",
            side_word(*side)
        ))
        .measured(*apart_mm, Some(*limit_mm), "mm"),
        BoneFinding::SacroiliacNotResolved { side } => plain(format!(
            "The {} sacroiliac joint does not show, or lies outside the region; the border between hip bone and sacrum there is a guess.",
            side_word(*side)
        )),
        BoneFinding::SpineInSacrum { above_mm, limit_mm } => plain(
            "What is named sacrum reaches higher than one: lumbar vertebrae are part of it."
                .to_owned(),
        )
        .measured(*above_mm, Some(*limit_mm), "mm"),
        BoneFinding::Touching { label, other, area_mm2 } => {
            let of_hip = |name| bones.named(name).map(|record| record.label);
            if hip.is_some_and(|hip| of_hip(hip).is_none_or(|own| own != *label && own != *other)) {
                return None;
            }
            plain(format!(
                "{} and {} touch without a gap.",
                sentence(&name_of(bones, *label)).trim_end_matches('.'),
                name_of(bones, *other)
            ))
            .measured(*area_mm2, Some(0.0), "mm2")
        }
        BoneFinding::LeftOut { volume_mm3, .. } => plain(
            "A bright, even body was left out of the bone, as a vessel or bowel with contrast is."
                .to_owned(),
        )
        .measured(*volume_mm3, None, "mm3"),
        BoneFinding::Gap { volume_mm3, .. } => plain(
            "A dark sheet between two walls back to back, open to the outside, counts as outside: \
             a gap between fragments, or a joint."
                .to_owned(),
        )
        .measured(*volume_mm3, None, "mm3"),
        BoneFinding::Saturated { count } => {
            plain("Voxels at the ceiling of the storage: their HU are a lower bound.".to_owned())
                .measured(*count as f64, Some(0.0), "voxels")
        }
        BoneFinding::Metal { volume_mm3, .. } => Finding::new(
            "metal.present",
            "Metal lies in the region; HU around it are not trusted.",
        )
        .measured(*volume_mm3, Some(0.0), "mm3"),
        BoneFinding::Coarse { edge_mm, limit_mm } => {
            plain("Voxels are too coarse to resolve a thin cortex.".to_owned())
                .measured(*edge_mm, Some(*limit_mm), "mm")
        }
        BoneFinding::NoCortex { fraction } => plain(
            "Part of the bone's surface shows no cortex; it lies midway between voxels there."
                .to_owned(),
        )
        .measured(*fraction, Some(0.0), "1"),
        _ => plain("The bones are found with a reservation.".to_owned()),
    })
}

fn side_word(side: pilothole_bone::Side) -> &'static str {
    match side {
        pilothole_bone::Side::Left => "left",
        pilothole_bone::Side::Right => "right",
    }
}
