//! A plan in the making: holes and landmarks of a phantom, as plan text.

use pilothole_plan::{Format, LandmarkName, Plan, PlanRefusal, Side};
use pilothole_volume::{Direction, PatientPoint};

use crate::pose::Pose;

/// A hole of a phantom's plan.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct HoleDraft {
    pub(crate) id: String,
    pub(crate) zone: &'static str,
    pub(crate) region: Option<&'static str>,
    pub(crate) seat: PatientPoint,
    pub(crate) direction: Direction,
    pub(crate) screw: String,
    pub(crate) length_mm: Option<f64>,
    pub(crate) swivel_deg: f64,
}

/// Everything of a phantom's plan that lies in the patient.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct PlanDraft {
    pub(crate) side: Side,
    pub(crate) centre: PatientPoint,
    pub(crate) axis: Direction,
    pub(crate) outer_diameter_mm: f64,
    /// Out of the wound.
    pub(crate) approach: Option<Direction>,
    pub(crate) body_mass_kg: Option<f64>,
    /// Tables that do not move: policy, screws.
    pub(crate) tables: String,
    /// Density inserts: where, and mg/cm³ of hydroxyapatite.
    pub(crate) inserts: Vec<(PatientPoint, f64)>,
    pub(crate) holes: Vec<HoleDraft>,
    pub(crate) landmarks: Vec<(LandmarkName, PatientPoint)>,
}

impl PlanDraft {
    /// The same plan for a patient that was moved; a mirrored one changes sides.
    pub(crate) fn moved(mut self, pose: &Pose) -> Self {
        let side = |side: Side| if pose.mirrors() { side.other() } else { side };
        self.side = side(self.side);
        self.centre = pose.point(self.centre);
        self.axis = pose.direction(self.axis);
        self.approach = self.approach.map(|axis| pose.direction(axis));
        for hole in &mut self.holes {
            hole.seat = pose.point(hole.seat);
            hole.direction = pose.direction(hole.direction);
        }
        for (at, _) in &mut self.inserts {
            *at = pose.point(*at);
        }
        for (name, at) in &mut self.landmarks {
            name.side = side(name.side);
            *at = pose.point(*at);
        }
        self
    }

    /// The plan file, and the plan that it reads as.
    ///
    /// Positions are written to a micrometre, directions to 1e-9.
    pub(crate) fn finish(&self) -> Result<(String, Plan), PlanRefusal> {
        let text = self.to_toml();
        let plan = Plan::parse(&text, Format::Toml)?;
        Ok((text, plan))
    }

    fn to_toml(&self) -> String {
        let mut blocks = vec![
            format!(
                "schema = \"{}\"\nside = \"{}\"\ncoordinates = \"LPS\"\n",
                Plan::SCHEMA,
                self.side.word()
            ),
            format!(
                "[socket]\ncentre_mm = {}\naxis = {}\nouter_diameter_mm = {:?}\n",
                point(self.centre),
                direction(self.axis),
                self.outer_diameter_mm
            ),
            self.tables.clone(),
        ];
        blocks.extend(self.approach.map(|axis| {
            format!(
                "[approach]\naxis = {}\nhalf_angle_deg = 65.0\ndrill_length_mm = 120.0\n\
                 drill_radius_mm = 5.0\n",
                direction(axis)
            )
        }));
        blocks.extend(self.body_mass_kg.map(|mass| format!("[load]\nbody_mass_kg = {mass:?}\n")));
        if !self.inserts.is_empty() {
            blocks.push("[calibration]\nmaterial = \"HA\"\n".to_owned());
        }
        blocks.extend(self.inserts.iter().map(|(at, density)| {
            format!(
                "[[calibration.insert]]\nat_mm = {}\ndensity_mg_cm3 = {density:?}\n\
                 radius_mm = 5.0\n",
                point(*at)
            )
        }));
        blocks.extend(self.holes.iter().map(HoleDraft::to_toml));
        blocks.extend(self.landmarks.iter().map(|(name, at)| {
            format!("[[landmark]]\nname = \"{}\"\nat_mm = {}\n", name.word(), point(*at))
        }));
        blocks.retain(|block| !block.is_empty());
        blocks.join("\n")
    }
}

impl HoleDraft {
    fn to_toml(&self) -> String {
        let mut lines = vec![
            "[[hole]]".to_owned(),
            format!("id = \"{}\"", self.id),
            format!("zone = \"{}\"", self.zone),
        ];
        lines.extend(self.region.map(|region| format!("region = \"{region}\"")));
        lines.push(format!("seat_mm = {}", point(self.seat)));
        lines.push(format!("direction = {}", direction(self.direction)));
        lines.push(format!("screw = \"{}\"", self.screw));
        lines.extend(self.length_mm.map(|length| format!("length_mm = {length:?}")));
        lines.push(format!("swivel_deg = {:?}\n", self.swivel_deg));
        lines.join("\n")
    }
}

fn point(at: PatientPoint) -> String {
    triple(at.0, 3)
}

fn direction(unit: Direction) -> String {
    triple(unit.components(), 9)
}

fn triple(of: [f64; 3], digits: usize) -> String {
    let scale = 10_f64.powi(digits as i32);
    // Adding zero turns a rounded -0 into 0.
    let [x, y, z] = of.map(|c| (c * scale).round() / scale + 0.0);
    format!("[{x:.digits$}, {y:.digits$}, {z:.digits$}]")
}
