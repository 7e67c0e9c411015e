//! Are the numbers Hounsfield units?
//!
//! First by what the header says, then by what air, fat and muscle measure.

use crate::dicom::FrameHead;
use crate::pixels::{HISTOGRAM_FROM_HU, HISTOGRAM_STEP_HU};
use crate::reason::Reason;

/// Image types whose numbers are not attenuation, by any of their values.
const NOT_ATTENUATION: &[(&str, &str)] = &[
    ("PROJECTION IMAGE", "a projection"),
    ("MAX_IP", "a maximum projection"),
    ("MIN_IP", "a minimum projection"),
    ("MIP", "a maximum projection"),
    ("MINIP", "a minimum projection"),
    ("PERFUSION", "a perfusion map"),
    ("SUBTRACTION", "a difference of images"),
    ("SUBTRACT", "a difference of images"),
    ("VRT", "a rendering"),
    ("3D", "a rendering"),
    ("IODINE", "a material map"),
    ("MATERIAL", "a material map"),
    ("MAT_SPECIFIC", "a material map"),
    ("MAT_FRACTIONAL", "a material map"),
    ("MAT_REMOVED", "a material map"),
    ("MAT_MODIFIED", "a material map"),
    ("MAT_VALUE_BASED", "a material map"),
    ("EFF_ATOMIC_NUM", "an atomic number map"),
    ("ELECTRON_DENSITY", "an electron density map"),
];

/// Refuse frames whose header does not say that they hold Hounsfield units.
pub(super) fn check_stated(frames: &[&FrameHead]) -> Result<(), Reason> {
    let not_hu = |text: String| {
        Reason::new("units.not_hu", text)
            .next("ask for the original CT images with their rescale values, not a derived map")
    };
    let count = |is_bad: fn(&FrameHead) -> bool| frames.iter().filter(|f| is_bad(f)).count();
    let of = frames.len();
    let bare = count(|f| f.slope.is_none() || f.intercept.is_none());
    if bare > 0 {
        return Err(not_hu(format!(
            "RescaleSlope or RescaleIntercept is absent or no number in {bare} of {of} slices, \
             so stored values have no unit"
        ))
        .measured(bare as f64, 0.0, "slices"));
    }
    let flat = count(|f| f.slope.is_some_and(|slope| slope <= 0.0));
    if flat > 0 {
        return Err(not_hu(format!("RescaleSlope is not above 0 in {flat} of {of} slices"))
            .measured(flat as f64, 0.0, "slices"));
    }
    let other = count(|f| f.rescale_type.as_deref().is_some_and(|unit| unit != "HU"));
    if other > 0 {
        return Err(not_hu(format!(
            "RescaleType says that the values are not Hounsfield units in {other} of {of} slices"
        ))
        .measured(other as f64, 0.0, "slices"));
    }
    for (word, what) in NOT_ATTENUATION {
        let found = frames
            .iter()
            .filter(|f| f.image_type.iter().skip(2).any(|value| value == word))
            .count();
        if found > 0 {
            return Err(not_hu(format!("ImageType says that {found} of {of} slices are {what}"))
                .measured(found as f64, 0.0, "slices"));
        }
    }
    Ok(())
}

/// Where tissues stand, by the histogram of a volume.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Tissue {
    /// Centre of the peak of air, HU.
    pub air: Option<f64>,
    /// Centre of the peak of fat, HU.
    pub fat: Option<f64>,
    /// Centre of the peak of muscle and organs, HU.
    pub muscle: Option<f64>,
}

/// HU of air; its peak lies within 1 HU of it on calibrated scanners.
const AIR_HU: f64 = -1000.0;
/// Farthest from [`AIR_HU`] that passes without a word, HU: two constancy
/// limits of routine quality control.
const AIR_FINDING_HU: f64 = 30.0;
/// Farthest from [`AIR_HU`] that a peak is still taken for air, HU; beyond, an
/// intercept is wrong and every threshold with it.
const AIR_REFUSED_HU: f64 = 100.0;
/// Range of the peak of muscle, water and organs, HU; contrast included.
const SOFT_HU: [f64; 2] = [-130.0, 130.0];
/// Distance from air to soft tissue, HU: fat (-110) to enhanced organs (130).
const AIR_TO_SOFT_HU: [f64; 2] = [870.0, 1150.0];
/// Distance from air to fat, HU (fat -125 to -75).
const AIR_TO_FAT_HU: [f64; 2] = [875.0, 925.0];
/// Distance from air to muscle, HU (muscle 20 to 90, contrast included).
const AIR_TO_MUSCLE_HU: [f64; 2] = [1020.0, 1090.0];
/// Least part of the voxels that makes a peak.
const PEAK_PART: f64 = 0.01;
/// A peak with more of its weight than this in one bin has no noise: it is what
/// the storage was filled up with, below air at times, and no tissue.
const FILL_PART: f64 = 0.99;

/// Hold air and soft tissue against their expected HU.
///
/// Air and soft tissue are two peaks of the histogram some 1000 HU apart. A
/// pair whose air stands near -1000 is believed first. Without one, air, fat
/// and muscle are sought anywhere: three peaks at their distances are no
/// coincidence. A pair alone may as well be water and bone, so it is said and
/// not refused. Nothing measured lies below air, so a peak above a tissue's is
/// none. A volume without air in view is not judged.
///
/// # Errors
///
/// `units.not_hu` when air, fat and muscle stand elsewhere.
pub(crate) fn check_tissue(histogram: &[u64]) -> Result<(Tissue, Option<Reason>), Reason> {
    let peaks = peaks(histogram);
    let within = |apart: f64, range: [f64; 2]| apart >= range[0] && apart <= range[1];
    let near = |hu: f64| (hu - AIR_HU).abs() <= AIR_REFUSED_HU;
    let pairs = pairs_of(&peaks, AIR_TO_SOFT_HU);
    if let Some((air, soft)) = heaviest(pairs.iter().filter(|(air, _)| near(air.hu))) {
        let seen = |range: [f64; 2]| {
            let apart = peaks.iter().filter(|peak| within(peak.hu - air.hu, range));
            apart.max_by_key(|peak| peak.weight).map(|peak| peak.hu)
        };
        let tissue =
            Tissue { air: Some(air.hu), fat: seen(AIR_TO_FAT_HU), muscle: seen(AIR_TO_MUSCLE_HU) };
        let soft_is_off = soft.hu < SOFT_HU[0] || soft.hu > SOFT_HU[1];
        let disagrees = (air.hu - AIR_HU).abs() > AIR_FINDING_HU || soft_is_off;
        return Ok((tissue, disagrees.then(|| disagreement("units.air", air, soft))));
    }
    let is_lowest = |air: &Peak| !peaks.iter().any(|low| low.hu < air.hu && !low.is_fill);
    let mut muscle = pairs_of(&peaks, AIR_TO_MUSCLE_HU);
    muscle.retain(|(air, _)| is_lowest(air));
    let has_fat = |air: &Peak| peaks.iter().any(|fat| within(fat.hu - air.hu, AIR_TO_FAT_HU));
    if let Some((air, soft)) = heaviest(muscle.iter().filter(|(air, _)| has_fat(air))) {
        return Err(disagreement("units.not_hu", air, soft).next(
            "the rescale intercept or slope in the files is wrong: ask for the original export",
        ));
    }
    let finding = heaviest(muscle.iter()).map(|(air, soft)| disagreement("units.air", air, soft));
    Ok((Tissue::default(), finding))
}

fn disagreement(code: &'static str, air: Peak, soft: Peak) -> Reason {
    let limit = if code == "units.air" { AIR_FINDING_HU } else { AIR_REFUSED_HU };
    Reason::new(
        code,
        format!(
            "what looks like air measures {:.0} HU and soft tissue {:.0} HU, expected {AIR_HU} \
             within {limit} HU, and {} to {} HU",
            air.hu, soft.hu, SOFT_HU[0], SOFT_HU[1]
        ),
    )
    .measured(air.hu - AIR_HU, limit, "HU")
}

/// A local maximum of the histogram.
#[derive(Clone, Copy, Debug)]
struct Peak {
    hu: f64,
    weight: u64,
    /// Whether it is one value and no tissue.
    is_fill: bool,
}

/// Pairs of peaks a given distance apart, the lower first.
fn pairs_of(peaks: &[Peak], apart: [f64; 2]) -> Vec<(Peak, Peak)> {
    let mut pairs = Vec::new();
    for low in peaks {
        for high in peaks {
            let distance = high.hu - low.hu;
            if distance >= apart[0] && distance <= apart[1] {
                pairs.push((*low, *high));
            }
        }
    }
    pairs
}

fn heaviest<'a>(pairs: impl Iterator<Item = &'a (Peak, Peak)>) -> Option<(Peak, Peak)> {
    pairs.max_by_key(|(low, high)| low.weight.min(high.weight)).copied()
}

fn peaks(histogram: &[u64]) -> Vec<Peak> {
    let total: u64 = histogram.iter().sum();
    let least = ((total as f64 * PEAK_PART) as u64).max(8);
    let last = histogram.len();
    // Three bins together: a peak may straddle two.
    let weight = |bin: usize| histogram[bin.saturating_sub(1)..(bin + 2).min(last)].iter().sum();
    let weights: Vec<u64> = (0..last).map(weight).collect();
    let is_peak = |bin: &usize| {
        let own = weights[*bin];
        // Six bins are 48 HU, less than fat and muscle are apart.
        let mut near = bin.saturating_sub(6)..(bin + 7).min(last);
        own > least && near.all(|b| weights[b] < own || (weights[b] == own && b >= *bin))
    };
    let centre = |bin: usize| {
        let near = bin.saturating_sub(1)..(bin + 2).min(last);
        let sum: f64 = near.map(|b| histogram[b] as f64 * (b as f64 + 0.5)).sum();
        HISTOGRAM_FROM_HU + HISTOGRAM_STEP_HU * sum / weights[bin].max(1) as f64
    };
    // The outermost bins hold what lies beyond.
    (1..last.saturating_sub(1))
        .filter(is_peak)
        .map(|bin| {
            let near = &histogram[bin.saturating_sub(1)..(bin + 2).min(last)];
            let most = near.iter().copied().max().unwrap_or(0);
            let is_fill = most as f64 > FILL_PART * weights[bin] as f64;
            Peak { hu: centre(bin), weight: weights[bin], is_fill }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pixels::HISTOGRAM_BINS;

    fn histogram(peaks: &[(f64, u64)]) -> Vec<u64> {
        let mut bins = vec![0; HISTOGRAM_BINS];
        for (hu, count) in peaks {
            bins[((hu - HISTOGRAM_FROM_HU) / HISTOGRAM_STEP_HU) as usize] += count;
        }
        bins
    }

    #[test]
    fn true_air_passes_and_a_wrong_intercept_does_not() {
        let (tissue, finding) =
            check_tissue(&histogram(&[(-1000.0, 5000), (-105.0, 900), (45.0, 3000)]))
                .expect("right");
        assert!(finding.is_none() && (tissue.air.expect("seen") + 1000.0).abs() < 8.0);
        let shifted = histogram(&[(24.0, 5000), (919.0, 900), (1069.0, 3000)]);
        let refused = check_tissue(&shifted).expect_err("1024 too high");
        assert_eq!(refused.code, "units.not_hu");
        let (_, finding) =
            check_tissue(&histogram(&[(-950.0, 5000), (95.0, 3000)])).expect("a finding");
        assert_eq!(finding.expect("50 HU off").code, "units.air");
    }

    /// Peaks as noise makes them: over five bins.
    fn noisy(peaks: &[(f64, u64)]) -> Vec<u64> {
        let around = |(hu, count): &(f64, u64)| {
            [(-2.0, 1), (-1.0, 2), (0.0, 4), (1.0, 2), (2.0, 1)]
                .map(|(bins, part)| (hu + bins * HISTOGRAM_STEP_HU, count * part / 10))
        };
        histogram(&peaks.iter().flat_map(around).collect::<Vec<_>>())
    }

    #[test]
    fn cancellous_bone_above_muscle_is_not_taken_for_air() {
        let rods = [(50.0, 60_000), (252.0, 9000), (1152.0, 4000), (1316.0, 6000)];
        assert_eq!(check_tissue(&noisy(&rods)), Ok((Tissue::default(), None)));
        let refused = check_tissue(&noisy(&rods[1..])).expect_err("nothing lies below it");
        assert_eq!(refused.code, "units.not_hu");
    }

    #[test]
    fn what_a_storage_is_filled_up_with_hides_no_wrong_intercept() {
        let mut shifted = noisy(&[(24.0, 50_000), (919.0, 9000), (1069.0, 30_000)]);
        let fill = ((-800.0 - HISTOGRAM_FROM_HU) / HISTOGRAM_STEP_HU) as usize;
        shifted[fill] += 20_000;
        let refused = check_tissue(&shifted).expect_err("1024 too high");
        assert_eq!(refused.code, "units.not_hu");
    }

    #[test]
    fn a_volume_without_air_is_not_judged() {
        assert_eq!(
            check_tissue(&histogram(&[(40.0, 5000), (300.0, 900)])),
            Ok((Tissue::default(), None))
        );
    }
}
