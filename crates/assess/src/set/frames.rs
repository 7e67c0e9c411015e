//! Pelvic frames from landmarks, and the socket's orientation in them.

use pilothole_plan::{LandmarkKind, Plan, Side};
use pilothole_volume::{Direction, Offset, PatientPoint};

use super::types::PelvicFrame;

/// The points that frames and reconstruction are made from; each may be
/// wanting.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Points {
    /// Word of the landmark in files, and where it lies.
    named: Vec<(String, PatientPoint)>,
}

impl Points {
    /// The landmarks of a plan.
    pub fn of_plan(plan: &Plan) -> Self {
        Self { named: plan.landmarks.iter().map(|l| (l.name.word(), l.at)).collect() }
    }

    /// Points by the words of their landmarks in files.
    pub fn named(points: impl IntoIterator<Item = (String, PatientPoint)>) -> Self {
        Self { named: points.into_iter().collect() }
    }

    /// A landmark of a kind, such as `asis`, on a side.
    pub fn get(&self, kind: &str, side: Side) -> Option<PatientPoint> {
        let word = format!("{kind}-{}", side.word());
        self.named.iter().find(|(name, _)| *name == word).map(|(_, at)| *at)
    }

    /// Left and right of a kind.
    pub fn pair(&self, kind: &str) -> Option<[PatientPoint; 2]> {
        Some([self.get(kind, Side::Left)?, self.get(kind, Side::Right)?])
    }

    /// Number of points.
    pub fn count(&self) -> usize {
        self.named.len()
    }

    /// The same points with one moved.
    #[must_use]
    pub fn moved(&self, index: usize, by: Offset) -> Self {
        let mut moved = self.clone();
        moved.named[index].1 = moved.named[index].1 + by;
        moved
    }
}

/// Words in files of the landmarks of a kind that are wanting.
pub fn wanting(points: &Points, kinds: &[&str], sides: &[Side]) -> Vec<String> {
    kinds
        .iter()
        .flat_map(|kind| sides.iter().map(move |side| (*kind, *side)))
        .filter(|(kind, side)| points.get(kind, *side).is_none())
        .map(|(kind, side)| format!("{kind}-{}", side.word()))
        .collect()
}

/// Word of a landmark kind in files.
pub fn word(kind: LandmarkKind) -> &'static str {
    kind.word()
}

/// The anterior pelvic plane: both anterior superior iliac spines and the
/// midpoint of the pubic tubercles.
///
/// # References
///
/// Axes as quoted in a public source (confirmed by a second source, sheet 2
/// §4.3): across along the spines, forwards normal to the plane.
pub fn app(points: &Points) -> Option<PelvicFrame> {
    let [left, right] = points.pair(word(LandmarkKind::Asis))?;
    let [pubis_left, pubis_right] = points.pair(word(LandmarkKind::PubicTubercle))?;
    let origin = middle(left, right);
    let up = origin - middle(pubis_left, pubis_right);
    frame(origin, right - left, up.cross(right - left))
}

/// The frame of the International Society of Biomechanics: across along the
/// anterior superior iliac spines, forwards in their plane with the midpoint
/// of the posterior ones.
///
/// # References
///
/// Wu G 2002 J Biomech 35:543 (confirmed by a second source, sheet 2 §4.3).
pub fn isb(points: &Points) -> Option<PelvicFrame> {
    let [left, right] = points.pair(word(LandmarkKind::Asis))?;
    let [back_left, back_right] = points.pair(word(LandmarkKind::Psis))?;
    let origin = middle(left, right);
    frame(origin, right - left, origin - middle(back_left, back_right))
}

/// A frame with its origin, its axis to the right, and forwards across it.
fn frame(origin: PatientPoint, to_right: Offset, forwards: Offset) -> Option<PelvicFrame> {
    let right = Direction::along(to_right)?;
    let anterior = Direction::along(forwards - right * forwards.dot(right.offset()))?;
    let superior = Direction::along(right.offset().cross(anterior.offset()))?;
    Some(PelvicFrame { origin, right, anterior, superior })
}

/// The scanner's axes as a pelvic frame: a patient who lies straight.
pub fn scanner(origin: PatientPoint) -> PelvicFrame {
    PelvicFrame {
        origin,
        right: -Direction::LEFT,
        anterior: -Direction::POSTERIOR,
        superior: Direction::SUPERIOR,
    }
}

impl PelvicFrame {
    /// Away from the midline, on a side.
    pub fn lateral(&self, side: Side) -> Direction {
        match side {
            Side::Left => -self.right,
            Side::Right => self.right,
        }
    }

    /// An offset's parts: away from the midline of `side`, forwards,
    /// headwards, mm.
    pub fn parts(&self, offset: Offset, side: Side) -> [f64; 3] {
        [self.lateral(side), self.anterior, self.superior].map(|axis| offset.dot(axis.offset()))
    }
}

/// The point halfway.
pub fn middle(a: PatientPoint, b: PatientPoint) -> PatientPoint {
    a + (b - a) * 0.5
}

/// Inclination and anteversion, rad, in Murray's three definitions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Murray {
    /// As seen on a radiograph.
    pub radiographic: [f64; 2],
    /// As set in the operation.
    pub operative: [f64; 2],
    /// As the anatomist measures it.
    pub anatomical: [f64; 2],
}

/// The orientation of an axis out of a socket's mouth.
///
/// - `parts`: of the unit axis: away from the midline, forwards, headwards.
///
/// # References
///
/// Murray DW 1993 J Bone Joint Surg Br 75:228, doi
/// 10.1302/0301-620X.75B2.8444942 (abstract confirmed; formulas derived).
pub fn murray([lateral, anterior, superior]: [f64; 3]) -> Murray {
    let caudal = -superior;
    let asin = |x: f64| x.clamp(-1.0, 1.0).asin();
    Murray {
        radiographic: [lateral.atan2(caudal), asin(anterior)],
        operative: [asin(lateral), anterior.atan2(caudal)],
        anatomical: [caudal.clamp(-1.0, 1.0).acos(), anterior.atan2(lateral)],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The axis with a radiographic inclination and anteversion, degrees.
    fn axis(inclination: f64, anteversion: f64) -> [f64; 3] {
        let (si, ci) = inclination.to_radians().sin_cos();
        let (sa, ca) = anteversion.to_radians().sin_cos();
        [si * ca, sa, -ci * ca]
    }

    #[test]
    fn murrays_angles_come_out() {
        // Derived from Murray 1993, first sheet §6.1: RI, RA, OI, OA, AI, AA, degrees.
        let rows = [
            [40.0, 15.0, 38.3808, 19.2790, 42.2735, 22.6291],
            [45.0, 20.0, 41.6411, 27.2363, 48.3589, 27.2363],
            [30.0, 5.0, 29.8742, 5.7686, 30.3755, 9.9250],
            [50.0, 25.0, 43.9692, 35.9589, 54.3690, 31.3298],
        ];
        for [ri, ra, oi, oa, ai, aa] in rows {
            let found = murray(axis(ri, ra));
            let pairs = [(found.radiographic, [ri, ra]), (found.operative, [oi, oa])];
            for (got, want) in pairs.into_iter().chain([(found.anatomical, [ai, aa])]) {
                for part in 0..2 {
                    assert!((got[part].to_degrees() - want[part]).abs() < 5e-5, "{got:?} {want:?}");
                }
            }
        }
    }

    #[test]
    fn murrays_definitions_hang_together() {
        for ri in (5..85).step_by(7) {
            for ra in (0..60).step_by(6) {
                let (i, a) = (f64::from(ri).to_radians(), f64::from(ra).to_radians());
                let found = murray(axis(f64::from(ri), f64::from(ra)));
                let ([oi, oa], [ai, aa]) = (found.operative, found.anatomical);
                assert!((oi.sin() - i.sin() * a.cos()).abs() < 1e-12);
                assert!((oa.tan() - a.tan() / i.cos()).abs() < 1e-9);
                assert!((ai.cos() - i.cos() * a.cos()).abs() < 1e-12);
                assert!((aa.tan() - a.tan() / i.sin()).abs() < 1e-9);
                assert!(oi <= i + 1e-12 && i <= ai + 1e-12);
                assert!(a <= oa + 1e-12 && a <= aa + 1e-12);
            }
        }
    }

    #[test]
    fn pelvic_tilt_moves_the_angles_as_derived() {
        // Axis RI 40, RA 15; posterior tilt, RI, RA in degrees; derived, second
        // sheet §4.3 beside Pierrepont 2017.
        let rows = [
            (-10.0, 38.749, 7.261),
            (-5.5, 39.198, 10.761),
            (5.5, 41.100, 19.181),
            (10.0, 42.241, 22.543),
        ];
        let [lateral, anterior, superior] = axis(40.0, 15.0);
        for (tilt, ri, ra) in rows {
            let (s, c) = f64::to_radians(tilt).sin_cos();
            let caudal = -superior;
            let turned = [lateral, caudal * s + anterior * c, -(caudal * c - anterior * s)];
            let [got_ri, got_ra] = murray(turned).radiographic.map(f64::to_degrees);
            assert!((got_ri - ri).abs() < 5e-4 && (got_ra - ra).abs() < 5e-4, "{got_ri} {got_ra}");
        }
    }

    // Wu G 2002, as quoted in sheet 2 §4.3: across along the ASIS line to the
    // right; forwards in the plane of both ASIS and the middle of the PSIS,
    // square to it; headwards square to both. Found here without `frame`.
    #[test]
    fn the_isb_frame_is_that_of_its_definition() {
        let at = [
            ("asis-left", [118.0, -84.0, 97.0]),
            ("asis-right", [-121.0, -79.0, 88.0]),
            ("psis-left", [41.0, 78.0, 103.0]),
            ("psis-right", [-47.0, 81.0, 94.0]),
        ];
        let points = Points::named(at.map(|(name, at)| (name.to_owned(), PatientPoint(at))));
        let isb = isb(&points).expect("all points");
        let [left, right, back_left, back_right] = at.map(|(_, at)| PatientPoint(at));
        let back = middle(back_left, back_right);
        let across = right - left;
        assert!((across.dot(isb.right.offset()) - across.length_mm()).abs() < 1e-9);
        for plane_point in [left, right, back] {
            assert!((plane_point - isb.origin).dot(isb.superior.offset()).abs() < 1e-9);
        }
        assert!(isb.anterior.dot(isb.right).abs() < 1e-12);
        assert!(isb.superior.dot(isb.right).abs() < 1e-12);
        assert!(isb.superior.dot(isb.anterior).abs() < 1e-12);
        assert!((back - isb.origin).dot(isb.anterior.offset()) < 0.0, "the PSIS lie behind");
        assert!(isb.superior.dot(Direction::SUPERIOR) > 0.9);
        assert_eq!(isb.origin, middle(left, right));
    }

    #[test]
    fn frames_are_right_handed_and_point_the_right_way() {
        let points = Points::named([
            ("asis-left".to_owned(), PatientPoint([120.0, -80.0, 90.0])),
            ("asis-right".to_owned(), PatientPoint([-118.0, -82.0, 92.0])),
            ("pubic-tubercle-left".to_owned(), PatientPoint([25.0, -95.0, -5.0])),
            ("pubic-tubercle-right".to_owned(), PatientPoint([-24.0, -94.0, -6.0])),
            ("psis-left".to_owned(), PatientPoint([45.0, 75.0, 85.0])),
            ("psis-right".to_owned(), PatientPoint([-44.0, 76.0, 86.0])),
        ]);
        for frame in [app(&points), isb(&points)].map(|f| f.expect("all points")) {
            assert!(frame.right.dot(-Direction::LEFT) > 0.99);
            assert!(frame.anterior.dot(-Direction::POSTERIOR) > 0.9);
            assert!(frame.superior.dot(Direction::SUPERIOR) > 0.9);
            let volume = frame.right.offset().cross(frame.anterior.offset());
            assert!((volume.dot(frame.superior.offset()) - 1.0).abs() < 1e-12);
        }
    }
}
