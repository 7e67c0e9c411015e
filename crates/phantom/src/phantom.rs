//! A phantom: its scan, its plan, and the answers.

use pilothole_plan::{Plan, PlanRefusal};
use pilothole_volume::{Grid, GridError, Volume, VolumeError};

use crate::draft::PlanDraft;
use crate::hip::{self, HipNumbers};
use crate::pose::Pose;
use crate::scan::{Rounding, Scanner};
use crate::scene::Scene;
use crate::truth::Truth;

/// A scan whose answers are known.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Phantom {
    /// What was scanned.
    pub scene: Scene,
    /// How it looks.
    pub volume: Volume,
    /// The plan.
    pub plan: Plan,
    /// The same as a plan file.
    pub plan_toml: String,
    /// What the plan's screws meet.
    pub truth: Truth,
}

/// Why a phantom could not be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PhantomError {
    /// Its lattice is none.
    #[error("the lattice: {0}")]
    Grid(#[from] GridError),
    /// Its voxels do not fit their lattice.
    #[error("the voxels: {0}")]
    Volume(#[from] VolumeError),
    /// Its plan is refused.
    #[error("the phantom's plan: {0}")]
    Plan(#[from] PlanRefusal),
}

/// The built-in hip: a worn right socket after a loose component was taken
/// out, the other hip healthy, 0.9 × 0.9 × 1.25 mm, mild blur and noise, and
/// fourteen holes.
///
/// # Errors
///
/// [`PhantomError`] never, as tests build it.
pub fn demo_hip() -> Result<Phantom, PhantomError> {
    let (scene, draft) = hip::hip(&HipNumbers::DEMO);
    let scanner = Scanner {
        blur_mm: [0.55, 0.55, 0.6],
        noise_hu: 12.0,
        seed: 20,
        fineness: 2,
        ceiling_hu: Some(3071.0),
        rounding: Rounding::Whole,
        ..Scanner::PERFECT
    };
    let pose = Pose::MIRRORED;
    assemble("demo hip", &scene.moved(&pose), &draft.moved(&pose), &hip::demo_grid()?, &scanner)
}

pub(crate) fn assemble(
    name: &str,
    scene: &Scene,
    draft: &PlanDraft,
    grid: &Grid,
    scanner: &Scanner,
) -> Result<Phantom, PhantomError> {
    let (plan_toml, plan) = draft.finish()?;
    let volume = scanner.scan(scene, grid)?;
    let truth = Truth::of(scene, &plan, grid, name);
    Ok(Phantom { scene: scene.clone(), volume, plan, plan_toml, truth })
}
