//! The small scenes: one thing that can go wrong in each.
//!
//! Each stands about the origin; holes go along the head-to-foot axis unless
//! they are oblique.

use pilothole_plan::Side;
use pilothole_volume::{Direction, Offset, PatientPoint};

use crate::draft::{HoleDraft, PlanDraft};
use crate::recipe::{BoneRecipe, SceneKind};
use crate::scene::{Scene, Tissue};
use crate::solid::Solid;

/// Between a seat and the bone, mm.
const STAND_MM: f64 = 3.0;
/// Half the width of what stands for an endless plate, mm.
const WIDE_MM: f64 = 400.0;
/// HU of an insert per mg/cm³ of hydroxyapatite, and of one without.
const INSERT_SLOPE: f64 = 1.3;
const INSERT_OFFSET: f64 = 5.0;
/// The thread of HB 6.5 in one length.
const SHORT: &str = "[[screw]]
name = \"short\"
major_diameter_mm = 6.5
core_diameter_mm = 3.0
pitch_mm = 2.75
stocked_lengths_mm = [15]
";
const AXES: [Direction; 3] = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];

/// The scene of a kind, and its plan; `None` for the hip, which is no stage.
pub(crate) fn stage(kind: SceneKind, bone: &BoneRecipe) -> Option<(Scene, PlanDraft)> {
    let stage = Stage::new(bone);
    match kind {
        SceneKind::Plate => Some(stage.plate()),
        SceneKind::Ball => Some(stage.ball()),
        SceneKind::Tube => Some(stage.tube()),
        SceneKind::Ellipsoid => Some(stage.ellipsoid()),
        SceneKind::TwoBones => Some(stage.two_bones()),
        SceneKind::Cavity => Some(stage.cavity()),
        SceneKind::Edge => Some(stage.edge()),
        SceneKind::Inserts => Some(stage.inserts()),
        SceneKind::Metal => Some(stage.metal()),
        SceneKind::Hip => None,
    }
}

fn at(x: f64, y: f64, z: f64) -> PatientPoint {
    PatientPoint([x, y, z])
}

fn brick(centre: PatientPoint, half_mm: [f64; 3]) -> Solid {
    Solid::Brick { centre, axes: AXES, half_mm }
}

struct Stage<'a> {
    bone: &'a BoneRecipe,
    scene: Scene,
    holes: Vec<HoleDraft>,
    inserts: Vec<(PatientPoint, f64)>,
    tables: String,
}

impl<'a> Stage<'a> {
    fn new(bone: &'a BoneRecipe) -> Self {
        let scene = Scene { background_hu: bone.outside_hu, parts: Vec::new() };
        Self { bone, scene, holes: Vec::new(), inserts: Vec::new(), tables: String::new() }
    }

    /// Half the bone's thickness.
    fn half(&self) -> f64 {
        self.bone.depth_mm / 2.0
    }

    /// A solid with a cortex all round.
    fn shell(&mut self, solid: Solid, label: u8) {
        let inner = solid.inset(self.bone.cortex_mm);
        self.scene.paint(solid, Tissue::Cortical, self.bone.cortex_hu, label);
        self.scene.paint(inner, Tissue::Cancellous, self.bone.cancellous_hu, label);
    }

    /// An endless plate across the head-to-foot axis, its cortices on its two
    /// faces only.
    fn sheet(&mut self, middle: f64, half: f64, label: u8) {
        let plate = |half| brick(at(0.0, 0.0, middle), [WIDE_MM, WIDE_MM, half]);
        self.scene.paint(plate(half), Tissue::Cortical, self.bone.cortex_hu, label);
        let inner = (half - self.bone.cortex_mm).max(1e-3);
        self.scene.paint(plate(inner), Tissue::Cancellous, self.bone.cancellous_hu, label);
    }

    /// A hole that meets the place `through` in the direction `tilt_deg` from
    /// the head-to-foot axis, its seat `back` mm before that place.
    fn hole(
        &mut self,
        id: &str,
        through: PatientPoint,
        (tilt_deg, turn_deg): (f64, f64),
        back: f64,
    ) {
        let (sin, cos) = tilt_deg.to_radians().sin_cos();
        let (sin_turn, cos_turn) = turn_deg.to_radians().sin_cos();
        let direction = Direction::along(Offset([sin * cos_turn, sin * sin_turn, cos]))
            .unwrap_or(Direction::SUPERIOR);
        self.holes.push(HoleDraft {
            id: id.to_owned(),
            zone: "cup",
            region: None,
            seat: through + direction * -back,
            direction,
            screw: "HB 6.5".to_owned(),
            length_mm: None,
            swivel_deg: 15.0,
        });
    }

    fn done(self) -> (Scene, PlanDraft) {
        let draft = PlanDraft {
            side: Side::Left,
            centre: at(0.0, 0.0, -self.bone.depth_mm / 2.0 - 30.0),
            axis: -Direction::SUPERIOR,
            outer_diameter_mm: 50.0,
            approach: None,
            body_mass_kg: None,
            tables: self.tables,
            inserts: self.inserts,
            holes: self.holes,
            landmarks: Vec::new(),
        };
        (self.scene, draft)
    }

    fn plate(mut self) -> (Scene, PlanDraft) {
        let half = self.half();
        self.sheet(0.0, half, 1);
        for (id, tilt, turn) in [
            ("straight", 0.0, 0.0),
            ("tilt 15", 15.0, 40.0),
            ("tilt 30", 30.0, 160.0),
            ("tilt 45", 45.0, 275.0_f64),
        ] {
            // The path's middle lies in the plate's.
            let run = half * f64::tan(f64::to_radians(tilt));
            let (sin, cos) = turn.to_radians().sin_cos();
            let through = at(0.3 - run * cos, -0.2 - run * sin, -half);
            self.hole(id, through, (tilt, turn), STAND_MM);
        }
        let inside = self.bone.cortex_mm + 6.0;
        self.hole("seat inside", at(0.3, -0.2, inside - half), (0.0, 0.0), 0.0);
        // A screw that ends before any boundary comes near.
        if let Some(hole) = self.holes.last_mut() {
            "short".clone_into(&mut hole.screw);
        }
        SHORT.clone_into(&mut self.tables);
        self.done()
    }

    fn ball(mut self) -> (Scene, PlanDraft) {
        let half = self.half();
        self.shell(Solid::Ball { centre: at(0.0, 0.0, 0.0), radius_mm: half }, 1);
        self.hole("middle", at(0.0, 0.0, -half), (0.0, 0.0), STAND_MM);
        let off = 0.5 * half;
        self.hole("beside", at(off, 0.0, -0.75_f64.sqrt() * half), (0.0, 0.0), STAND_MM);
        self.hole("slanting", at(0.0, 0.0, -half), (25.0, 70.0), STAND_MM);
        self.done()
    }

    fn tube(mut self) -> (Scene, PlanDraft) {
        let half = self.half();
        let rod = |radius_mm| Solid::Rod {
            from: at(-WIDE_MM, 0.0, 0.0),
            to: at(WIDE_MM, 0.0, 0.0),
            radius_mm,
        };
        let inner = (half - self.bone.cortex_mm).max(1e-3);
        self.scene.paint(rod(half), Tissue::Cortical, self.bone.cortex_hu, 1);
        self.scene.paint(rod(inner), Tissue::Cancellous, self.bone.cancellous_hu, 1);
        self.hole("across", at(1.0, 0.0, -half), (0.0, 0.0), STAND_MM);
        self.hole("slanting", at(-12.0, 0.0, -half), (35.0, 0.0), STAND_MM);
        self.hole("off axis", at(3.0, 0.4 * half, -0.84_f64.sqrt() * half), (0.0, 0.0), STAND_MM);
        self.done()
    }

    fn ellipsoid(mut self) -> (Scene, PlanDraft) {
        let half = self.half();
        let egg = |centre, share: f64| Solid::Ellipsoid {
            centre,
            axes: AXES,
            radii_mm: [0.7 * half * share, 0.85 * half * share, half * share],
        };
        self.shell(egg(at(0.0, 0.0, 0.0), 1.0), 1);
        let dense = self.bone.cancellous_hu + 300.0;
        self.scene.paint(egg(at(3.0, -2.0, 2.0), 0.4), Tissue::Cancellous, dense, 1);
        self.hole("long axis", at(0.0, 0.0, -half), (0.0, 0.0), STAND_MM);
        self.hole("to the core", at(0.0, 0.0, -half), (9.0, -33.0), STAND_MM);
        self.done()
    }

    fn two_bones(mut self) -> (Scene, PlanDraft) {
        let (half, gap) = (self.half(), self.bone.gap_mm);
        // The second bone begins beyond the gap and has half the thickness.
        self.sheet(0.0, half, 1);
        self.sheet(half + gap + 0.5 * half, 0.5 * half, 2);
        self.hole("through the gap", at(0.3, 0.2, -half), (0.0, 0.0), STAND_MM);
        self.hole("slanting", at(-3.0, 0.2, -half), (20.0, 10.0), STAND_MM);
        self.done()
    }

    fn cavity(mut self) -> (Scene, PlanDraft) {
        let half = self.half();
        self.sheet(0.0, half, 1);
        let radius = 0.3 * half;
        let ball = |centre, radius_mm| Solid::Ball { centre, radius_mm };
        self.scene.paint(ball(at(-14.0, 0.0, 0.0), radius), Tissue::Void, -600.0, 1);
        self.scene.paint(
            ball(at(14.0, 0.0, -half), 2.0 * radius),
            Tissue::Muscle,
            self.bone.outside_hu,
            0,
        );
        self.hole("through the cavity", at(-14.0, 0.0, -half), (0.0, 0.0), STAND_MM);
        self.hole("in the defect", at(14.0, 0.0, -half), (0.0, 0.0), STAND_MM);
        self.hole("between", at(-0.5, 8.0, -half), (0.0, 0.0), STAND_MM);
        self.done()
    }

    /// A wall across the left-right axis, drilled along itself.
    fn edge(mut self) -> (Scene, PlanDraft) {
        let half = self.half();
        let wall = |inset: f64| brick(at(0.0, 0.0, 0.0), [9.0 - inset, WIDE_MM, half - inset]);
        self.scene.paint(wall(0.0), Tissue::Cortical, self.bone.cortex_hu, 1);
        let inner = wall(self.bone.cortex_mm.min(8.9).min(half - 0.1));
        self.scene.paint(inner, Tissue::Cancellous, self.bone.cancellous_hu, 1);
        self.hole("midway", at(0.0, -16.0, -half), (0.0, 0.0), STAND_MM);
        self.hole("near a side", at(4.5, 0.0, -half), (0.0, 0.0), STAND_MM);
        self.hole("breaks out", at(2.0, 16.0, -half), (14.0, 0.0), STAND_MM);
        self.done()
    }

    fn inserts(mut self) -> (Scene, PlanDraft) {
        let half = self.half();
        self.sheet(0.0, half, 1);
        // Rods along the body in a slab of water-like plastic.
        let slab = brick(at(0.0, 29.0, 0.0), [WIDE_MM, 6.5, WIDE_MM]);
        self.scene.paint(slab, Tissue::Insert, 0.0, 0);
        for (i, density) in [0.0, 50.0, 100.0, 200.0, 400.0].into_iter().enumerate() {
            let x = (i as f64 - 2.0) * 13.0;
            let rod = Solid::Rod {
                from: at(x, 29.0, -WIDE_MM),
                to: at(x, 29.0, WIDE_MM),
                radius_mm: 5.0,
            };
            self.scene.paint(rod, Tissue::Insert, INSERT_SLOPE * density + INSERT_OFFSET, 0);
            self.inserts.push((at(x, 29.0, 0.0), density));
        }
        self.hole("straight", at(0.0, -6.0, -half), (0.0, 0.0), STAND_MM);
        self.done()
    }

    fn metal(mut self) -> (Scene, PlanDraft) {
        let half = self.half();
        self.sheet(0.0, half, 1);
        for x in [-20.0, 20.0] {
            let rod = Solid::Rod {
                from: at(x, 4.0, -half - 6.0),
                to: at(x, 4.0, half - 4.0),
                radius_mm: 4.0,
            };
            self.scene.paint(rod, Tissue::Metal, 8000.0, 0);
        }
        self.hole("between", at(0.0, 4.0, -half), (0.0, 0.0), STAND_MM);
        self.hole("away", at(0.0, -22.0, -half), (0.0, 0.0), STAND_MM);
        self.hole("into metal", at(9.0, 4.0, -half), (32.0, 0.0), STAND_MM);
        self.done()
    }
}
