//! From where the set is looked at.

use pilothole_plan::{Plan, Side};
use pilothole_volume::{Direction, Offset, PatientPoint};

/// A view by its anatomical name: where the eye is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum View {
    /// In front of the patient.
    Anterior,
    /// Behind.
    Posterior,
    /// Outside the operated side.
    Lateral,
    /// Inside, looking outwards.
    Medial,
    /// Above the head.
    Superior,
    /// Below the feet.
    Inferior,
    /// Before the socket's mouth.
    Mouth,
}

impl View {
    /// All, in the order of the page's buttons.
    pub(crate) const ALL: [Self; 7] = [
        Self::Mouth,
        Self::Anterior,
        Self::Posterior,
        Self::Lateral,
        Self::Medial,
        Self::Superior,
        Self::Inferior,
    ];

    /// The word in the page.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Anterior => "anterior",
            Self::Posterior => "posterior",
            Self::Lateral => "lateral",
            Self::Medial => "medial",
            Self::Superior => "superior",
            Self::Inferior => "inferior",
            Self::Mouth => "into the socket",
        }
    }

    /// The same for a button, with a capital.
    pub(crate) fn title(self) -> &'static str {
        match self {
            Self::Anterior => "Anterior",
            Self::Posterior => "Posterior",
            Self::Lateral => "Lateral",
            Self::Medial => "Medial",
            Self::Superior => "Superior",
            Self::Inferior => "Inferior",
            Self::Mouth => "Into the socket",
        }
    }
}

/// An eye infinitely far away: right, up, and towards the eye.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Camera {
    pub(crate) right: Direction,
    pub(crate) up: Direction,
    pub(crate) toward: Direction,
    pub(crate) centre: PatientPoint,
}

impl Camera {
    /// The camera of a view of a plan's hip.
    pub(crate) fn of(view: View, plan: &Plan) -> Self {
        let outward = match plan.side {
            Side::Left => Direction::LEFT,
            Side::Right => -Direction::LEFT,
        };
        let toward = match view {
            View::Anterior => -Direction::POSTERIOR,
            View::Posterior => Direction::POSTERIOR,
            View::Lateral => outward,
            View::Medial => -outward,
            View::Superior => Direction::SUPERIOR,
            View::Inferior => -Direction::SUPERIOR,
            View::Mouth => plan.socket.axis,
        };
        let wanted = match view {
            View::Superior | View::Inferior => -Direction::POSTERIOR,
            _ => Direction::SUPERIOR,
        };
        let along = toward.offset() * wanted.dot(toward);
        let level = Offset([0, 1, 2].map(|i| wanted.components()[i] - along.0[i]));
        let up = Direction::along(level).unwrap_or_else(|| toward.across().0);
        let right = Direction::along(up.offset().cross(toward.offset()))
            .unwrap_or_else(|| toward.across().1);
        Self { right, up, toward, centre: plan.socket.centre }
    }

    /// Right, up and towards the eye, mm from the centre.
    pub(crate) fn project(&self, at: PatientPoint) -> [f64; 3] {
        let offset = at - self.centre;
        [self.right, self.up, self.toward].map(|axis| axis.offset().dot(offset))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pilothole_plan::Format;

    fn plan(side: &str) -> Plan {
        let text = format!(
            "schema = \"pilothole/plan/1\"\nside = \"{side}\"\ncoordinates = \"LPS\"\n[socket]\n\
             centre_mm = [0.0, 0.0, 0.0]\naxis = [0.6, 0.0, -0.8]\nouter_diameter_mm = 54.0\n"
        );
        Plan::parse(&text, Format::Toml).expect("sound")
    }

    #[test]
    fn seen_from_the_front_the_patients_left_is_on_the_right() {
        let camera = Camera::of(View::Anterior, &plan("left"));
        let [x, y, _] = camera.project(PatientPoint([10.0, 0.0, 5.0]));
        assert!(x > 9.9 && y > 4.9);
    }

    #[test]
    fn lateral_is_outside_on_both_sides() {
        for (side, sign) in [("left", 1.0), ("right", -1.0)] {
            let camera = Camera::of(View::Lateral, &plan(side));
            assert!(camera.project(PatientPoint([sign * 10.0, 0.0, 0.0]))[2] > 9.9);
            // Anterior is on the viewer's right of a right hip seen from its right.
            let anterior = camera.project(PatientPoint([0.0, -10.0, 0.0]))[0];
            assert!((anterior + 10.0 * sign).abs() < 1e-9);
        }
    }

    #[test]
    fn every_view_is_a_right_handed_frame() {
        for view in View::ALL {
            let c = Camera::of(view, &plan("right"));
            let closes = c.right.offset().cross(c.up.offset()).dot(c.toward.offset());
            assert!((closes - 1.0).abs() < 1e-12, "{view:?}");
        }
    }
}
