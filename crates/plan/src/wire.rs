//! The plan file's fields, as written. The JSON Schema is made from these
//! types, and the file's shape is checked against that schema; so every range
//! and every word of the format stands here, once.

use schemars::JsonSchema;
use serde::Deserialize;

/// Three numbers: a point in mm, or a direction.
pub(crate) type Triple = [f64; 3];

/// A plan for the screws of one acetabular component.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "Pilothole plan, version 1")]
pub(crate) struct WirePlan {
    /// Which version of this format.
    #[schemars(extend("enum" = ["pilothole/plan/1"]))]
    #[expect(dead_code, reason = "the schema's enum has judged it")]
    pub(crate) schema: String,
    /// The operated hip.
    #[schemars(extend("enum" = ["left", "right"]))]
    pub(crate) side: String,
    /// Patient axes of every point and direction, millimetres. LPS: towards
    /// the patient's left, back, head; RAS: right, front, head.
    #[schemars(extend("enum" = ["LPS", "RAS"]))]
    pub(crate) coordinates: String,
    /// The surgeon's own order of filling: every hole's id, once.
    #[schemars(length(max = 512), inner(length(min = 1, max = 64)))]
    pub(crate) order: Option<Vec<String>>,
    /// The socket of the component.
    pub(crate) socket: WireSocket,
    /// What is wanted of a screw.
    pub(crate) policy: Option<WirePolicy>,
    /// What is known of the bone; what is left out is resolved and echoed.
    pub(crate) bone: Option<WireBone>,
    /// What limits a drill outside the bone.
    pub(crate) approach: Option<WireApproach>,
    /// The component's own shape.
    pub(crate) component: Option<WireComponent>,
    /// The sleeves of a drill guide.
    pub(crate) guide: Option<WireGuide>,
    /// How HU become density in this scan: slope and intercept, or inserts.
    pub(crate) calibration: Option<WireCalibration>,
    /// The load of the hip.
    pub(crate) load: Option<WireLoad>,
    /// Threads of your own, or lengths in stock for a thread of the table.
    #[serde(default)]
    #[schemars(length(max = 64))]
    pub(crate) screw: Vec<WireScrew>,
    /// The holes.
    #[serde(default)]
    #[schemars(length(max = 512))]
    pub(crate) hole: Vec<WireHole>,
    /// Round patches of a flange on which seats may be looked for.
    #[serde(default)]
    #[schemars(length(max = 64))]
    pub(crate) patch: Vec<WirePatch>,
    /// Named points of the patient.
    #[serde(default)]
    #[schemars(length(max = 14))]
    pub(crate) landmark: Vec<WireLandmark>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "socket")]
pub(crate) struct WireSocket {
    /// Hip centre of the component.
    #[schemars(inner(range(min = -5000.0, max = 5000.0)))]
    pub(crate) centre_mm: Triple,
    /// Unit vector out of the socket's mouth.
    pub(crate) axis: Triple,
    /// Outer diameter.
    #[schemars(range(min = 20.0, max = 120.0))]
    pub(crate) outer_diameter_mm: f64,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "policy")]
pub(crate) struct WirePolicy {
    /// Whether the tip stays before the far cortex or passes it.
    #[schemars(extend("enum" = ["stop-short", "engage"]))]
    pub(crate) far_cortex: Option<String>,
    /// Kept before the far cortex, or allowed beyond it.
    #[schemars(range(min = 0.0, max = 20.0))]
    pub(crate) margin_mm: Option<f64>,
    /// Bone wanted around the screw.
    #[schemars(range(min = 0.0, max = 20.0))]
    pub(crate) side_margin_mm: Option<f64>,
    /// Wanted between the surfaces of two screws.
    #[schemars(range(min = 0.0, max = 50.0))]
    pub(crate) screw_gap_mm: Option<f64>,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "bone")]
pub(crate) struct WireBone {
    /// Threshold of bone.
    #[schemars(range(min = -200.0, max = 3000.0))]
    pub(crate) threshold_hu: Option<f64>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "approach")]
pub(crate) struct WireApproach {
    /// Unit vector out of the wound.
    pub(crate) axis: Triple,
    /// Half-angle of the cone about the axis in which a drill may stand.
    #[schemars(range(min = 1.0, max = 90.0))]
    pub(crate) half_angle_deg: f64,
    /// Length of the drill behind its tip.
    #[schemars(range(min = 10.0, max = 600.0))]
    pub(crate) drill_length_mm: f64,
    /// Radius of what travels behind the bit: sleeve, chuck.
    #[schemars(range(min = 0.5, max = 60.0))]
    pub(crate) drill_radius_mm: f64,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "component")]
pub(crate) struct WireComponent {
    /// Mesh file of the component, mm, same coordinates, relative to the plan.
    #[schemars(length(min = 1, max = 1024))]
    pub(crate) mesh: String,
}

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "guide")]
#[expect(clippy::struct_field_names, reason = "the file's fields carry their unit")]
pub(crate) struct WireGuide {
    /// Outer radius of a sleeve.
    #[schemars(range(min = 1.0, max = 30.0))]
    pub(crate) sleeve_radius_mm: Option<f64>,
    /// Length of a sleeve.
    #[schemars(range(min = 2.0, max = 200.0))]
    pub(crate) sleeve_length_mm: Option<f64>,
    /// Difference of the diameters of sleeve and bit.
    #[schemars(range(min = 0.0, max = 5.0))]
    pub(crate) clearance_mm: Option<f64>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "calibration")]
pub(crate) struct WireCalibration {
    /// What the densities are densities of.
    #[schemars(extend("enum" = ["HA", "K2HPO4"]))]
    pub(crate) material: String,
    /// mg/cm³ per HU.
    #[schemars(range(min = 0.01, max = 20.0))]
    pub(crate) slope: Option<f64>,
    /// mg/cm³ at 0 HU.
    #[schemars(range(min = -1000.0, max = 1000.0))]
    pub(crate) intercept: Option<f64>,
    /// Inserts of known density in the scan.
    #[serde(default)]
    #[schemars(length(max = 64))]
    pub(crate) insert: Vec<WireInsert>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "insert")]
pub(crate) struct WireInsert {
    /// Centre of the insert.
    #[schemars(inner(range(min = -5000.0, max = 5000.0)))]
    pub(crate) at_mm: Triple,
    /// Density, mg/cm³ of the material.
    #[schemars(range(min = -500.0, max = 3000.0))]
    pub(crate) density_mg_cm3: f64,
    /// Radius within which it is uniform.
    #[schemars(range(min = 0.5, max = 100.0))]
    pub(crate) radius_mm: Option<f64>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "load")]
pub(crate) struct WireLoad {
    /// Body mass.
    #[schemars(range(min = 10.0, max = 400.0))]
    pub(crate) body_mass_kg: f64,
    /// Whether the part may press on bone beside its screws.
    pub(crate) bone_contact: Option<bool>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "screw")]
pub(crate) struct WireScrew {
    /// A thread of the table, or a name of your own.
    #[schemars(length(min = 1, max = 64))]
    pub(crate) name: String,
    /// Outer diameter of the thread.
    #[schemars(range(min = 0.5, max = 20.0))]
    pub(crate) major_diameter_mm: Option<f64>,
    /// Diameter of the core.
    #[schemars(range(min = 0.2, max = 20.0))]
    pub(crate) core_diameter_mm: Option<f64>,
    /// From one thread to the next.
    #[schemars(range(min = 0.1, max = 10.0))]
    pub(crate) pitch_mm: Option<f64>,
    /// Where the thread begins, from the seat; 0 unless stated.
    #[schemars(range(min = 0.0, max = 200.0))]
    pub(crate) thread_start_mm: Option<f64>,
    /// Length at the tip that holds nothing; 0 unless stated.
    #[schemars(range(min = 0.0, max = 50.0))]
    pub(crate) tip_mm: Option<f64>,
    /// Lengths that can be ordered, seat to tip.
    #[schemars(length(min = 1, max = 200), inner(range(min = 3.0, max = 200.0)))]
    pub(crate) stocked_lengths_mm: Option<Vec<f64>>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "hole")]
pub(crate) struct WireHole {
    /// Free text, unique.
    #[schemars(length(min = 1, max = 64))]
    pub(crate) id: String,
    /// Which part of the component.
    #[schemars(extend("enum" = ["cup", "flange"]))]
    pub(crate) zone: String,
    /// The bone meant.
    #[schemars(extend("enum" = ["ilium", "ischium", "pubis"]))]
    pub(crate) region: Option<String>,
    /// Where the underside of the head seats.
    #[schemars(inner(range(min = -5000.0, max = 5000.0)))]
    pub(crate) seat_mm: Triple,
    /// Unit vector into bone.
    pub(crate) direction: Triple,
    /// A thread of the table, or a screw of this plan.
    #[schemars(length(min = 1, max = 64))]
    pub(crate) screw: String,
    /// Planned length, seat to tip.
    #[schemars(range(min = 3.0, max = 200.0))]
    pub(crate) length_mm: Option<f64>,
    /// Half-angle allowed about the direction; 0 or absent: fixed.
    #[schemars(range(min = 0.0, max = 89.0))]
    pub(crate) swivel_deg: Option<f64>,
    /// How far the seat may be moved on its surface.
    #[schemars(range(min = 0.0, max = 60.0))]
    pub(crate) seat_shift_mm: Option<f64>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "patch")]
pub(crate) struct WirePatch {
    /// Free text, unique among the patches.
    #[schemars(length(min = 1, max = 64))]
    pub(crate) id: String,
    /// Centre of the patch.
    #[schemars(inner(range(min = -5000.0, max = 5000.0)))]
    pub(crate) centre_mm: Triple,
    /// Unit vector into bone, across the patch.
    pub(crate) direction: Triple,
    /// Radius of the patch.
    #[schemars(range(min = 0.5, max = 60.0))]
    pub(crate) radius_mm: f64,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "landmark")]
pub(crate) struct WireLandmark {
    /// Which point, and whose side.
    #[schemars(extend("enum" = [
        "asis-left", "asis-right", "psis-left", "psis-right", "pubic-tubercle-left", "pubic-tubercle-right",
        "hip-centre-left", "hip-centre-right", "lesser-trochanter-left",
        "lesser-trochanter-right", "teardrop-left", "teardrop-right",
        "ischial-tuberosity-left", "ischial-tuberosity-right"
    ]))]
    pub(crate) name: String,
    /// Where it lies.
    #[schemars(inner(range(min = -5000.0, max = 5000.0)))]
    pub(crate) at_mm: Triple,
}
