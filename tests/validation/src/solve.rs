//! A phantom through bones, paths and lengths, as the tool does it.

use pilothole_assess::cortex::CortexModel;
use pilothole_assess::{HoleResult, JudgeParams, Scene, judge_holes};
use pilothole_bone::{BoneParams, find_bones};
use pilothole_phantom::{Case, Phantom, Recipe, SceneKind, Truth, demo_hip};
use pilothole_volume::{Grid, Mask, Region};

/// What a phantom's screws meet, and what was found.
#[derive(Debug)]
pub struct Solved {
    /// The answers.
    pub truth: Truth,
    /// What the tool says, in the same order.
    pub found: Vec<HoleResult>,
    /// The lattice.
    pub grid: Grid,
    /// Stocked lengths of each hole's screw, mm.
    pub stocked: Vec<Vec<f64>>,
}

/// Make, scan and judge.
///
/// # Panics
///
/// When the recipe makes no phantom or no bone is found in it.
pub fn solve(recipe: &Recipe) -> Solved {
    let case = Case::of(recipe).unwrap_or_else(|error| panic!("{}: {error}", recipe.name));
    judge(case.scan().expect("voxels come from the lattice"))
}

/// Judge the made hip of the demo.
///
/// # Panics
///
/// When it cannot be made.
pub fn solve_demo() -> Solved {
    judge(demo_hip().expect("the demo is sound"))
}

fn judge(phantom: Phantom) -> Solved {
    let region = Region::whole(phantom.volume.grid());
    let bones = find_bones(&phantom.volume, region, &BoneParams::default()).expect("bones");
    let none = Mask::none(bones.grid.size());
    let bare = Scene {
        volume: &phantom.volume,
        field: &bones.field,
        labels: &bones.labels,
        metal: &bones.metal,
        cement: &none,
        untrusted: &none,
        threshold_hu: bones.threshold_hu,
        cortex: None,
    };
    let cortex = CortexModel::find(&bare, &bones, Some(120.0), &JudgeParams::OWN.path);
    let scene = Scene { cortex: cortex.as_ref(), ..bare };
    let found = judge_holes(&scene, &phantom.plan, &JudgeParams::OWN);
    let stocked = phantom
        .plan
        .holes
        .iter()
        .map(|hole| phantom.plan.screw_of(hole).stocked_lengths_mm.clone())
        .collect();
    Solved { truth: phantom.truth, found, grid: phantom.volume.grid().clone(), stocked }
}

/// A scene as a soft kernel of a usual scanner sees it: blur of 0.6 mm, 15 HU
/// of noise, cubic voxels.
pub fn usual(scene: SceneKind, voxel_mm: f64) -> Recipe {
    let mut recipe = Recipe::of(scene);
    recipe.grid.spacing_mm = [voxel_mm; 3];
    recipe.grid.extent_mm = [60.0; 3];
    recipe.scanner.blur_mm = 0.6;
    recipe.scanner.noise_hu = 15.0;
    recipe
}
