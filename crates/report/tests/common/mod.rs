//! A small made hip with hand-made judgements, enough to draw every part of a
//! report without any other stage.
#![allow(dead_code, reason = "each test uses a part of it")]

mod judged;
mod solid;

use pilothole_assess::set::SetResult;
use pilothole_assess::{Finding, HoleResult, Scene};
use pilothole_plan::{Format, Plan};
use pilothole_report::{
    BoneRecord, BonesRecord, CalibrationRecord, Case, From, Parameter, ScanRecord, Value,
};
use pilothole_surface::ClosedSurface;
use pilothole_volume::{Field, Labels, Mask, Volume};

/// Everything a case borrows.
pub(crate) struct Made {
    pub(crate) plan: Plan,
    pub(crate) volume: Volume,
    pub(crate) field: Field,
    pub(crate) labels: Labels,
    pub(crate) nothing: Mask,
    pub(crate) holes: Vec<HoleResult>,
    pub(crate) set: SetResult,
    pub(crate) surface: ClosedSurface,
}

impl Made {
    /// A hip whose plan has the given ids.
    pub(crate) fn with_ids(ids: &[&str]) -> Self {
        let plan = Plan::parse(&solid::plan_toml(ids), Format::Toml).expect("a sound plan");
        let (volume, field, labels) = solid::scan();
        let nothing = Mask::none(field.grid().size());
        let surface = solid::surface(&field);
        let mut made = Self {
            holes: Vec::new(),
            set: judged::set(&plan),
            plan,
            volume,
            field,
            labels,
            nothing,
            surface,
        };
        made.holes = judged::holes(&made.plan, &made.scene());
        made
    }

    /// A hip of fourteen holes.
    pub(crate) fn usual() -> Self {
        Self::with_ids(&["a", "b", "c", "d", "e", "f", "g", "h", "j", "k", "F1", "F2", "F3", "F4"])
    }

    pub(crate) fn scene(&self) -> Scene<'_> {
        Scene {
            volume: &self.volume,
            field: &self.field,
            labels: &self.labels,
            metal: &self.nothing,
            cement: &self.nothing,
            untrusted: &self.nothing,
            threshold_hu: 226.0,
            cortex: None,
        }
    }

    pub(crate) fn case(&self) -> Case<'_> {
        Case {
            scan: scan_record(&self.volume),
            plan: &self.plan,
            scene: self.scene(),
            holes: &self.holes,
            set: Some(&self.set),
            bones: bones_record(),
            calibration: Some(CalibrationRecord {
                slope: 0.74,
                intercept: 0.0,
                material: "HA".to_owned(),
                from: "assumed".to_owned(),
                source: "Slope of a 120 kV scan of a body of middling size.".to_owned(),
                se_mg_cm3: Some(17.1),
                slope_se: Some(0.0666),
                intercept_se: Some(15.0),
                covariance: Some(0.0),
            }),
            parameters: parameters(),
            findings: vec![
                Finding::new("calibration.assumed", "The calibration is assumed from the voltage."),
                Finding::new("voxel.coarse", "Slices are thicker than a cortex.").measured(
                    1.0,
                    Some(0.8),
                    "mm",
                ),
            ],
            surface: Some(&self.surface),
            chart: None,
            written_at: None,
            tool_version: "0.1.0".to_owned(),
        }
    }
}

fn scan_record(volume: &Volume) -> ScanRecord {
    ScanRecord {
        digest: "5f0c".repeat(16),
        size: volume.grid().size(),
        voxel_mm: volume.grid().spacing_mm(),
        orientation: Some("axial".to_owned()),
        kvp: Some(120.0),
        bone_hu_to_120_kvp: None,
        kernel: None,
        slice_thickness_mm: Some(1.0),
        tilt_deg: Some(0.0),
        uneven: Some(false),
        lossy: Some(false),
        syntax: Some("uncompressed".to_owned()),
        contrast: None,
        saturated_voxels: Some(0),
        padding_voxels: Some(0),
        ceiling_hu: None,
    }
}

fn bones_record() -> BonesRecord {
    BonesRecord {
        threshold_hu: 226.0,
        method: "Closed form of the made hip.".to_owned(),
        bones: vec![BoneRecord {
            label: 1,
            name: Some("left hip bone".to_owned()),
            volume_mm3: Some(300_000.0),
        }],
        metal_mm3: Some(0.0),
        cement_mm3: None,
        untrusted_share: Some(0.0),
        surface: None,
    }
}

fn parameters() -> Vec<Parameter> {
    let number = |name: &str, value: f64, unit: &str, from: From, source: &str| Parameter {
        name: name.to_owned(),
        value: Value::Number(value),
        unit: Some(unit.to_owned()),
        from,
        source: source.to_owned(),
    };
    vec![
        Parameter {
            name: "side".to_owned(),
            value: Value::Text("left".to_owned()),
            unit: None,
            from: From::Plan,
            source: "plan".to_owned(),
        },
        number("policy.margin", 2.0, "mm", From::Plan, "plan"),
        number("bone.threshold", 226.0, "HU", From::Default, "no source"),
        number("grade.good_hu", 154.0, "HU", From::Default, "Sakai et al. 2018"),
    ]
}

/// A written file as text.
pub(crate) fn text<'a>(files: &'a [(&str, Vec<u8>)], name: &str) -> &'a str {
    std::str::from_utf8(bytes(files, name)).expect("text")
}

/// A written file.
pub(crate) fn bytes<'a>(files: &'a [(&str, Vec<u8>)], name: &str) -> &'a [u8] {
    let (_, bytes) = files.iter().find(|(n, _)| *n == name).expect("the file is written");
    bytes
}
