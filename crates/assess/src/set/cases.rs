//! Load cases: the hip's force on the socket in a pelvic frame.

use nalgebra::Vector3;

/// The frame a case is given in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CaseFrame {
    /// The anterior pelvic plane, taken vertical.
    App,
    /// The frame of the International Society of Biomechanics.
    Isb,
}

/// A hip force, in percent of body weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoadCase {
    /// Its name.
    pub name: &'static str,
    /// Forwards.
    pub anterior: f64,
    /// Headwards.
    pub superior: f64,
    /// Towards the midline.
    pub medial: f64,
    /// In which frame.
    pub frame: CaseFrame,
    /// Whether it is an accident and stands apart.
    pub outlier: bool,
}

/// The cases.
///
/// # References
///
/// Forces measured in ten hips (Bergmann 2016, confirmed by a second source)
/// and turned into the pelvis with children's gait angles (Schwartz 2008,
/// confirmed by a second source): derived, not published, with a spread of 13
/// to 62 percent of body weight an axis. Rising is at 70° of hip flexion. The
/// stumble is the 870 % of Bergmann 1993 (confirmed) along one-leg stance.
pub const CASES: [LoadCase; 5] = [
    LoadCase {
        name: "walking, first peak",
        anterior: -57.0,
        superior: 239.0,
        medial: 25.0,
        frame: CaseFrame::App,
        outlier: false,
    },
    LoadCase {
        name: "walking, second peak",
        anterior: 86.0,
        superior: 227.0,
        medial: 44.0,
        frame: CaseFrame::App,
        outlier: false,
    },
    LoadCase {
        name: "standing on one leg",
        anterior: 2.0,
        superior: 259.0,
        medial: 27.0,
        frame: CaseFrame::App,
        outlier: false,
    },
    LoadCase {
        name: "rising from a chair",
        anterior: -186.0,
        superior: 80.0,
        medial: 69.0,
        frame: CaseFrame::Isb,
        outlier: false,
    },
    LoadCase {
        name: "stumbling",
        anterior: 2.0 * STUMBLE,
        superior: 259.0 * STUMBLE,
        medial: 27.0 * STUMBLE,
        frame: CaseFrame::App,
        outlier: true,
    },
];

/// From one-leg stance, 260.41 % of body weight, to 870 %.
const STUMBLE: f64 = 3.340_869_961_222_213_5;

/// Standard gravity, m/s².
pub const GRAVITY: f64 = 9.806_65;

/// Axes in which a case's three parts are given, as columns: forwards,
/// headwards, towards the midline.
pub type CaseAxes = nalgebra::Matrix3<f64>;

impl LoadCase {
    /// The force, N.
    ///
    /// - `tilt_rad`: turn of the force about the axis across the pelvis, from
    ///   headwards to forwards: what a pelvis tilted backwards by that much
    ///   feels.
    pub fn force_n(&self, axes: &CaseAxes, body_mass_kg: f64, tilt_rad: f64) -> Vector3<f64> {
        let (sin, cos) = tilt_rad.sin_cos();
        let anterior = self.anterior * cos + self.superior * sin;
        let superior = self.superior * cos - self.anterior * sin;
        let newtons = body_mass_kg * GRAVITY * 0.01;
        axes * Vector3::new(anterior, superior, self.medial) * newtons
    }
}
