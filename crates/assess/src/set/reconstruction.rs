//! Where the planned hip comes to lie: against the mirrored healthy side,
//! against now, and the socket's orientation in the pelvis.
//!
//! Every number carries the error that the landmarks' own error makes, by
//! first-order propagation. Lengths and offsets are those of bones in CT;
//! radiographic norms differ by up to 20 % (Sariali 2014, confirmed).

use std::collections::BTreeMap;

use pilothole_plan::{Plan, Side};
use pilothole_volume::{Direction, Offset, PatientPoint};

use super::corridor::Surroundings;
use super::frames::{self, Points, murray};
use super::mirror::fit_mirror;
use super::params::ReconstructionParams;
use super::register::{Laid, lay_healthy};
use super::types::{
    CentreShift, Measured, Mirror, MirrorSource, Orientation, Orientations, PelvicFrame,
    Reconstruction, Regression, Wanting,
};

/// What is measured; angles rad, else mm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Quantity {
    /// One of the six angles, in the anterior pelvic plane.
    InApp(u8),
    /// The same in the ISB frame.
    InIsb(u8),
    /// From the mirrored centre: lateral, anterior, superior, length.
    FromMirrored(u8),
    /// The same from the present centre.
    FromPresent(u8),
    LegChange,
    OffsetChange,
    LegNow,
    LegAfter,
    OffsetDifference,
    HealthyOffset,
}

type Values = BTreeMap<Quantity, f64>;

/// The plan's part of the question.
#[derive(Clone, Copy)]
struct Planned {
    side: Side,
    centre: PatientPoint,
    axis: Direction,
    /// The healthy side's surface on the operated one, where it was found.
    laid: Option<Laid>,
}

impl Planned {
    /// The mirror image of a point of the healthy side.
    fn image(&self, points: &Points, at: PatientPoint) -> Option<PatientPoint> {
        match self.laid {
            Some(laid) => Some(laid.image(at)),
            None => Some(fit_mirror(points)?.image(at)),
        }
    }
}

/// Judge where the hip comes to lie.
pub(crate) fn reconstruct(
    plan: &Plan,
    around: &Surroundings<'_>,
    params: &ReconstructionParams,
) -> Reconstruction {
    let points = Points::of_plan(plan);
    let healthy = points.get("hip-centre", plan.side.other());
    let plane = fit_mirror(&points);
    let laid = plane
        .filter(|_| healthy.is_some())
        .and_then(|plane| lay_healthy(around, plane, plan.socket.centre));
    let planned =
        Planned { side: plan.side, centre: plan.socket.centre, axis: plan.socket.axis, laid };
    let values = measure(&points, planned);
    let errors = propagate(&points, planned, &values, params.landmark_se_mm);
    let get = |quantity: Quantity| {
        let value = *values.get(&quantity)?;
        Some(Measured { value, se: errors.get(&quantity).copied().unwrap_or(0.0) })
    };
    let shift = |of: fn(u8) -> Quantity| {
        let (lateral_mm, anterior_mm, superior_mm) = (get(of(0))?, get(of(1))?, get(of(2))?);
        let mut length_mm = get(of(3))?;
        let widest = lateral_mm.se.max(anterior_mm.se).max(superior_mm.se);
        if length_mm.value < widest {
            // A length near 0 has no slope; the widest of its parts stands in.
            length_mm.se = widest;
        }
        Some(CentreShift { lateral_mm, anterior_mm, superior_mm, length_mm })
    };
    let orientations = |of: fn(u8) -> Quantity| {
        let pair = |first: u8| {
            Some(Orientation {
                inclination_rad: get(of(first))?,
                anteversion_rad: get(of(first + 1))?,
            })
        };
        Some(Orientations { radiographic: pair(0)?, operative: pair(2)?, anatomical: pair(4)? })
    };
    let (app, isb) = (frames::app(&points), frames::isb(&points));
    let mirror = laid.map_or(plane, |laid| {
        Some(Mirror {
            rms_mm: laid.motion.rms_mm,
            pairs: laid.pairs,
            source: MirrorSource::Surface,
            ..laid.mirror
        })
    });
    Reconstruction {
        landmark_se_mm: params.landmark_se_mm,
        app,
        isb,
        in_app: orientations(Quantity::InApp),
        in_isb: orientations(Quantity::InIsb),
        mirror,
        mirrored_centre: healthy.and_then(|centre| planned.image(&points, centre)),
        from_mirrored: shift(Quantity::FromMirrored),
        from_present: shift(Quantity::FromPresent),
        leg_change_mm: get(Quantity::LegChange),
        offset_change_mm: get(Quantity::OffsetChange),
        leg_difference_now_mm: get(Quantity::LegNow),
        leg_difference_after_mm: get(Quantity::LegAfter),
        offset_difference_mm: get(Quantity::OffsetDifference),
        healthy_offset_mm: get(Quantity::HealthyOffset),
        regressions: isb.map_or_else(Vec::new, |isb| regressions(&points, &isb, planned)),
        wanting: what_is_wanting(&points, plan.side),
    }
}

/// Everything that the points allow.
fn measure(points: &Points, planned: Planned) -> Values {
    let mut values = Values::new();
    let side = planned.side;
    let app = frames::app(points);
    for (frame, of) in [
        (app, Quantity::InApp as fn(u8) -> Quantity),
        (frames::isb(points), Quantity::InIsb as fn(u8) -> Quantity),
    ] {
        let Some(frame) = frame else { continue };
        let found = murray(frame.parts(planned.axis.offset(), side));
        let all = [found.radiographic, found.operative, found.anatomical].concat();
        values.extend((0_u8..).zip(all).map(|(i, angle)| (of(i), angle)));
    }
    let Some(app) = app else { return values };
    let healthy = points.get("hip-centre", side.other());
    let present = points.get("hip-centre", side);
    if let Some(image) = healthy.and_then(|centre| planned.image(points, centre)) {
        let from = planned.centre - image;
        insert_shift(&mut values, Quantity::FromMirrored, &app, from, side);
    }
    if let Some(present) = present {
        let from = planned.centre - present;
        insert_shift(&mut values, Quantity::FromPresent, &app, from, side);
        let [lateral, _, superior] = app.parts(from, side);
        values.insert(Quantity::LegChange, -superior);
        values.insert(Quantity::OffsetChange, lateral);
    }
    if let Some(difference) = leg_difference(points, &app, side) {
        values.insert(Quantity::LegNow, difference);
        if let Some(change) = values.get(&Quantity::LegChange).copied() {
            values.insert(Quantity::LegAfter, difference + change);
        }
    }
    let offset_of = |centre: Option<PatientPoint>, side: Side| {
        let from = centre? - points.get("teardrop", side)?;
        Some(app.parts(from, side)[0])
    };
    if let Some(own) = offset_of(healthy, side.other()) {
        values.insert(Quantity::HealthyOffset, own);
        if let Some(new) = offset_of(Some(planned.centre), side) {
            values.insert(Quantity::OffsetDifference, new - own);
        }
    }
    values
}

fn insert_shift(
    values: &mut Values,
    of: fn(u8) -> Quantity,
    frame: &PelvicFrame,
    from: Offset,
    side: Side,
) {
    let parts = frame.parts(from, side);
    values.extend((0_u8..).zip(parts).map(|(i, part)| (of(i), part)));
    values.insert(of(3), from.length_mm());
}

/// Hip length of the operated side less that of the other, mm: from the apex
/// of the lesser trochanter square to the line through the teardrops, or
/// through the ischial tuberosities, seen from the front (confirmed, sheet 2
/// §4.1).
fn leg_difference(points: &Points, app: &PelvicFrame, side: Side) -> Option<f64> {
    let line = points.pair("teardrop").or_else(|| points.pair("ischial-tuberosity"))?;
    let flat = |at: PatientPoint| {
        let from = at - line[1];
        [from.dot(app.right.offset()), from.dot(app.superior.offset())]
    };
    let along = flat(line[0]);
    let length = along[0].hypot(along[1]);
    let hip_length = |side: Side| {
        let at = flat(points.get("lesser-trochanter", side)?);
        // Below the line; the line runs from right to left, so to the frame's left.
        Some((along[0] * at[1] - along[1] * at[0]) / length)
    };
    Some(hip_length(side)? - hip_length(side.other())?)
}

/// Step of the differences, mm.
const STEP_MM: f64 = 0.01;

/// Standard errors from independent errors of every coordinate of every
/// landmark.
fn propagate(points: &Points, planned: Planned, values: &Values, se_mm: f64) -> Values {
    let mut variance: Values = values.keys().map(|quantity| (*quantity, 0.0)).collect();
    for index in 0..points.count() {
        for axis in 0..3 {
            let mut step = Offset::ZERO;
            step.0[axis] = STEP_MM;
            let up = measure(&points.moved(index, step), planned);
            let down = measure(&points.moved(index, -step), planned);
            for (quantity, sum) in &mut variance {
                if let (Some(up), Some(down)) = (up.get(quantity), down.get(quantity)) {
                    *sum += ((up - down) / (2.0 * STEP_MM) * se_mm).powi(2);
                }
            }
        }
    }
    variance.into_iter().map(|(quantity, sum)| (quantity, sum.sqrt())).collect()
}

/// Hip centres by regression, in the ISB frame.
///
/// # References
///
/// Bell 1990 J Biomech 23:617 and Harrington 2007 J Biomech 40:595 (both
/// confirmed by a second source). On ten CT pelves they miss by 15.3 and
/// 10.8 mm on average (computed): they may flag, not plan.
fn regressions(points: &Points, isb: &PelvicFrame, planned: Planned) -> Vec<Regression> {
    let Some([left, right]) = points.pair("asis") else { return Vec::new() };
    let Some([back_left, back_right]) = points.pair("psis") else { return Vec::new() };
    let width = left.distance_mm(right);
    let depth = isb.origin.distance_mm(frames::middle(back_left, back_right));
    let lateral = isb.lateral(planned.side);
    let rows = [
        ("Bell 1990", [-0.19 * width, -0.30 * width, 0.36 * width]),
        ("Harrington 2007", [-0.24 * depth - 9.9, -0.30 * width - 10.9, 0.33 * width + 7.3]),
    ];
    rows.into_iter()
        .map(|(name, [forwards, up, out])| {
            let centre = isb.origin + isb.anterior * forwards + isb.superior * up + lateral * out;
            Regression { name, centre, off_mm: centre.distance_mm(planned.centre) }
        })
        .collect()
}

/// What landmarks are wanting, and what each group would allow.
fn what_is_wanting(points: &Points, side: Side) -> Vec<Wanting> {
    let both = [Side::Left, Side::Right];
    let frame: [&str; 2] = ["asis", "pubic-tubercle"];
    let with_frame = |more: Vec<String>| {
        let mut all = frames::wanting(points, &frame, &both);
        all.extend(more);
        all
    };
    let healthy = [side.other()];
    let rows = [
        (
            with_frame(Vec::new()),
            "the socket's inclination and anteversion, and the load's directions",
        ),
        (
            with_frame(frames::wanting(points, &["hip-centre"], &healthy)),
            "the planned centre against the mirrored healthy side",
        ),
        (
            with_frame(frames::wanting(points, &["hip-centre"], &[side])),
            "the change of leg length and offset by the cup",
        ),
        (
            with_frame(frames::wanting(points, &["lesser-trochanter", "teardrop"], &both)),
            "the difference of leg lengths now and after",
        ),
        (
            with_frame(
                [
                    frames::wanting(points, &["teardrop"], &both),
                    frames::wanting(points, &["hip-centre"], &healthy),
                ]
                .concat(),
            ),
            "the acetabular offset against the healthy side",
        ),
        (
            frames::wanting(points, &["asis", "psis"], &both),
            "the ISB frame, and hip centres by regression",
        ),
    ];
    rows.into_iter()
        .filter(|(landmarks, _)| !landmarks.is_empty())
        .map(|(landmarks, allows)| Wanting { landmarks, allows })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // First sheet §6.2: PW 240, PD 140 give Harrington (-43.5, -82.9, 86.5) and
    // Bell (-45.6, -72.0, 86.4): forwards, up, to the side.
    #[test]
    fn regressions_have_their_checked_values() {
        let points = Points::named([
            ("asis-left".to_owned(), PatientPoint([120.0, 0.0, 0.0])),
            ("asis-right".to_owned(), PatientPoint([-120.0, 0.0, 0.0])),
            ("psis-left".to_owned(), PatientPoint([45.0, 140.0, 0.0])),
            ("psis-right".to_owned(), PatientPoint([-45.0, 140.0, 0.0])),
        ]);
        let isb = frames::isb(&points).expect("all points");
        for side in Side::ALL {
            let planned = Planned {
                side,
                centre: PatientPoint([0.0; 3]),
                axis: Direction::SUPERIOR,
                laid: None,
            };
            let found = regressions(&points, &isb, planned);
            let rows =
                [("Bell 1990", [86.4, -45.6, -72.0]), ("Harrington 2007", [86.5, -43.5, -82.9])];
            for (found, (name, parts)) in found.iter().zip(rows) {
                assert_eq!(found.name, name);
                let got = isb.parts(found.centre - isb.origin, side);
                for axis in 0..3 {
                    assert!((got[axis] - parts[axis]).abs() < 0.05, "{name} {got:?}");
                }
            }
        }
    }
}
