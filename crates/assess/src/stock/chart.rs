//! Charts, and what each of their directions holds.

use std::f64::consts::TAU;

use pilothole_volume::{Direction, PatientPoint};

use super::sphere::Ring;
use crate::finding::Finding;
use crate::hole::Beyond;

/// What a direction should be hatched for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dangers(u8);

impl Dangers {
    /// The axis meets no bone.
    pub const NO_BONE: Self = Self(1);
    /// The wall is thin, and the patient's middle lies behind it.
    pub const THIN_MEDIAL_WALL: Self = Self(2);
    /// The scan ends before the bone does.
    pub const LEAVES_SCAN: Self = Self(4);
    /// No stocked length is safe.
    pub const NO_LENGTH: Self = Self(8);
    /// Less bone beside the thread than the plan's side margin.
    pub const SIDE_WALL: Self = Self(16);

    const WORDS: [(Self, &'static str); 5] = [
        (Self::NO_BONE, "no-bone"),
        (Self::THIN_MEDIAL_WALL, "thin-medial-wall"),
        (Self::LEAVES_SCAN, "leaves-scan"),
        (Self::NO_LENGTH, "no-length"),
        (Self::SIDE_WALL, "side-wall"),
    ];

    /// These and others.
    #[must_use]
    pub(crate) fn and(self, other: Self, when: bool) -> Self {
        if when { Self(self.0 | other.0) } else { self }
    }

    /// Whether all of some dangers are among these.
    pub fn has(self, of: Self) -> bool {
        self.0 & of.0 == of.0
    }

    /// Whether there is none.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// As a number, one bit a danger, for tables.
    pub fn bits(self) -> u8 {
        self.0
    }

    /// Their words, in order of the bits.
    pub fn words(self) -> impl Iterator<Item = &'static str> {
        Self::WORDS.into_iter().filter(move |(danger, _)| self.has(*danger)).map(|(_, word)| word)
    }
}

/// One direction from one seat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StockCell {
    /// Seat of the screw.
    pub seat: PatientPoint,
    /// Direction into bone.
    pub direction: Direction,
    /// The bone entered.
    pub bone: Option<u8>,
    /// First entry into bone, mm from the seat.
    pub near_mm: Option<f64>,
    /// First exit, mm from the seat.
    pub far_mm: Option<f64>,
    /// Of the bone on the axis, in the two walls, mm; `None` where the thickness
    /// of one is not known.
    pub cortical_mm: Option<f64>,
    /// Between the walls, mm; `None` likewise.
    pub cancellous_mm: Option<f64>,
    /// The chosen screw's recommended length, mm.
    pub length_mm: Option<f64>,
    /// Thread in bone at that length, mm.
    pub purchase_mm: f64,
    /// Least bone beside the screw of that length, mm; negative where it breaks
    /// out.
    pub side_wall_mm: Option<f64>,
    /// Mean over that thread, HU.
    pub thread_hu: Option<f64>,
    /// Pull-out of that thread, middle estimate, N.
    pub pullout_n: Option<f64>,
    /// What lies past the tip (the far end where there is no length).
    pub beyond: Beyond,
    /// What it should be hatched for.
    pub dangers: Dangers,
}

impl StockCell {
    /// Bone on the axis from first entry to first exit, mm.
    pub fn depth_mm(&self) -> Option<f64> {
        Some(self.far_mm? - self.near_mm?)
    }
}

/// From where a chart looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StockOrigin {
    /// From the socket's centre; each direction's seat is where it leaves the
    /// socket's outer surface.
    Centre,
    /// From a seat on the socket's outer surface; counted in the grid.
    Socket(usize),
    /// From a seat on a patch of the plan; patch, then seat.
    Patch(usize, usize),
}

impl StockOrigin {
    /// Name in tables.
    pub fn name(self) -> String {
        match self {
            Self::Centre => "centre".to_owned(),
            Self::Socket(seat) => format!("socket-{}", seat + 1),
            Self::Patch(patch, seat) => format!("patch-{}-{}", patch + 1, seat + 1),
        }
    }
}

/// Every direction of a cone.
#[derive(Clone, Debug, PartialEq)]
pub struct StockChart {
    /// From where.
    pub origin: StockOrigin,
    /// The cone's axis; azimuths count in its frame of `Direction::across`.
    pub pole: Direction,
    /// The rings of directions, from the pole out.
    pub rings: Vec<Ring>,
    /// The directions, ring by ring.
    pub cells: Vec<StockCell>,
}

impl StockChart {
    /// The cell whose direction is nearest; `None` past the chart's edge.
    pub fn nearest(&self, direction: Direction) -> Option<&StockCell> {
        let polar = self.pole.angle_rad(direction);
        let (u, v) = self.pole.across();
        let azimuth = direction.dot(v).atan2(direction.dot(u)).rem_euclid(TAU);
        let edge = self.rings.last()?;
        let bands = self.rings.len() - 1;
        let step = if bands == 0 { 0.0 } else { edge.polar_rad / bands as f64 };
        if polar > edge.polar_rad + 0.5 * step {
            return None;
        }
        let band = if bands == 0 { 0.0 } else { polar / step };
        let near = [band.floor() as usize, band.ceil() as usize];
        near.into_iter()
            .filter_map(|band| {
                let ring = self.rings.get(band.min(bands))?;
                let within = (azimuth / TAU * ring.count as f64).round() as usize % ring.count;
                self.cells.get(ring.first + within)
            })
            .min_by(|a, b| {
                a.direction.angle_rad(direction).total_cmp(&b.direction.angle_rad(direction))
            })
    }

    /// Ring and azimuth, rad, of a cell.
    pub fn place_of(&self, cell: usize) -> Option<(&Ring, f64)> {
        let ring = self.rings.iter().rev().find(|ring| ring.first <= cell)?;
        Some((ring, ring.azimuth_rad(cell - ring.first)))
    }
}

/// The bone around a socket.
#[derive(Clone, Debug, PartialEq)]
pub struct Stock {
    /// Name of the chosen screw.
    pub screw: String,
    /// The charts: from the centre, from the socket's seats, from patches.
    pub charts: Vec<StockChart>,
    /// Reservations.
    pub findings: Vec<Finding>,
}

impl Stock {
    /// The chart from the socket's centre, where there is one.
    pub fn from_centre(&self) -> Option<&StockChart> {
        self.charts.iter().find(|chart| chart.origin == StockOrigin::Centre)
    }
}
