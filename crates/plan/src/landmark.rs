//! Named points of the patient, and the two sides.

use pilothole_volume::PatientPoint;

/// A side of the patient, never of the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// The patient's left.
    Left,
    /// The patient's right.
    Right,
}

impl Side {
    /// Both, left first.
    pub const ALL: [Self; 2] = [Self::Left, Self::Right];

    /// The other side.
    #[must_use]
    pub fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }

    /// The word in files: `left` or `right`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }

    /// The side of a word in files.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|side| side.word() == word)
    }
}

/// Which bony point, on either side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum LandmarkKind {
    /// Anterior superior iliac spine.
    Asis,
    /// Posterior superior iliac spine.
    Psis,
    /// Most anterior point of the pubic tubercle.
    PubicTubercle,
    /// Centre of the femoral head or of the healthy socket.
    HipCentre,
    /// Apex of the lesser trochanter.
    LesserTrochanter,
    /// Lowest point of the acetabular notch, the teardrop of a radiograph.
    Teardrop,
    /// Lowest point of the ischial tuberosity.
    IschialTuberosity,
}

impl LandmarkKind {
    /// All, in the order of the plan file's documentation.
    pub const ALL: [Self; 7] = [
        Self::Asis,
        Self::Psis,
        Self::PubicTubercle,
        Self::HipCentre,
        Self::LesserTrochanter,
        Self::Teardrop,
        Self::IschialTuberosity,
    ];

    /// The word in files, without the side.
    pub fn word(self) -> &'static str {
        match self {
            Self::Asis => "asis",
            Self::Psis => "psis",
            Self::PubicTubercle => "pubic-tubercle",
            Self::HipCentre => "hip-centre",
            Self::LesserTrochanter => "lesser-trochanter",
            Self::Teardrop => "teardrop",
            Self::IschialTuberosity => "ischial-tuberosity",
        }
    }
}

/// The name of a landmark: which point, and which side's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct LandmarkName {
    /// Which point.
    pub kind: LandmarkKind,
    /// Whose.
    pub side: Side,
}

impl LandmarkName {
    /// All names, point by point, left first.
    pub fn all() -> impl Iterator<Item = Self> {
        LandmarkKind::ALL
            .into_iter()
            .flat_map(|kind| Side::ALL.into_iter().map(move |side| Self { kind, side }))
    }

    /// The word in files, such as `asis-left`.
    pub fn word(self) -> String {
        format!("{}-{}", self.kind.word(), self.side.word())
    }

    /// The name of a word in files.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::all().find(|name| name.word() == word)
    }
}

/// A named point of the patient.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Landmark {
    /// Which.
    pub name: LandmarkName,
    /// Where, mm, LPS.
    pub at: PatientPoint,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_is_read_back() {
        assert_eq!(LandmarkName::all().count(), 14);
        for name in LandmarkName::all() {
            assert_eq!(LandmarkName::from_word(&name.word()), Some(name));
        }
        assert_eq!(LandmarkName::from_word("asis"), None);
    }
}
