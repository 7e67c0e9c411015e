//! Plans of our own on open scans: what an honest report must say of them.

use std::path::Path;

use pilothole_bone::{BoneFinding, BoneParams, HipHint, HipHints, Side as BoneSide, find_bones};
use pilothole_study::{CaseParams, Replace, Side, judge_case, propose_landmarks, read_plan};
use pilothole_tests::{aloud, real_scans, real_volume, root};
use pilothole_volume::{PatientPoint, Region};

/// Judge a plan of `fixtures/plans` on an open scan.
fn judged(scan: &Path, plan: &str) -> pilothole_study::Judged {
    let file = read_plan(&root().join("fixtures/plans").join(plan)).expect("the plan is sound");
    let params = CaseParams { samples: 64, ..CaseParams::timeless() };
    judge_case(scan, &file, &params, &|_| ()).expect("the scan is judged")
}

/// What must hold on any real scan.
fn is_honest(judged: &pilothole_study::Judged) {
    let surface = judged.surface.as_ref().expect("the envelope's surface is closed");
    assert!(surface.volume_mm3() > 100_000.0);
    for hole in &judged.holes {
        if let (Some(near), Some(far)) = (hole.near, hole.far) {
            assert!(near.at_mm <= far.at_mm);
            let end = hole.segments.last().expect("bone has segments").to_mm;
            assert!((end - far.at_mm).abs() < 1e-6, "segments end at the far cortex");
            let gaps = hole.segments.windows(2).all(|w| (w[0].to_mm - w[1].from_mm).abs() < 1e-9);
            assert!(gaps && hole.segments[0].from_mm == 0.0, "segments have no gaps");
        }
        if let Some(hu) = hole.hu {
            assert!(hu.thread.mean > -100.0 && hu.thread.mean < 1800.0, "{}", hu.thread.mean);
        }
        if let Some(length) = hole.length_mm {
            let far = hole.far.expect("a length needs a far end").at_mm;
            assert!(length <= far - 2.0 + 1e-9, "the tip keeps its margin");
        }
    }
}

#[test]
fn the_roof_of_both_native_hips_holds_long_screws() {
    let Some(data) = real_scans() else { return };
    for plan in ["pelvis-native-left.toml", "pelvis-native-right.toml"] {
        let judged = judged(&data.join("pelvis_native_3mm/series.zip"), plan);
        is_honest(&judged);
        // Marrow below the threshold stays inside: thresholding alone leaves
        // bone after a few millimetres here.
        let roof = &judged.holes[0];
        let depth = roof.bone_depth_mm().expect("the roof's path has both ends");
        assert!(depth > 45.0, "{plan}: {depth} mm towards the sacro-iliac joint");
        // The healthy roof: 123 to 145 HU beside and opposite a prosthesis
        // (Boomsma et al., medians), more in a hip without one.
        let hu = roof.hu.expect("measured").thread.mean;
        assert!((100.0..700.0).contains(&hu), "{plan}: {hu} HU in the roof");
        // The floor is a thin wall: nothing to screw into.
        let floor = judged.holes.iter().find(|h| h.hole == 7).expect("the floor's hole");
        assert!(floor.bone_depth_mm().is_none_or(|mm| mm < 20.0), "{plan}: the floor is thin");
    }
}

/// The right plan is the left one mirrored onto the right hip bone, so twins
/// should meet as much bone. 6 mm, own choice, is what 3 mm slices and a path
/// that skims a wall may add; a wall that is not closed or a neighbour that is
/// joined adds more.
#[test]
fn twins_in_both_native_hips_meet_as_much_bone() {
    let Some(data) = real_scans() else { return };
    let depths = |plan: &str| {
        let file = read_plan(&root().join("fixtures/plans").join(plan)).expect("sound");
        let judged = judged(&data.join("pelvis_native_3mm/series.zip"), plan);
        let depth = |hole: &pilothole_assess::HoleResult| {
            (file.plan.holes[hole.hole].id.clone(), hole.bone_depth_mm().expect("both ends"))
        };
        judged.holes.iter().map(depth).collect::<Vec<_>>()
    };
    let right = depths("pelvis-native-right.toml");
    let mut twins = 0;
    for (id, depth_mm) in depths("pelvis-native-left.toml") {
        let (_, twin_mm) = right.iter().find(|(twin, _)| *twin == id).expect("a twin");
        aloud(&format!("{id}: {depth_mm:.1} mm left, {twin_mm:.1} mm right"));
        assert!((depth_mm - twin_mm).abs() < 6.0, "{id}: {depth_mm} and {twin_mm} mm");
        twins += 1;
    }
    assert_eq!(twins, 10);
}

#[test]
fn the_clean_hip_of_the_coarse_scan_is_judged_with_its_reservations() {
    let Some(data) = real_scans() else { return };
    let judged = judged(&data.join("pelvis_metal_3mm/series.zip"), "pelvis-metal-right.toml");
    is_honest(&judged);
    let codes: Vec<&str> = judged.findings.iter().map(|f| f.code).collect();
    assert!(codes.contains(&"voxel.coarse"), "{codes:?}");
    assert!(codes.contains(&"kvp.unknown"), "{codes:?}");
    // The metal is in the other hip: it lowers no trust here.
    for hole in &judged.holes {
        assert!(
            hole.trust.is_none_or(|trust| trust > 0.99),
            "hole {}: {:?}",
            hole.hole,
            hole.trust
        );
    }
}

/// Centres as one reader set them (`landmarks.json` beside the scan).
#[test]
fn beside_the_nail_the_joint_is_doubted_and_a_spine_is_no_sacrum() {
    let Some(volume) = real_volume("pelvis_metal_3mm") else { return };
    let hint = |side, centre| HipHint { side, centre: PatientPoint(centre), radius_mm: None };
    let hips = vec![
        hint(BoneSide::Left, [83.2, -142.7, 127.9]),
        hint(BoneSide::Right, [-82.0, -144.0, 124.7]),
    ];
    let hips = HipHints { hips, points: Vec::new() };
    let params = BoneParams { hips, ..BoneParams::default() };
    let bones = find_bones(&volume, Region::whole(volume.grid()), &params).expect("bones");
    let doubted: Vec<BoneSide> = bones
        .findings
        .iter()
        .filter_map(|finding| match finding {
            BoneFinding::JointDoubtful { side, .. } => Some(*side),
            _ => None,
        })
        .collect();
    assert_eq!(doubted, [BoneSide::Left], "the nail is in the left femur");
    assert!(bones.findings.iter().any(|finding| finding.code() == "bone.spine_in_sacrum"));
}

/// Name and place of every hip centre in a block of proposals.
fn proposed(text: &str) -> Vec<(String, [f64; 3])> {
    text.split("[[landmark]]")
        .skip(1)
        .map(|block| {
            let value = |key: &str| {
                let line = block.lines().find(|line| line.starts_with(key)).expect("a line");
                line.split_once(" = ").expect("a value").1.to_owned()
            };
            let place = value("at_mm");
            let mut parts = place.trim_matches(['[', ']']).split(", ");
            let at = [0; 3].map(|_| parts.next().expect("three").parse().expect("a number"));
            (value("name").trim_matches('"').to_owned(), at)
        })
        .collect()
}

/// Without a hint: scan, then each side's centre as one reader set it from
/// circle overlays (`landmarks.json` beside the scan), the reader's
/// uncertainty, and what the proposal may be off it: twice that.
#[test]
fn both_hip_centres_are_found_on_open_scans_without_a_hint() {
    let Some(data) = real_scans() else { return };
    let rows = [
        ("pelvis_native_3mm", "hip-centre-left", [108.5, 119.4, 278.6], 1.0),
        ("pelvis_native_3mm", "hip-centre-right", [-73.8, 112.4, 273.2], 1.5),
        ("pelvis_metal_3mm", "hip-centre-left", [83.2, -142.7, 127.9], 2.5),
        ("pelvis_metal_3mm", "hip-centre-right", [-82.0, -144.0, 124.7], 2.0),
    ];
    for scan in ["pelvis_native_3mm", "pelvis_metal_3mm"] {
        let series = data.join(scan).join("series.zip");
        let folder = tempfile::tempdir().expect("a folder");
        let out = folder.path().join("landmarks");
        let wanted = Some((out.as_path(), Replace::EarlierResults));
        let text = propose_landmarks(&series, &[], wanted, &CaseParams::timeless())
            .expect("hips are found");
        let found = proposed(&text);
        assert_eq!(found.len(), 2, "{text}");
        for (_, name, truth, uncertain_mm) in rows.iter().filter(|row| row.0 == scan) {
            let (_, at) = found.iter().find(|(word, _)| word == name).expect("both sides");
            let off_mm = at.iter().zip(truth).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt();
            aloud(&format!("{scan} {name}: {off_mm:.2} mm from the reader's centre"));
            assert!(off_mm <= 2.0 * uncertain_mm, "{scan} {name}: {off_mm} mm\n{text}");
        }
        let page = std::fs::read_to_string(out.join("landmarks.html")).expect("a page");
        assert_eq!(page.matches("data:image/png;base64,").count(), 6, "three cuts a hip");
        assert_eq!(std::fs::read_to_string(out.join("landmarks.toml")).expect("a block"), text);
        // A hint 8 mm off leads to the same place.
        let (name, at) = &found[1];
        assert_eq!(name, "hip-centre-right");
        let hint = [(Side::Right, [at[0] + 4.0, at[1] - 4.0, at[2] + 5.0])];
        let again = propose_landmarks(&series, &hint, None, &CaseParams::timeless())
            .expect("the hip is found");
        let same = proposed(&again)[0].1;
        let apart = same.iter().zip(at).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt();
        assert!(apart < 1.0, "{apart} mm from another hint");
    }
}
