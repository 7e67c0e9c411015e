//! What a phantom is made of, as a TOML file.

mod vary;

use pilothole_volume::{Direction, Grid, GridError, Offset, PatientPoint};
use serde::Deserialize;

use crate::hip::{self, HipNumbers};
use crate::pose::Pose;
use crate::scan::{Rounding, Scanner};

/// Which scene is built.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SceneKind {
    /// A plate with two cortices; straight and oblique holes.
    Plate,
    /// A ball with a shell; holes through and beside its middle.
    Ball,
    /// A tube along the body; holes across and along it.
    Tube,
    /// An ellipsoid with a dense core off its middle.
    Ellipsoid,
    /// Two plates with a gap of soft tissue.
    TwoBones,
    /// A plate with a contained cavity and an open defect.
    Cavity,
    /// A plate seen edge-on: holes near its side walls.
    Edge,
    /// A plate beside a row of density inserts.
    Inserts,
    /// A plate between two metal rods, with streaks.
    Metal,
    /// The made pelvis of the demo.
    Hip,
}

/// A phantom's recipe. Every field but the scene has a default.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Recipe {
    /// What the phantom is called.
    #[serde(default = "phantom")]
    pub name: String,
    /// Which scene.
    pub scene: SceneKind,
    /// The lattice.
    #[serde(default)]
    pub grid: GridRecipe,
    /// The bone.
    #[serde(default)]
    pub bone: BoneRecipe,
    /// The scanner.
    #[serde(default)]
    pub scanner: ScannerRecipe,
    /// Where patient and plan lie.
    #[serde(default)]
    pub pose: PoseRecipe,
    /// What is varied, over which values: every combination of them, or, with
    /// [`Recipe::sample`], between the first and the last.
    #[serde(default)]
    pub vary: std::collections::BTreeMap<String, Vec<f64>>,
    /// A seeded sample instead of every combination.
    pub sample: Option<SampleRecipe>,
}

fn phantom() -> String {
    "phantom".to_owned()
}

/// The lattice of a phantom.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct GridRecipe {
    /// Columns, rows, slices, mm.
    pub spacing_mm: [f64; 3],
    /// Size of the box that is scanned, mm; the hip has its own.
    pub extent_mm: [f64; 3],
    /// Turned about L, then P, then S.
    pub oblique_deg: [f64; 3],
    /// Gantry tilt: slices are shifted along their rows.
    pub tilt_deg: f64,
}

/// Sizes and HU of bone and what is around it.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct BoneRecipe {
    /// Thickness of the cortex, mm.
    pub cortex_mm: f64,
    /// Thickness of the bone, outside to outside, mm.
    pub depth_mm: f64,
    /// Between two bones, mm.
    pub gap_mm: f64,
    /// HU of cortex.
    pub cortex_hu: f64,
    /// HU of what is inside.
    pub cancellous_hu: f64,
    /// HU of what is around.
    pub outside_hu: f64,
}

/// How the scanner sees.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ScannerRecipe {
    /// Blur, mm, the same along all axes.
    pub blur_mm: f64,
    /// Noise, HU.
    pub noise_hu: f64,
    /// Of the noise.
    pub seed: u64,
    /// Fine cells along each edge of a voxel; odd.
    pub cells: usize,
    /// Largest stored value, HU.
    pub ceiling_hu: f64,
    /// Whether values are rounded to whole HU.
    pub whole: bool,
}

/// Where patient and plan lie together.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct PoseRecipe {
    /// Turned about L, then P, then S.
    pub turn_deg: [f64; 3],
    /// Then shifted.
    pub shift_mm: [f64; 3],
    /// Mirrored first: left becomes right.
    pub mirrored: bool,
}

/// A seeded sample.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SampleRecipe {
    /// Phantoms.
    pub count: usize,
    /// Of the draws.
    pub seed: u64,
}

impl Default for GridRecipe {
    fn default() -> Self {
        Self {
            spacing_mm: [0.8, 0.8, 0.8],
            extent_mm: [72.0, 72.0, 72.0],
            oblique_deg: [0.0; 3],
            tilt_deg: 0.0,
        }
    }
}

impl Default for BoneRecipe {
    fn default() -> Self {
        Self {
            cortex_mm: 2.0,
            depth_mm: 36.0,
            gap_mm: 2.0,
            cortex_hu: 1400.0,
            cancellous_hu: 250.0,
            outside_hu: 40.0,
        }
    }
}

impl Default for ScannerRecipe {
    fn default() -> Self {
        Self { blur_mm: 0.0, noise_hu: 0.0, seed: 1, cells: 3, ceiling_hu: 3071.0, whole: true }
    }
}

impl Default for PoseRecipe {
    fn default() -> Self {
        Self { turn_deg: [0.0; 3], shift_mm: [0.0; 3], mirrored: false }
    }
}

/// Why a recipe cannot be followed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RecipeError {
    /// The file is not a recipe; the text has line and column.
    #[error("{text}")]
    Syntax {
        /// What is wrong, and where.
        text: String,
    },
    /// A number is out of range.
    #[error("`{field}` is {value}, {low} to {high} is allowed")]
    Range {
        /// Which.
        field: String,
        /// Its value.
        value: f64,
        /// Least allowed.
        low: f64,
        /// Most allowed.
        high: f64,
    },
    /// A field that cannot be varied.
    #[error("`{field}` cannot be varied; these can: {known}")]
    Vary {
        /// Which.
        field: String,
        /// Those that can.
        known: String,
    },
}

impl Recipe {
    /// Most phantoms of one recipe.
    pub const MAX_VARIED: usize = 100_000;
    /// Most voxels of one phantom.
    pub const MAX_VOXELS: f64 = 512.0 * 512.0 * 1024.0;

    /// A recipe of a scene with defaults everywhere.
    pub fn of(scene: SceneKind) -> Self {
        Self {
            name: phantom(),
            scene,
            grid: GridRecipe::default(),
            bone: BoneRecipe::default(),
            scanner: ScannerRecipe::default(),
            pose: PoseRecipe::default(),
            vary: std::collections::BTreeMap::new(),
            sample: None,
        }
    }

    /// The recipe of the built-in demo: a worn right hip.
    pub fn demo() -> Self {
        let mut recipe = Self::of(SceneKind::Hip);
        "demo hip".clone_into(&mut recipe.name);
        recipe.bone.cortex_mm = 2.0;
        recipe.bone.cortex_hu = 1350.0;
        recipe.scanner.blur_mm = 0.55;
        recipe.scanner.noise_hu = 12.0;
        recipe.scanner.seed = 20;
        recipe.scanner.cells = 1;
        recipe.pose.mirrored = true;
        recipe
    }

    /// Read a recipe.
    ///
    /// # Errors
    ///
    /// [`RecipeError`] with line and column, or the field that is out of range.
    pub fn parse(text: &str) -> Result<Self, RecipeError> {
        let recipe: Self = toml::from_str(text)
            .map_err(|e| RecipeError::Syntax { text: e.to_string().trim_end().to_owned() })?;
        recipe.check()?;
        Ok(recipe)
    }

    /// Whether every number is in range.
    ///
    /// # Errors
    ///
    /// [`RecipeError::Range`] for the first that is not.
    pub fn check(&self) -> Result<(), RecipeError> {
        let bone = &self.bone;
        let mut rules = vec![
            ("bone.cortex_mm", bone.cortex_mm, 0.05, 20.0),
            ("bone.depth_mm", bone.depth_mm, 1.0, 150.0),
            ("bone.gap_mm", bone.gap_mm, 0.0, 30.0),
            ("bone.cortex_hu", bone.cortex_hu, -500.0, 4000.0),
            ("bone.cancellous_hu", bone.cancellous_hu, -500.0, 4000.0),
            ("bone.outside_hu", bone.outside_hu, -1024.0, 1000.0),
            ("scanner.blur_mm", self.scanner.blur_mm, 0.0, 5.0),
            ("scanner.noise_hu", self.scanner.noise_hu, 0.0, 500.0),
            ("scanner.cells", self.scanner.cells as f64, 1.0, 9.0),
            ("scanner.ceiling_hu", self.scanner.ceiling_hu, 100.0, 32_000.0),
            ("grid.tilt_deg", self.grid.tilt_deg, -45.0, 45.0),
        ];
        for axis in 0..3 {
            rules.push(("grid.spacing_mm", self.grid.spacing_mm[axis], 0.05, 10.0));
            rules.push(("grid.extent_mm", self.grid.extent_mm[axis], 1.0, 600.0));
            rules.push(("grid.oblique_deg", self.grid.oblique_deg[axis], -180.0, 180.0));
            rules.push(("pose.turn_deg", self.pose.turn_deg[axis], -180.0, 180.0));
            rules.push(("pose.shift_mm", self.pose.shift_mm[axis], -500.0, 500.0));
        }
        let voxels: f64 =
            (0..3).map(|i| (self.grid.extent_mm[i] / self.grid.spacing_mm[i]).ceil()).product();
        rules.push(("voxels", voxels, 1.0, Self::MAX_VOXELS));
        match rules.into_iter().find(|(_, value, low, high)| !(low..=high).contains(&value)) {
            Some((field, value, low, high)) => {
                Err(RecipeError::Range { field: field.to_owned(), value, low, high })
            }
            None => Ok(()),
        }
    }

    pub(crate) fn scanner(&self) -> Scanner {
        let blur = self.scanner.blur_mm;
        Scanner {
            blur_mm: [blur; 3],
            noise_hu: self.scanner.noise_hu,
            seed: self.scanner.seed,
            cells: self.scanner.cells,
            fineness: if self.scanner.cells > 1 { 2 } else { 1 },
            ceiling_hu: Some(self.scanner.ceiling_hu),
            rounding: if self.scanner.whole { Rounding::Whole } else { Rounding::Exact },
        }
    }

    pub(crate) fn pose(&self) -> Pose {
        let turn = self.pose.turn_deg.map(f64::to_radians);
        let first = if self.pose.mirrored { Pose::MIRRORED } else { Pose::HOME };
        Pose::new(turn, Offset(self.pose.shift_mm)).after(&first)
    }

    pub(crate) fn hip_numbers(&self) -> HipNumbers {
        let drawn = BoneRecipe::default();
        HipNumbers {
            cortex_share: self.bone.cortex_mm / drawn.cortex_mm,
            cortex_hu: self.bone.cortex_hu,
            cancellous_shift_hu: self.bone.cancellous_hu - drawn.cancellous_hu,
        }
    }

    /// The lattice, its box centred on the scene's middle.
    pub(crate) fn grid(&self) -> Result<Grid, GridError> {
        if self.scene == SceneKind::Hip && self.grid == GridRecipe::default() {
            return hip::demo_grid();
        }
        let turn = Pose::new(self.grid.oblique_deg.map(f64::to_radians), Offset::ZERO);
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let mut steps: [Offset; 3] =
            std::array::from_fn(|i| turn.direction(axes[i]) * self.grid.spacing_mm[i]);
        let tilt = self.grid.tilt_deg.to_radians().tan() * self.grid.spacing_mm[2];
        steps[2] = steps[2] + turn.direction(Direction::POSTERIOR) * tilt;
        let size: [usize; 3] = std::array::from_fn(|i| {
            (self.grid.extent_mm[i] / self.grid.spacing_mm[i]).ceil() as usize
        });
        let middle =
            if self.scene == SceneKind::Hip { hip::middle() } else { PatientPoint([0.0; 3]) };
        let middle = self.pose().point(middle);
        let half = |i: usize| steps[i] * ((size[i] as f64 - 1.0) / 2.0);
        Grid::new(size, middle - half(0) - half(1) - half(2), steps)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recipe_is_read_and_a_misspelt_one_is_refused_with_its_line() {
        let text = "scene = \"two-bones\"\n[bone]\ngap_mm = 0.5\n[pose]\nmirrored = true\n";
        let recipe = Recipe::parse(text).expect("reads");
        assert_eq!(recipe.scene, SceneKind::TwoBones);
        assert!((recipe.bone.gap_mm - 0.5).abs() < 1e-12 && recipe.pose().mirrors());
        let refused = Recipe::parse(&text.replace("gap_mm", "gap")).expect_err("refused");
        assert!(refused.to_string().contains("line 3"), "{refused}");
        for wrong in ["gap_mm = -1", "gap_mm = nan", "cortex_mm = 0"] {
            let refused = Recipe::parse(&text.replace("gap_mm = 0.5", wrong));
            assert!(matches!(refused, Err(RecipeError::Range { .. })), "{wrong}");
        }
        let huge = "scene = \"ball\"\n[grid]\nspacing_mm = [0.05, 0.05, 0.05]\n";
        assert!(matches!(Recipe::parse(huge), Err(RecipeError::Range { .. })));
    }

    #[test]
    fn an_oblique_tilted_lattice_has_the_asked_steps() {
        let mut recipe = Recipe::of(SceneKind::Plate);
        recipe.grid.oblique_deg = [10.0, -20.0, 30.0];
        recipe.grid.tilt_deg = 15.0;
        recipe.grid.spacing_mm = [0.7, 0.8, 1.5];
        let grid = recipe.grid().expect("a lattice");
        assert!((grid.steps()[0].length_mm() - 0.7).abs() < 1e-12);
        assert!(!grid.is_orthogonal());
        let normal = grid.steps()[0].cross(grid.steps()[1]);
        let height = grid.steps()[2].dot(normal) / normal.length_mm();
        assert!((height - 1.5).abs() < 1e-12);
        let middle = grid.patient_from_voxel(pilothole_volume::VoxelPoint(
            grid.size().map(|n| (n as f64 - 1.0) / 2.0),
        ));
        assert!(middle.distance_mm(PatientPoint([0.0; 3])) < 1e-9);
    }
}
