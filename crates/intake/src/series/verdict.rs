//! What a series is good for.

use crate::reason::Reason;

/// A use of a series.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Hounsfield units along a screw path.
    HuAlongPath,
    /// A surface of the bone.
    Surface,
    /// A first look at where bone is.
    Screening,
}

impl Purpose {
    /// All of them, in the order in which they are shown.
    pub const ALL: [Self; 3] = [Self::HuAlongPath, Self::Surface, Self::Screening];

    /// The purpose in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::HuAlongPath => "HU along a path",
            Self::Surface => "surface",
            Self::Screening => "screening",
        }
    }

    /// Findings that reserve this purpose.
    fn reserved_by(self, code: &str) -> bool {
        let both = matches!(
            code,
            "geometry.uneven"
                | "geometry.between"
                | "geometry.sideways"
                | "voxel.coarse"
                | "pixels.lossy"
                | "contrast.present"
                | "scan.reformatted"
                | "scan.damaged_file"
                | "scan.provenance"
        );
        let values = matches!(
            code,
            "kernel.sharp" | "kvp.unknown" | "pixels.saturated" | "units.multi_energy"
        );
        match self {
            Self::HuAlongPath => both || values || code == "units.air",
            Self::Surface => both || code == "units.air",
            Self::Screening => matches!(code, "units.air" | "scan.damaged_file"),
        }
    }
}

/// Whether a series serves a purpose.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// Without reservation.
    Usable,
    /// With these reservations.
    Reserved(Vec<Reason>),
    /// Not, for these reasons.
    Refused(Vec<Reason>),
}

/// The verdict for each purpose.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdicts {
    /// For Hounsfield units along a screw path.
    pub hu_along_path: Verdict,
    /// For a surface of the bone.
    pub surface: Verdict,
    /// For a first look.
    pub screening: Verdict,
}

/// Largest voxel edge from which a surface is made, mm: beyond, the walls of
/// the acetabulum fall between slices.
const SURFACE_COARSE_MM: f64 = 5.0;

impl Verdicts {
    /// Judge all purposes by the reasons and findings of a series.
    pub(crate) fn new(refusals: &[Reason], findings: &[Reason]) -> Self {
        let verdict = |purpose: Purpose| {
            if !refusals.is_empty() {
                return Verdict::Refused(refusals.to_vec());
            }
            let reserved: Vec<Reason> =
                findings.iter().filter(|f| purpose.reserved_by(f.code)).cloned().collect();
            if reserved.is_empty() { Verdict::Usable } else { Verdict::Reserved(reserved) }
        };
        let mut surface = verdict(Purpose::Surface);
        let coarse = findings.iter().find(|f| {
            f.code == "voxel.coarse" && f.measured.is_some_and(|mm| mm > SURFACE_COARSE_MM)
        });
        if let (Some(coarse), true) = (coarse, refusals.is_empty()) {
            surface =
                Verdict::Refused(vec![Reason { limit: Some(SURFACE_COARSE_MM), ..coarse.clone() }]);
        }
        Self {
            hu_along_path: verdict(Purpose::HuAlongPath),
            surface,
            screening: verdict(Purpose::Screening),
        }
    }

    /// The verdict for one purpose.
    pub fn of(&self, purpose: Purpose) -> &Verdict {
        match purpose {
            Purpose::HuAlongPath => &self.hu_along_path,
            Purpose::Surface => &self.surface,
            Purpose::Screening => &self.screening,
        }
    }
}
