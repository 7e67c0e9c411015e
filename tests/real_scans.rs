//! Plans of our own on open scans: what an honest report must say of them.

use std::path::Path;

use pilothole_study::{CaseParams, judge_case, read_plan};
use pilothole_tests::{real_scans, root};

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
