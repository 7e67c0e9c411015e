//! How good a purchase is, as a word.

use crate::hole::Grade;

/// The thresholds of the grade.
///
/// No published threshold exists for pelvic screw paths. 154 HU is the nearest
/// thing measured along screw paths (153.5 HU, lumbar, women: Sakai et al.
/// 2018, J Orthop Sci 23:734); 110 HU is a vertebral cut-off (Zou et al. 2020,
/// J Neurosurg Spine 32:716, from memory). The lengths have no source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GradeParams {
    /// Below this trust nothing is said, 0 to 1. No source.
    pub least_trust: f64,
    /// Below this purchase there is none, mm. No source.
    pub least_purchase_mm: f64,
    /// Purchase of a good hole, mm. No source.
    pub good_purchase_mm: f64,
    /// Purchase of a good hole that holds two cortices, mm. No source.
    pub good_bicortical_mm: f64,
    /// Thread mean of a good hole, HU.
    pub good_hu: f64,
    /// Purchase of a fair hole, mm. No source.
    pub fair_purchase_mm: f64,
    /// Thread mean of a fair hole, HU.
    pub fair_hu: f64,
}

impl GradeParams {
    /// The thresholds in use.
    pub const OWN: Self = Self {
        least_trust: 0.5,
        least_purchase_mm: 5.0,
        good_purchase_mm: 25.0,
        good_bicortical_mm: 20.0,
        good_hu: 154.0,
        fair_purchase_mm: 15.0,
        fair_hu: 110.0,
    };
}

/// What a grade is made from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GradeInput {
    /// Whether the axis meets bone.
    pub meets_bone: bool,
    /// Whether the path ends with the scan, before the bone does.
    pub leaves_scan: bool,
    /// Whether no stocked length is safe.
    pub no_length: bool,
    /// Fraction of the purchase with believable HU.
    pub trust: Option<f64>,
    /// Purchase at the recommended length, mm.
    pub purchase_mm: f64,
    /// Mean over the thread, HU.
    pub thread_hu: Option<f64>,
    /// Cortices engaged.
    pub cortices: usize,
    /// Least bone beside the screw, mm.
    pub side_wall_mm: Option<f64>,
}

/// The grade, and the codes that led to it.
pub fn grade(input: &GradeInput, params: &GradeParams) -> (Grade, Vec<&'static str>) {
    if !input.meets_bone {
        return (Grade::None, vec!["path.no_bone"]);
    }
    if input.leaves_scan {
        return (Grade::Unknown, vec!["path.leaves_scan"]);
    }
    if input.no_length {
        return (Grade::None, vec!["length.none_stocked"]);
    }
    if input.trust.is_some_and(|trust| trust < params.least_trust) {
        return (Grade::Unknown, vec!["grade.low_trust"]);
    }
    if input.purchase_mm < params.least_purchase_mm {
        return (Grade::None, vec!["grade.short_purchase"]);
    }
    let Some(hu) = input.thread_hu else {
        return (Grade::Unknown, vec!["path.unmeasured"]);
    };
    let (mut grade, mut reasons) = by_length_and_density(input, hu, params);
    if input.side_wall_mm.is_some_and(|wall| wall < 0.0) {
        reasons.push("side.breach");
        grade = match grade {
            Grade::Good => Grade::Fair,
            Grade::Fair => Grade::Poor,
            _ => Grade::None,
        };
    }
    (grade, reasons)
}

fn by_length_and_density(
    input: &GradeInput,
    hu: f64,
    params: &GradeParams,
) -> (Grade, Vec<&'static str>) {
    let bicortical = input.cortices >= 2 && input.purchase_mm >= params.good_bicortical_mm;
    let long = input.purchase_mm >= params.good_purchase_mm;
    if hu >= params.good_hu && (long || bicortical) {
        let held = if long { "grade.long_purchase" } else { "grade.two_cortices" };
        return (Grade::Good, vec![held, "grade.dense"]);
    }
    let mut reasons = Vec::new();
    if input.purchase_mm < params.fair_purchase_mm {
        reasons.push("grade.short_purchase");
    }
    if hu < params.fair_hu {
        reasons.push("grade.soft");
    }
    if !reasons.is_empty() {
        return (Grade::Poor, reasons);
    }
    if !(long || bicortical) {
        reasons.push("grade.medium_purchase");
    }
    if hu < params.good_hu {
        reasons.push("grade.medium_density");
    }
    (Grade::Fair, reasons)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOUND: GradeInput = GradeInput {
        meets_bone: true,
        leaves_scan: false,
        no_length: false,
        trust: Some(1.0),
        purchase_mm: 30.0,
        thread_hu: Some(200.0),
        cortices: 1,
        side_wall_mm: Some(2.0),
    };

    fn word(input: GradeInput) -> &'static str {
        grade(&input, &GradeParams::OWN).0.word()
    }

    #[test]
    fn the_table_of_the_rule_holds() {
        assert_eq!(word(SOUND), "good");
        assert_eq!(word(GradeInput { purchase_mm: 22.0, ..SOUND }), "fair");
        assert_eq!(word(GradeInput { purchase_mm: 22.0, cortices: 2, ..SOUND }), "good");
        assert_eq!(word(GradeInput { thread_hu: Some(120.0), ..SOUND }), "fair");
        assert_eq!(word(GradeInput { thread_hu: Some(100.0), ..SOUND }), "poor");
        assert_eq!(word(GradeInput { purchase_mm: 10.0, ..SOUND }), "poor");
        assert_eq!(word(GradeInput { purchase_mm: 4.9, ..SOUND }), "none");
        assert_eq!(word(GradeInput { trust: Some(0.4), ..SOUND }), "unknown");
        assert_eq!(word(GradeInput { leaves_scan: true, ..SOUND }), "unknown");
        assert_eq!(word(GradeInput { meets_bone: false, ..SOUND }), "none");
    }

    #[test]
    fn a_side_breach_costs_one_step_and_poor_becomes_none() {
        let breach = |input: GradeInput| word(GradeInput { side_wall_mm: Some(-0.1), ..input });
        assert_eq!(breach(SOUND), "fair");
        assert_eq!(breach(GradeInput { purchase_mm: 16.0, ..SOUND }), "poor");
        assert_eq!(breach(GradeInput { purchase_mm: 10.0, ..SOUND }), "none");
    }
}
