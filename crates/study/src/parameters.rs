//! Every number and word that a result depends on, and who chose it.

use pilothole_assess::cortex::LevelSource;
use pilothole_assess::path::{BLUR_SD, MODEL_SD, MOST_INCIDENCE_RAD, MOST_OFF};
use pilothole_bone::{BlurSource, CEMENT_HU, METAL_HU, METAL_MARGIN_MM, OWN_LEVEL_BLURS};
use pilothole_plan::{Origin, Plan, Resolved};
use pilothole_report::{From, Parameter, Value};

use crate::case::{Prepared, threshold_hu};
use crate::hold::robust_params;
use crate::params::CaseParams;
use crate::region::{AXIS_REACH_MM, MARGIN_MM};

const OWN: &str = "own choice, no source";

/// The resolved parameters, in the order of the stages.
pub(crate) fn parameters(plan: &Plan, params: &CaseParams, prepared: &Prepared) -> Vec<Parameter> {
    let mut list = List(Vec::new());
    list.push("side", Value::Text(plan.side.word().to_owned()), None, From::Plan, "plan");
    bone(&mut list, plan, params);
    policy(&mut list, plan);
    path(&mut list, params, prepared);
    cortex(&mut list, prepared);
    grade(&mut list, params);
    placements(&mut list, plan, params);
    list.0
}

struct List(Vec<Parameter>);

impl List {
    fn push(&mut self, name: &str, value: Value, unit: Option<&str>, from: From, source: &str) {
        self.0.push(Parameter {
            name: name.to_owned(),
            value,
            unit: unit.map(ToOwned::to_owned),
            from,
            source: source.to_owned(),
        });
    }

    fn number(&mut self, name: &str, value: f64, unit: &str, source: &str) {
        self.push(name, Value::Number(value), Some(unit), From::Default, source);
    }

    fn resolved(&mut self, name: &str, value: Resolved<f64>, unit: &str) {
        let (from, source) = origin(value.from);
        self.push(name, Value::Number(value.value), Some(unit), from, source);
    }
}

fn origin(origin: Origin) -> (From, &'static str) {
    match origin {
        Origin::Plan => (From::Plan, "plan"),
        Origin::Default(source) => (From::Default, source),
    }
}

fn bone(list: &mut List, plan: &Plan, params: &CaseParams) {
    let (from, source) = match (params.threshold_hu, plan.bone.threshold_hu) {
        (Some(_), _) => (From::Flag, "flag"),
        (None, Some(_)) => (From::Plan, "plan"),
        (None, None) => (From::Default, "common default of segmentation tools, from memory"),
    };
    let threshold = Value::Number(threshold_hu(plan, params));
    list.push("bone.threshold", threshold, Some("HU"), from, source);
    list.number("bone.metal", METAL_HU, "HU", OWN);
    list.number("bone.metal_margin", METAL_MARGIN_MM, "mm", OWN);
    list.number("bone.axis_reach", AXIS_REACH_MM, "mm", OWN);
    list.number("bone.cement", CEMENT_HU, "HU", "no source");
    list.number("bone.margin", MARGIN_MM, "mm", OWN);
}

fn policy(list: &mut List, plan: &Plan) {
    let policy = &plan.policy;
    let (from, source) = origin(policy.far_cortex.from);
    let far_cortex = Value::Text(policy.far_cortex.value.word().to_owned());
    list.push("policy.far_cortex", far_cortex, None, from, source);
    list.resolved("policy.margin", policy.margin_mm, "mm");
    list.resolved("policy.side_margin", policy.side_margin_mm, "mm");
    list.resolved("policy.screw_gap", policy.screw_gap_mm, "mm");
    list.resolved("guide.sleeve_radius", plan.guide.sleeve_radius_mm, "mm");
    list.resolved("guide.sleeve_length", plan.guide.sleeve_length_mm, "mm");
    list.resolved("guide.clearance", plan.guide.clearance_mm, "mm");
    for screw in &plan.screws {
        let name = |field: &str| format!("screw.{}.{field}", screw.name);
        let mut of = |field: &str, value: f64| {
            list.number(&name(field), value, "mm", &screw.source);
        };
        of("major_diameter", screw.major_diameter_mm);
        of("core_diameter", screw.core_diameter_mm);
        of("pitch", screw.pitch_mm);
        of("thread_start", screw.thread_start_mm);
        of("tip", screw.tip_mm);
        let lengths: Vec<String> =
            screw.stocked_lengths_mm.iter().map(ToString::to_string).collect();
        let value = Value::Text(lengths.join(" "));
        list.push(
            &name("stocked_lengths"),
            value,
            Some("mm"),
            From::Default,
            &screw.lengths_source,
        );
    }
}

fn path(list: &mut List, params: &CaseParams, prepared: &Prepared) {
    let path = &params.judge.path;
    let grid = prepared.intake.volume.grid();
    list.push(
        "path.step",
        Value::Number(path.step_mm(grid)),
        Some("mm"),
        From::Scan,
        "a quarter of the shortest voxel edge, at most 0.25 mm; own choice",
    );
    list.number("path.reach", path.reach_mm, "mm", OWN);
    list.number("path.least_contrast", path.least_contrast_hu, "HU", OWN);
    list.number("path.wobble", path.wobble_hu, "HU", OWN);
    list.number("path.thickest_cortex", path.thickest_cortex_mm, "mm", OWN);
    list.number("path.air", path.air_hu, "HU", OWN);
    list.number("path.air_run", path.air_run_mm, "mm", OWN);
}

fn cortex(list: &mut List, prepared: &Prepared) {
    const ASSUMED: &str = "solid cortical bone at the scan's kVp, 120 where that is not known \
                           within 80 to 140, less an eighth for its pores; too few thick places \
                           show the bone's own";
    const SPREAD: &str = "own choice: two ways of reading the blur differ by 3 % on phantoms and \
                          by 11 % on an open scan";
    const SHEER: &str = "own choice, no source; steeper than this no plate is fitted";
    const OFF: &str = "own choice, no source; further from its halfway face no plate is accepted";
    const REST: &str = "root mean square over the ends of the made hip; what no plate explains";
    const THIN: &str = "own choice, no source; thinner than this a plate takes the bone's level";
    let Some(cortex) = &prepared.cortex else { return };
    let blur = &cortex.blur;
    list.number("cortex.steepest", MOST_INCIDENCE_RAD.to_degrees(), "deg", SHEER);
    list.number("cortex.farthest_off", MOST_OFF, "blur sd", OFF);
    list.number("cortex.own_level_from", OWN_LEVEL_BLURS, "blur sd", THIN);
    list.number("cortex.unexplained_sd", MODEL_SD, "blur sd", REST);
    list.number("blur.sd_share", BLUR_SD, "1", SPREAD);
    let by_slices = || "the same widened by a slice as thick as the slice distance".to_owned();
    let edges = |count: usize| format!("median of {count} edges of thick cortices");
    let (within, across) = match blur.from {
        BlurSource::Measured { in_plane, axial } => (edges(in_plane), edges(axial)),
        BlurSource::MeasuredInPlane { in_plane } => (edges(in_plane), by_slices()),
        BlurSource::Plates { in_plane } => {
            let plates =
                format!("lower quartile of {in_plane} plates fitted with a blur of their own");
            (plates, by_slices())
        }
        _ => ("the scan".to_owned(), "the scan".to_owned()),
    };
    let mut of = |name: &str, (value, unit): (f64, &str), from: From, source: &str| {
        list.push(name, Value::Number(value), Some(unit), from, source);
    };
    of("blur.in_plane_sd", (blur.in_plane_sigma_mm, "mm"), From::Scan, &within);
    of("blur.axial_sd", (blur.axial_sigma_mm, "mm"), From::Scan, &across);
    for record in &prepared.bones.records {
        let Some(level) = cortex.level_of(record.label) else { continue };
        let bone = record.name.map_or_else(|| record.label.to_string(), |n| n.as_str().to_owned());
        let (from, source, spread) = match level.from {
            LevelSource::ThickPlaces(places) => {
                let source = format!("median of {places} thick places");
                (From::Scan, source, "its middle 68 %, halved")
            }
            LevelSource::Assumed => (From::Default, ASSUMED.to_owned(), ASSUMED),
        };
        of(&format!("cortex.{bone}.level"), (level.hu, "HU"), from, &source);
        of(&format!("cortex.{bone}.level_sd"), (level.sd_hu, "HU"), from, spread);
    }
}

fn grade(list: &mut List, params: &CaseParams) {
    const SAKAI: &str = "153.5 HU along lumbar screw paths, women (Sakai 2018, J Orthop Sci \
                         23:734); not a pelvic threshold";
    const ZOU: &str = "110 HU, lumbar vertebrae (Zou 2020, J Neurosurg Spine 32:716, from \
                       memory); not a pelvic threshold";
    let grade = &params.judge.grade;
    list.number("grade.least_trust", grade.least_trust, "1", "no source");
    list.number("grade.least_purchase", grade.least_purchase_mm, "mm", "no source");
    list.number("grade.good_purchase", grade.good_purchase_mm, "mm", "no source");
    list.number("grade.good_bicortical", grade.good_bicortical_mm, "mm", "no source");
    list.number("grade.good_hu", grade.good_hu, "HU", SAKAI);
    list.number("grade.fair_purchase", grade.fair_purchase_mm, "mm", "no source");
    list.number("grade.fair_hu", grade.fair_hu, "HU", ZOU);
}

fn placements(list: &mut List, plan: &Plan, params: &CaseParams) {
    const GUIDES: &str = "own reading of guide series, between spine and pelvis (Meesters 2021, \
                          J Pers Med 11:763: median 3.6 mm, 5.9 deg)";
    const COMPONENT: &str = "own reading of planned against achieved custom components \
                             (Bone Jt Open 2024;5-4)";
    let robust = robust_params(plan, params);
    list.number("robust.entry_sd", robust.entry_sd_mm, "mm", GUIDES);
    list.number("robust.angle_sd", robust.angle_sd_rad.to_degrees(), "deg", GUIDES);
    list.number("robust.shift_sd", robust.shift_sd_mm, "mm", COMPONENT);
    list.number("robust.turn_sd", robust.turn_sd_rad.to_degrees(), "deg", COMPONENT);
    let (samples, seed) = (robust.samples as f64, robust.seed as f64);
    list.number("robust.samples", samples, "1", "a share is known to 1.6 % or better");
    list.number("robust.seed", seed, "1", OWN);
}
