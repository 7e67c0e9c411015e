//! An open scan with more noise or more blur must still hold its bones: what
//! changes is the image, not the patient.

use pilothole_bone::{BoneName, BoneParams, Bones, HipHints, find_bones};
use pilothole_study::{hints_of, read_plan};
use pilothole_tests::{aloud, real_volume, root};
use pilothole_volume::{Region, Volume, Voxels};

/// Blur within slices by a Gaussian, voxels, then noise of one standard
/// deviation, HU.
fn altered(volume: &Volume, blur: f64, noise_hu: f64) -> Volume {
    let [columns, rows, _] = volume.grid().size();
    let Voxels::I16(all) = volume.voxels() else { panic!("the scan keeps whole numbers") };
    let mut values: Vec<f64> = all.iter().map(|hu| f64::from(*hu)).collect();
    if blur > 0.0 {
        let weight = |by: f64| (-0.5 * (by / blur).powi(2)).exp();
        let reach = (4.0 * blur).ceil() as isize;
        let taps: Vec<f64> = (-reach..=reach).map(|by| weight(by as f64)).collect();
        let sum: f64 = taps.iter().sum();
        for (stride, count) in [(1, columns), (columns, rows)] {
            let before = values.clone();
            for (at, value) in values.iter_mut().enumerate() {
                let place = (at / stride % count) as isize;
                let beside = |tap: usize| {
                    let to = (place + tap as isize - reach).clamp(0, count as isize - 1);
                    before[at.wrapping_add_signed((to - place) * stride as isize)]
                };
                *value = taps.iter().enumerate().map(|(tap, w)| w * beside(tap)).sum::<f64>() / sum;
            }
        }
    }
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut uniform = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    // Twelve uniform numbers less 6 have a variance of 1.
    let mut normal = || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
    let stored = values.into_iter().map(|hu| {
        let noise = if noise_hu > 0.0 { noise_hu * normal() } else { 0.0 };
        (hu + noise).round() as i16
    });
    Volume::new(volume.grid().clone(), Voxels::I16(stored.collect()), volume.ceiling_hu())
        .expect("as many voxels")
}

fn found(volume: &Volume, hips: &HipHints) -> Bones {
    let params = BoneParams { hips: hips.clone(), ..BoneParams::default() };
    find_bones(volume, Region::whole(volume.grid()), &params).expect("bones")
}

fn cm3(bones: &Bones, name: BoneName) -> f64 {
    bones.named(name).map_or(0.0, |bone| bone.volume_mm3 / 1000.0)
}

/// The volumes of hip bones and femora move by 2 % with a noise of 40 HU, and by
/// what a halfway edge moves with 0.8 mm of blur: 5 %. Before contrast was looked
/// for in a calmed region the right hip bone took 220 cm³ of bowel; before the
/// sacroiliac joint was looked for in its own place it lost 114 cm³ of marrow.
#[test]
fn noise_and_blur_leave_the_bones_of_an_open_scan() {
    let Some(volume) = real_volume("pelvis_native_3mm") else { return };
    let plan = root().join("fixtures/plans/pelvis-native-right.toml");
    let hips = hints_of(&read_plan(&plan).expect("sound").plan);
    let as_it_is = found(&volume, &hips);
    for (blur, noise_hu, most) in [(0.0, 40.0, 0.02), (0.8, 0.0, 0.05)] {
        let bones = found(&altered(&volume, blur, noise_hu), &hips);
        for name in
            [BoneName::HipLeft, BoneName::HipRight, BoneName::FemurLeft, BoneName::FemurRight]
        {
            let (was, is) = (cm3(&as_it_is, name), cm3(&bones, name));
            aloud(&format!(
                "blur {blur}, noise {noise_hu}: {} {was:.1}, {is:.1} cm3",
                name.as_str()
            ));
            assert!((is / was - 1.0).abs() < most, "{}: {was} and {is} cm3", name.as_str());
        }
    }
}
