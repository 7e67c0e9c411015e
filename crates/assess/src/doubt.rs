//! What a halfway far end leaves open of the recommended length.

use pilothole_plan::{FarCortex, Policy};

use crate::finding::Finding;
use crate::hole::Edge;

/// That the tip may stand where the policy does not want it, by as much as a
/// halfway far end may lie too far out; `None` where it may not, or nothing says
/// how far out that is.
///
/// - `length_mm`: recommended.
pub(crate) fn end_doubtful(
    policy: &Policy,
    far: Option<Edge>,
    length_mm: Option<f64>,
) -> Option<Finding> {
    let (far, length_mm) = (far?, length_mm?);
    let off_mm = far.most_off_mm.filter(|mm| mm.is_finite())?;
    let past_mm = length_mm - (far.at_mm - off_mm);
    let allowed_mm = match policy.far_cortex.value {
        FarCortex::StopShort => 0.0,
        FarCortex::Engage => policy.margin_mm.value,
    };
    (past_mm > allowed_mm).then(|| {
        let text = format!(
            "The bone may end up to {off_mm:.1} mm sooner than its far end, which is placed halfway: at {length_mm:.1} mm the tip may stand {past_mm:.1} mm outside the bone. Measure at the operation, and have the shorter screw at hand."
        );
        Finding::new("length.end_doubtful", text).measured(past_mm, Some(allowed_mm), "mm")
    })
}

#[cfg(test)]
mod tests {
    use pilothole_plan::{Format, Plan};

    use super::*;
    use crate::hole::EdgeRule;

    fn policy(far_cortex: &str) -> Policy {
        let text = format!(
            "schema = \"pilothole/plan/1\"\nside = \"left\"\ncoordinates = \"LPS\"\n[socket]\n\
             centre_mm = [0.0, 0.0, 0.0]\naxis = [0.0, 0.0, -1.0]\nouter_diameter_mm = 50.0\n\
             [policy]\nfar_cortex = \"{far_cortex}\"\nmargin_mm = 2.0\n"
        );
        Plan::parse(&text, Format::Toml).expect("sound").policy
    }

    fn far(most_off_mm: Option<f64>) -> Edge {
        Edge {
            at_mm: 42.0,
            rule: EdgeRule::Halfway,
            se_mm: None,
            most_off_mm,
            cortex_mm: None,
            cortex_se_mm: None,
            width_mm: Some(4.0),
            peak_hu: Some(900.0),
            incidence_rad: None,
        }
    }

    #[test]
    fn a_tip_that_a_doubtful_end_may_leave_outside_is_told() {
        let short = policy("stop-short");
        let said = end_doubtful(&short, Some(far(Some(3.0))), Some(40.0)).expect("1 mm past 39");
        assert_eq!((said.measured, said.limit), (Some(1.0), Some(0.0)));
        assert_eq!(end_doubtful(&short, Some(far(Some(1.9))), Some(40.0)), None);
        assert_eq!(end_doubtful(&short, Some(far(None)), Some(40.0)), None);
        assert_eq!(end_doubtful(&short, Some(far(Some(3.0))), None), None);
        // Passing the far cortex by 2 mm is what was asked for here.
        let engage = policy("engage");
        assert_eq!(end_doubtful(&engage, Some(far(Some(1.0))), Some(43.0)), None);
        assert!(end_doubtful(&engage, Some(far(Some(1.5))), Some(43.0)).is_some());
    }
}
