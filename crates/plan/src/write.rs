//! A checked plan as TOML, every number resolved.

use pilothole_volume::{Direction, PatientPoint};

use crate::model::{Calibration, Hole, Origin, Plan, Resolved};
use crate::screw::{FROM_PLAN, Screw};

/// The complete plan, LPS; reading it gives the same plan.
pub(crate) fn plan_to_toml(plan: &Plan) -> String {
    let mut out = Text::default();
    out.line("schema", &quoted(Plan::SCHEMA));
    out.line("side", &quoted(plan.side.word()));
    out.line("coordinates", &quoted("LPS"));
    if let Some(order) = &plan.order {
        let ids: Vec<String> = order.iter().map(|i| quoted(&plan.holes[*i].id)).collect();
        out.line("order", &format!("[{}]", ids.join(", ")));
    }
    out.head("[socket]");
    out.line("centre_mm", &point(plan.socket.centre));
    out.line("axis", &direction(plan.socket.axis));
    out.line("outer_diameter_mm", &number(plan.socket.outer_diameter_mm));
    let policy = &plan.policy;
    out.head("[policy]");
    out.resolved("far_cortex", policy.far_cortex, |word| quoted(word.word()));
    out.resolved("margin_mm", policy.margin_mm, number);
    out.resolved("side_margin_mm", policy.side_margin_mm, number);
    out.resolved("screw_gap_mm", policy.screw_gap_mm, number);
    if let Some(threshold_hu) = plan.bone.threshold_hu {
        out.head("[bone]");
        out.line("threshold_hu", &number(threshold_hu));
    }
    if let Some(approach) = &plan.approach {
        out.head("[approach]");
        out.line("axis", &direction(approach.axis));
        out.line("half_angle_deg", &degrees(approach.half_angle_rad));
        out.line("drill_length_mm", &number(approach.drill_length_mm));
        out.line("drill_radius_mm", &number(approach.drill_radius_mm));
    }
    if let Some(component) = &plan.component {
        out.head("[component]");
        out.line("mesh", &quoted(&component.mesh));
    }
    out.head("[guide]");
    out.resolved("sleeve_radius_mm", plan.guide.sleeve_radius_mm, number);
    out.resolved("sleeve_length_mm", plan.guide.sleeve_length_mm, number);
    out.resolved("clearance_mm", plan.guide.clearance_mm, number);
    if let Some(calibration) = &plan.calibration {
        out.calibration(calibration);
    }
    if let Some(load) = &plan.load {
        out.head("[load]");
        out.line("body_mass_kg", &number(load.body_mass_kg));
        out.line("bone_contact", if load.bone_contact { "true" } else { "false" });
    }
    out.lists(plan);
    out.0
}

#[derive(Default)]
struct Text(String);

impl Text {
    fn head(&mut self, head: &str) {
        self.0.push('\n');
        self.0.push_str(head);
        self.0.push('\n');
    }

    fn line(&mut self, name: &str, value: &str) {
        self.0.push_str(name);
        self.0.push_str(" = ");
        self.0.push_str(value);
        self.0.push('\n');
    }

    fn resolved<T: Copy>(&mut self, name: &str, value: Resolved<T>, to: impl Fn(T) -> String) {
        match value.from {
            Origin::Plan => self.line(name, &to(value.value)),
            Origin::Default(source) => {
                self.line(name, &format!("{} # default: {source}", to(value.value)));
            }
        }
    }

    fn calibration(&mut self, calibration: &Calibration) {
        self.head("[calibration]");
        match calibration {
            Calibration::Line { material, slope, intercept } => {
                self.line("material", &quoted(material.word()));
                self.line("slope", &number(*slope));
                self.line("intercept", &number(*intercept));
            }
            Calibration::Inserts { material, inserts } => {
                self.line("material", &quoted(material.word()));
                for insert in inserts {
                    self.head("[[calibration.insert]]");
                    self.line("at_mm", &point(insert.at));
                    self.line("density_mg_cm3", &number(insert.density_mg_cm3));
                    self.some("radius_mm", insert.radius_mm);
                }
            }
        }
    }

    fn some(&mut self, name: &str, value: Option<f64>) {
        if let Some(value) = value {
            self.line(name, &number(value));
        }
    }

    fn lists(&mut self, plan: &Plan) {
        for screw in &plan.screws {
            self.screw(screw);
        }
        for hole in &plan.holes {
            self.hole(plan, hole);
        }
        for patch in &plan.patches {
            self.head("[[patch]]");
            self.line("id", &quoted(&patch.id));
            self.line("centre_mm", &point(patch.centre));
            self.line("direction", &direction(patch.direction));
            self.line("radius_mm", &number(patch.radius_mm));
        }
        for landmark in &plan.landmarks {
            self.head("[[landmark]]");
            self.line("name", &quoted(&landmark.name.word()));
            self.line("at_mm", &point(landmark.at));
        }
    }

    fn screw(&mut self, screw: &Screw) {
        self.head("[[screw]]");
        self.line("name", &quoted(&screw.name));
        let major = number(screw.major_diameter_mm);
        self.line("major_diameter_mm", &sourced(&major, &screw.source));
        self.line("core_diameter_mm", &number(screw.core_diameter_mm));
        self.line("pitch_mm", &number(screw.pitch_mm));
        self.line("thread_start_mm", &number(screw.thread_start_mm));
        self.line("tip_mm", &number(screw.tip_mm));
        let lengths: Vec<String> = screw.stocked_lengths_mm.iter().map(|l| number(*l)).collect();
        let lengths = format!("[{}]", lengths.join(", "));
        self.line("stocked_lengths_mm", &sourced(&lengths, &screw.lengths_source));
    }

    fn hole(&mut self, plan: &Plan, hole: &Hole) {
        self.head("[[hole]]");
        self.line("id", &quoted(&hole.id));
        self.line("zone", &quoted(hole.zone.word()));
        if let Some(region) = hole.region {
            self.line("region", &quoted(region.word()));
        }
        self.line("seat_mm", &point(hole.seat));
        self.line("direction", &direction(hole.direction));
        self.line("screw", &quoted(&plan.screws[hole.screw].name));
        self.some("length_mm", hole.length_mm);
        self.line("swivel_deg", &degrees(hole.swivel_rad));
        self.some("seat_shift_mm", hole.seat_shift_mm);
    }
}

/// A value with its source as a comment, unless the plan itself states it.
fn sourced(value: &str, source: &str) -> String {
    if source == FROM_PLAN { value.to_owned() } else { format!("{value} # {source}") }
}

fn point(at: PatientPoint) -> String {
    triple(at.0)
}

fn direction(unit: Direction) -> String {
    triple(unit.components())
}

fn triple(of: [f64; 3]) -> String {
    format!("[{}, {}, {}]", number(of[0]), number(of[1]), number(of[2]))
}

/// The shortest decimal that reads back to the same number.
fn number(value: f64) -> String {
    format!("{value:?}")
}

/// The shortest decimal in degrees that reads back to the same radians.
fn degrees(rad: f64) -> String {
    let deg = rad.to_degrees();
    (1..=15)
        .map(|digits| format!("{deg:.digits$}"))
        .find(|text| {
            text.parse::<f64>().is_ok_and(|deg| deg.to_radians().to_bits() == rad.to_bits())
        })
        .unwrap_or_else(|| number(deg))
}

/// Text as a TOML basic string.
pub(crate) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
