//! What one lattice line passes: bone, a wall, a dip, a wall, and bone again.

use super::{DARK_SHARE, WALL_HU, WIDEST_MM};
use crate::gathered::Gathered;
use crate::patch::Patch;

/// How much longer a lattice line is than the way across a sheet, at most:
/// across one that faces all three axes alike.
const SLANT: f64 = 1.732_050_8;
/// Bone behind a wall, mm along a lattice line: more than the outer slope of a
/// blurred wall. Own choice, no source.
const BEHIND_MM: f64 = 3.0;

/// The limits of lengths in voxels along an axis.
pub(super) struct Limits {
    behind: usize,
    widest: usize,
}

impl Limits {
    pub(super) fn of(spacing_mm: f64) -> Self {
        Self {
            behind: (BEHIND_MM / spacing_mm).ceil() as usize,
            widest: (SLANT * WIDEST_MM / spacing_mm).round().max(1.0) as usize,
        }
    }
}

/// What was passed along one lattice line, within one label.
#[derive(Clone, Copy, Default)]
pub(super) struct Line {
    label: u8,
    phase: Phase,
    /// Voxels of the stretch at work.
    length: usize,
    /// Peaks of the walls before and after the dip, HU.
    peaks: [f32; 2],
    /// Voxels and least HU of the dip.
    dip: usize,
    least_hu: f32,
    /// Voxels of the second wall.
    wall: usize,
    /// Least HU behind it.
    behind_hu: f32,
}

#[derive(Clone, Copy, Default, PartialEq, Eq)]
enum Phase {
    /// Below the walls' level, without a wall that counts before.
    #[default]
    Low,
    /// In a wall with nothing behind.
    BareWall,
    /// In a wall with bone behind.
    Wall,
    /// Beyond it.
    Dip,
    /// In the wall after.
    SecondWall,
    /// Beyond that.
    Behind,
}

/// A gap along a line: how many voxels back it begins and ends, and the HU
/// below which its voxels are dark.
pub(super) struct Passed {
    from: usize,
    to: usize,
    below_hu: f32,
}

impl Passed {
    /// Mark its dark voxels; `at` is where the line is.
    pub(super) fn mark(&self, patch: &Patch<'_>, at: usize, stride: usize, dark: &Gathered) {
        let all = (self.from..self.to).map(|back| at - back * stride);
        all.filter(|at| patch.hu.at(*at) < self.below_hu).for_each(|at| dark.add(at));
    }
}

impl Line {
    /// Pass one voxel; says when a gap was passed.
    #[inline]
    pub(super) fn pass(&mut self, label: u8, hu: i16, limits: &Limits) -> Option<Passed> {
        if label == 0 {
            self.label = 0;
            return None;
        }
        if label != self.label {
            *self = Self { label, ..Self::default() };
        }
        self.pass_bone(f32::from(hu), limits)
    }

    fn pass_bone(&mut self, hu: f32, limits: &Limits) -> Option<Passed> {
        let wall = match self.phase {
            // A wall goes on down to the dark share of its peak, and a dip up to
            // where it is the dark share of what follows.
            Phase::Wall => hu >= DARK_SHARE * self.peaks[0],
            Phase::SecondWall => hu >= DARK_SHARE * self.peaks[1],
            Phase::Dip => hu >= WALL_HU && DARK_SHARE * hu > self.least_hu,
            Phase::Behind => hu >= WALL_HU && DARK_SHARE * hu > self.behind_hu,
            _ => hu >= WALL_HU,
        };
        match (self.phase, wall) {
            (Phase::Low, false) | (Phase::BareWall, true) => self.length += 1,
            (Phase::Low, true) => {
                let backed = self.length >= limits.behind;
                self.phase = if backed { Phase::Wall } else { Phase::BareWall };
                self.peaks[0] = hu;
            }
            (Phase::BareWall, false) => self.low(1),
            (Phase::Wall, true) => self.peaks[0] = self.peaks[0].max(hu),
            (Phase::Wall, false) => {
                (self.phase, self.dip, self.least_hu) = (Phase::Dip, 1, hu);
            }
            (Phase::Dip, false) => {
                self.dip += 1;
                self.least_hu = self.least_hu.min(hu);
                if self.dip > limits.widest {
                    self.low(self.dip);
                }
            }
            (Phase::Dip, true) => {
                (self.phase, self.wall, self.peaks[1]) = (Phase::SecondWall, 1, hu);
            }
            (Phase::SecondWall, true) => {
                self.wall += 1;
                self.peaks[1] = self.peaks[1].max(hu);
            }
            (Phase::SecondWall, false) => {
                (self.phase, self.length, self.behind_hu) = (Phase::Behind, 1, hu);
                return self.passed(limits);
            }
            (Phase::Behind, false) => {
                self.length += 1;
                self.behind_hu = self.behind_hu.min(hu);
                return self.passed(limits);
            }
            (Phase::Behind, true) => {
                // What was behind is a dip now, behind a wall that a dip backs.
                self.phase =
                    if self.dip >= limits.behind { Phase::SecondWall } else { Phase::BareWall };
                if self.phase == Phase::SecondWall {
                    self.peaks = [self.peaks[1], hu];
                    (self.dip, self.least_hu, self.wall) = (self.length, self.behind_hu, 1);
                }
            }
        }
        None
    }

    /// Below the walls' level for some voxels.
    fn low(&mut self, length: usize) {
        (self.phase, self.length) = (Phase::Low, length);
    }

    /// The gap behind, once there is bone enough beyond its second wall.
    fn passed(&mut self, limits: &Limits) -> Option<Passed> {
        if self.length < limits.behind {
            return None;
        }
        let below_hu = DARK_SHARE * self.peaks[0].min(self.peaks[1]);
        let from = self.length + self.wall;
        let gap = Passed { from, to: from + self.dip, below_hu };
        let is_dark = self.least_hu < below_hu;
        self.low(self.length);
        is_dark.then_some(gap)
    }
}
