//! Where bone cement may be: a suggestion by HU and texture, never a finding
//! of fact.

use pilothole_volume::{Labels, Mask, Neighbours, Volume, without_small};

use crate::bones::Bones;
use crate::params::METAL_HU;
use crate::patch::Patch;

/// Least HU of cement with a contrast agent. No source: acrylic alone reads
/// 112 to 144 HU (computed from ICRU tables), the added barium or zirconium
/// makes the rest; a socket's sclerotic roof stays below 1000.
pub const CEMENT_HU: f64 = 1100.0;
/// A body of cement holds a ball of this radius, mm: a cortex so dense and
/// thicker than 5 mm is found in a femur's shaft, hardly in a hip bone. No
/// source.
const BALL_MM: f64 = 2.5;
/// Largest standard deviation within the ball, as a share of its mean: cement
/// is even, trabeculae and the blurred edge of metal are not. No source.
const EVEN_SHARE: f64 = 0.12;
/// Least volume of a body of cement, mm³. No source.
const LEAST_MM3: f64 = 300.0;

/// Suggest where cement is in a hip bone or beside one.
///
/// Bright, even bodies thicker than 5 mm and of 300 mm³ or more, between
/// [`CEMENT_HU`] and metal, femora left out. Dense bone that is as bright,
/// thick and even looks the same: ask a person.
pub fn suggest_cement(volume: &Volume, bones: &Bones) -> Mask {
    let patch = Patch::of(volume, bones.region);
    let femora: Vec<u8> = bones
        .records
        .iter()
        .filter(|record| record.name.is_some_and(crate::params::BoneName::is_femur))
        .map(|record| record.label)
        .collect();
    let kernel = core(&patch, &bones.labels, &femora);
    if kernel.is_empty() {
        return kernel;
    }
    let least = (LEAST_MM3 / patch.grid.voxel_mm3()).ceil() as usize;
    without_small(&grown(&patch, &kernel), Neighbours::TwentySix, least)
}

fn is_bright(hu: f32) -> bool {
    (CEMENT_HU..METAL_HU).contains(&f64::from(hu))
}

/// Voxels around which a whole ball is bright and even.
fn core(patch: &Patch<'_>, labels: &Labels, femora: &[u8]) -> Mask {
    let ball = patch.ball(BALL_MM);
    patch.voxels_where(CEMENT_HU as i16..=METAL_HU as i16, |at| {
        let here = patch.hu.at(at);
        if !is_bright(here) || femora.contains(&labels.values()[at]) {
            return false;
        }
        let index = patch.index(at);
        let (mut sum, mut squares) = (f64::from(here), f64::from(here).powi(2));
        for step in &ball {
            let Some(to) = step.from(patch.size, index, at) else { return false };
            let hu = patch.hu.at(to);
            if !is_bright(hu) {
                return false;
            }
            sum += f64::from(hu);
            squares += f64::from(hu).powi(2);
        }
        let count = ball.len() as f64 + 1.0;
        let mean = sum / count;
        let variance = squares / count - mean * mean;
        variance.max(0.0).sqrt() <= EVEN_SHARE * mean
    })
}

/// The bright voxels within the balls of a core.
fn grown(patch: &Patch<'_>, kernel: &Mask) -> Mask {
    let mut body = kernel.clone();
    let ball = patch.ball(BALL_MM);
    for at in 0..patch.len() {
        let index = patch.index(at);
        if !kernel.has(index) {
            continue;
        }
        let around = ball.iter().filter_map(|step| step.from(patch.size, index, at));
        for to in around.filter(|to| is_bright(patch.hu.at(*to))) {
            body.set(patch.index(to), true);
        }
    }
    body
}
