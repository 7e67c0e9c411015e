//! A phantom: its scan, its plan, and the answers.

use pilothole_plan::{Plan, PlanRefusal};
use pilothole_volume::{Grid, GridError, Volume, VolumeError};

use crate::hip;
use crate::recipe::{Recipe, RecipeError, SceneKind};
use crate::scan::Scanner;
use crate::scene::Scene;
use crate::stage::stage;
use crate::streak;
use crate::truth::Truth;

/// A scene and a plan whose answers are known, not yet scanned.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Case {
    /// What will be scanned.
    pub scene: Scene,
    /// Where its voxels will lie.
    pub grid: Grid,
    /// How it will be seen.
    pub scanner: Scanner,
    /// Whether metal throws streaks.
    streaks: bool,
    /// The plan.
    pub plan: Plan,
    /// The same as a plan file.
    pub plan_toml: String,
    /// What the plan's screws meet.
    pub truth: Truth,
}

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
    /// A number of its recipe is out of range.
    #[error("the recipe: {0}")]
    Recipe(#[from] RecipeError),
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

impl Case {
    /// Put a recipe's scene and plan in place, and answer the plan.
    ///
    /// What the recipe varies is not looked at; see [`Recipe::varied`].
    ///
    /// # Errors
    ///
    /// [`PhantomError`] when the recipe's numbers make no phantom.
    pub fn of(recipe: &Recipe) -> Result<Self, PhantomError> {
        recipe.check()?;
        let grid = recipe.grid()?;
        let (scene, draft) =
            stage(recipe.scene, &recipe.bone).unwrap_or_else(|| hip::hip(&recipe.hip_numbers()));
        let pose = recipe.pose();
        let scene = scene.moved(&pose);
        let (plan_toml, plan) = draft.moved(&pose).finish()?;
        let truth = Truth::of(&scene, &plan, &grid, &recipe.name);
        let streaks = recipe.scene == SceneKind::Metal;
        Ok(Self { scene, grid, scanner: recipe.scanner(), streaks, plan, plan_toml, truth })
    }

    /// Scan it.
    ///
    /// # Errors
    ///
    /// [`PhantomError::Volume`] never, as the voxels come from the lattice.
    pub fn scan(self) -> Result<Phantom, PhantomError> {
        let mut hu = self.scanner.expose(&self.scene, &self.grid);
        if self.streaks {
            streak::add_streaks(&mut hu, &self.grid);
        }
        let volume = self.scanner.store(hu, &self.grid)?;
        let Self { scene, plan, plan_toml, truth, .. } = self;
        Ok(Phantom { scene, volume, plan, plan_toml, truth })
    }
}

/// Follow a recipe.
///
/// # Errors
///
/// [`PhantomError`] when its numbers make no phantom.
pub fn build(recipe: &Recipe) -> Result<Phantom, PhantomError> {
    Case::of(recipe)?.scan()
}

/// The built-in hip: a worn right socket after a loose component was taken
/// out, the other hip healthy, 0.9 × 0.9 × 1.25 mm, mild blur and noise, and
/// fourteen holes.
///
/// # Errors
///
/// [`PhantomError`] never, as tests build it.
pub fn demo_hip() -> Result<Phantom, PhantomError> {
    build(&Recipe::demo())
}
