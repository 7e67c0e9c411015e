//! The wire types: what `report.json` holds, and how a case becomes it.

mod finding;
mod hole;
mod ids;
mod load;
mod reconstruction;
mod scan;
mod set;

use pilothole_volume::{Direction, PatientPoint};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::case::Case;
use crate::number::{kept, mm, share};
use crate::text::CAUTION;
use ids::Ids;

pub use finding::FindingRecord;
pub use hole::{
    BeyondRecord, DensityRecord, EdgeRecord, HoleRecord, HuRecord, ProfileRecord, PulloutRecord,
    RobustRecord, SegmentRecord, Share, StatisticsRecord,
};
pub use load::{CaseRecord, LoadRecord, LostRecord, RangeRecord, ScrewLoadRecord, SpringRecord};
pub use reconstruction::{
    MeasuredRecord, MirrorRecord, OrientationRecord, OrientationsRecord, ReconstructionRecord,
    RegressionRecord, ShiftRecord, WantingRecord,
};
pub use scan::{
    BandRecord, BoneRecord, BonesRecord, CalibrationRecord, From, Parameter, ScanRecord,
    SurfaceRecord, Tool, Value,
};
pub use set::{
    AccessRecord, ApartRecord, BlockRecord, ClashRecord, GuideRecord, HoleShareRecord, KitRecord,
    MetalRecord, OrderRecord, SequenceRecord, SetRecord, SetRobustRecord, SpareRecord,
};

/// `report.json`: everything that is known about one case.
///
/// A part that was not asked for or could not be computed is null, and one of
/// `findings` says so.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Record {
    /// Always `pilothole/report/1`.
    pub schema: String,
    /// The program that wrote it.
    pub tool: Tool,
    /// What every reader has to know first.
    pub caution: String,
    /// When it was written, RFC 3339; absent from a timeless report.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub written_at: Option<String>,
    /// Every number and word that the result depends on.
    pub parameters: Vec<Parameter>,
    /// The scan.
    pub scan: ScanRecord,
    /// What was taken for bone.
    pub bone: BonesRecord,
    /// How Hounsfield units become density.
    pub calibration: Option<CalibrationRecord>,
    /// The holes, in the plan's order.
    pub holes: Vec<HoleRecord>,
    /// The holes as a set.
    pub set: Option<SetRecord>,
    /// In which order to fill.
    pub order: Option<Vec<OrderRecord>>,
    /// What the plan needs.
    pub kit: Option<Vec<KitRecord>>,
    /// What to have at hand beside the kit.
    pub spares: Option<Vec<SpareRecord>>,
    /// Where the hip comes to lie.
    pub reconstruction: Option<ReconstructionRecord>,
    /// Reservations.
    pub findings: Vec<FindingRecord>,
}

impl Record {
    /// The value of `schema` in a report.
    pub const SCHEMA: &'static str = "pilothole/report/1";

    /// The holes in the order to fill them; those in no order follow in the
    /// plan's.
    pub fn in_order(&self) -> Vec<&HoleRecord> {
        let steps = self.order.as_deref().unwrap_or_default();
        let mut holes: Vec<&HoleRecord> = steps.iter().filter_map(|s| self.hole(&s.hole)).collect();
        holes.extend(self.holes.iter().filter(|h| steps.iter().all(|s| s.hole != h.id)));
        holes
    }

    /// A hole by its id.
    pub fn hole(&self, id: &str) -> Option<&HoleRecord> {
        self.holes.iter().find(|h| h.id == id)
    }

    /// The findings about a hole, in the order met.
    pub fn findings_of<'a>(&'a self, id: &'a str) -> impl Iterator<Item = &'a FindingRecord> {
        self.findings
            .iter()
            .filter(move |f| [&f.hole, &f.other].into_iter().flatten().any(|h| h == id))
    }

    /// The step that fills a hole.
    pub fn step_of(&self, id: &str) -> Option<&OrderRecord> {
        self.order.as_deref()?.iter().find(|s| s.hole == id)
    }

    /// A parameter by its name.
    pub fn parameter(&self, name: &str) -> Option<&Parameter> {
        self.parameters.iter().find(|p| p.name == name)
    }
}

/// What leaves of a case.
pub fn record(case: &Case<'_>) -> Record {
    let ids = Ids::new(case.plan);
    let set = case.set;
    let mut record = Record {
        schema: Record::SCHEMA.to_owned(),
        tool: Tool { name: "pilothole".to_owned(), version: case.tool_version.clone() },
        caution: CAUTION.to_owned(),
        written_at: case.written_at.clone(),
        parameters: case.parameters.iter().map(rounded_parameter).collect(),
        scan: rounded_scan(&case.scan),
        bone: rounded_bones(&case.bones),
        calibration: case.calibration.clone(),
        holes: case
            .holes
            .iter()
            .filter_map(|h| {
                let to_120_kvp = case.scan.bone_hu_to_120_kvp;
                HoleRecord::of(h, case.plan, case.calibration.as_ref(), to_120_kvp)
            })
            .collect(),
        set: set.map(|s| SetRecord::of(s, &ids)),
        order: set.and_then(|s| Some(set::steps(&s.order.as_ref()?.proposed, &ids))),
        kit: set.map(|s| s.kit.iter().map(|k| KitRecord::of(k, &ids)).collect()),
        spares: set.map(|s| s.spares.iter().map(|k| SpareRecord::of(k, &ids)).collect()),
        reconstruction: set.map(|s| ReconstructionRecord::of(&s.reconstruction)),
        findings: findings(case, &ids),
    };
    let missing = missing(&record);
    record.findings.extend(missing);
    record
}

/// Those of scan, holes and set, each once.
fn findings(case: &Case<'_>, ids: &Ids) -> Vec<FindingRecord> {
    let of_holes = case.holes.iter().flat_map(|h| &h.findings);
    let of_set = case.set.iter().flat_map(|s| &s.findings);
    let mut findings: Vec<FindingRecord> = Vec::new();
    for finding in case.findings.iter().chain(of_holes).chain(of_set) {
        let finding = FindingRecord::of(finding, ids);
        if !findings.contains(&finding) {
            findings.push(finding);
        }
    }
    findings
}

/// A finding for each part that is null and of which no finding speaks.
fn missing(record: &Record) -> Vec<FindingRecord> {
    let parts = [
        (record.set.is_none(), "set", "The holes were not judged as a set."),
        (record.order.is_none(), "order", "No order of filling was computed."),
        (record.kit.is_none(), "kit", "No list of what to order was made."),
        (
            record.reconstruction.is_none(),
            "reconstruction",
            "The position of the hip was not computed.",
        ),
        (
            record.calibration.is_none(),
            "calibration",
            "Hounsfield units were not turned into density.",
        ),
        (
            record.holes.iter().any(|h| h.robust.is_none() && h.length_mm.is_some()),
            "robust",
            "Wrong placements were not tried on every hole.",
        ),
        (
            record.set.as_ref().is_some_and(|s| s.robust.is_none()),
            "set_robust",
            "Wrong placements of the whole component were not tried.",
        ),
    ];
    parts
        .into_iter()
        .filter(|(is_missing, area, _)| {
            let prefix = format!("{area}.");
            *is_missing && !record.findings.iter().any(|f| f.code.starts_with(&prefix))
        })
        .map(|(_, area, text)| FindingRecord::own(&format!("{area}.not_computed"), text))
        .collect()
}

fn rounded_parameter(parameter: &Parameter) -> Parameter {
    let value = match &parameter.value {
        Value::Number(n) => match kept(*n, 6) {
            Some(n) => Value::Number(n),
            None => Value::Text(crate::number::UNKNOWN.to_owned()),
        },
        Value::Text(text) => Value::Text(text.clone()),
    };
    Parameter { value, ..parameter.clone() }
}

fn rounded_scan(scan: &ScanRecord) -> ScanRecord {
    ScanRecord {
        voxel_mm: scan.voxel_mm.map(|v| kept(v, 6).unwrap_or_default()),
        kvp: scan.kvp.and_then(|v| kept(v, 3)),
        slice_thickness_mm: scan.slice_thickness_mm.and_then(mm),
        tilt_deg: scan.tilt_deg.and_then(|v| kept(v, 3)),
        ceiling_hu: scan.ceiling_hu.and_then(|v| kept(v, 2)),
        ..scan.clone()
    }
}

fn rounded_bones(bones: &BonesRecord) -> BonesRecord {
    let cubic = |v: Option<f64>| v.and_then(|v| kept(v, 1));
    let mut bones = bones.clone();
    bones.metal_mm3 = cubic(bones.metal_mm3);
    bones.cement_mm3 = cubic(bones.cement_mm3);
    bones.untrusted_share = bones.untrusted_share.and_then(share);
    for bone in &mut bones.bones {
        bone.volume_mm3 = cubic(bone.volume_mm3);
    }
    if let Some(surface) = &mut bones.surface {
        surface.volume_mm3 = cubic(surface.volume_mm3);
        surface.area_mm2 = cubic(surface.area_mm2);
    }
    bones
}

/// A place in the patient, mm, LPS, as kept.
pub(crate) fn point(at: PatientPoint) -> Option<[f64; 3]> {
    at.is_finite().then(|| at.0.map(|c| mm(c).unwrap_or_default()))
}

/// A direction, LPS, as kept.
pub(crate) fn unit(direction: Direction) -> [f64; 3] {
    direction.components().map(|c| kept(c, 6).unwrap_or_default())
}
