//! Solids with materials: what is at a point, and along a ray.

use pilothole_volume::{Direction, PatientPoint};

use crate::intervals::Intervals;
use crate::pose::Pose;
use crate::solid::{Distance, Solid};

/// What a part is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tissue {
    /// Air, and everything that was not painted.
    Air,
    /// Fat, skin.
    Fat,
    /// Muscle, vessels, organs.
    Muscle,
    /// Cortical bone.
    Cortical,
    /// Cancellous bone, and marrow of any density.
    Cancellous,
    /// A cavity that bone encloses.
    Void,
    /// Bone cement.
    Cement,
    /// Metal.
    Metal,
    /// A density insert or another made material outside bone.
    Insert,
}

impl Tissue {
    /// Whether it lies inside the outer surface of a bone.
    pub fn in_bone(self) -> bool {
        matches!(self, Self::Cortical | Self::Cancellous | Self::Void)
    }

    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Air => "air",
            Self::Fat => "fat",
            Self::Muscle => "muscle",
            Self::Cortical => "cortical",
            Self::Cancellous => "cancellous",
            Self::Void => "void",
            Self::Cement => "cement",
            Self::Metal => "metal",
            Self::Insert => "insert",
        }
    }
}

/// A solid with a material.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Where.
    pub solid: Solid,
    /// What.
    pub tissue: Tissue,
    /// Its Hounsfield units.
    pub hu: f64,
    /// Which bone it belongs to, from 1; 0 for none.
    pub bone: u8,
}

/// Parts in the order of painting: a later one replaces what lies under it.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// HU where nothing was painted.
    pub background_hu: f64,
    /// What was painted.
    pub parts: Vec<Part>,
}

/// A stretch of a ray through one material.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Where it begins, mm.
    pub from_mm: f64,
    /// Where it ends, mm.
    pub to_mm: f64,
    /// What.
    pub tissue: Tissue,
    /// Hounsfield units.
    pub hu: f64,
    /// Which bone, 0 for none.
    pub bone: u8,
}

impl Scene {
    /// Nothing but air.
    pub fn empty() -> Self {
        Self { background_hu: -1000.0, parts: Vec::new() }
    }

    /// Paint over what is there; `bone` counts from 1, 0 is none.
    pub fn paint(&mut self, solid: Solid, tissue: Tissue, hu: f64, bone: u8) {
        self.parts.push(Part { solid, tissue, hu, bone });
    }

    /// The part that shows at a point; `None` where nothing was painted.
    pub fn part_at(&self, at: PatientPoint) -> Option<&Part> {
        self.parts.iter().rev().find(|part| part.solid.holds(at))
    }

    /// Tissue at a point.
    pub fn tissue_at(&self, at: PatientPoint) -> Tissue {
        self.part_at(at).map_or(Tissue::Air, |part| part.tissue)
    }

    /// The materials along a ray from 0 to `length_mm`, without gaps; equal
    /// neighbours are one. Exact.
    pub fn stretches(&self, from: PatientPoint, along: Direction, length_mm: f64) -> Vec<Stretch> {
        let inside: Vec<_> =
            self.parts.iter().map(|part| part.solid.crossed_by(from, along)).collect();
        let ends = inside.iter().flat_map(Intervals::as_slice).flat_map(|(a, b)| [*a, *b]);
        let mut cuts: Vec<f64> =
            ends.filter(|t| *t > 0.0 && *t < length_mm).chain([0.0, length_mm]).collect();
        cuts.sort_by(f64::total_cmp);
        cuts.dedup();
        let mut out: Vec<Stretch> = Vec::new();
        for pair in cuts.windows(2) {
            let middle = 0.5 * (pair[0] + pair[1]);
            let top = inside.iter().rposition(|intervals| intervals.hold(middle));
            let (tissue, hu, bone) = top.map_or((Tissue::Air, self.background_hu, 0), |i| {
                let part = &self.parts[i];
                (part.tissue, part.hu, part.bone)
            });
            match out.last_mut() {
                Some(last)
                    if last.tissue == tissue
                        && last.bone == bone
                        && last.hu.to_bits() == hu.to_bits() =>
                {
                    last.to_mm = pair[1];
                }
                _ => out.push(Stretch { from_mm: pair[0], to_mm: pair[1], tissue, hu, bone }),
            }
        }
        out
    }

    /// A scene of fewer parts that is the same within `radius_mm` of a point.
    #[must_use]
    pub fn around(&self, at: PatientPoint, radius_mm: f64) -> Self {
        let mut parts = Vec::new();
        for part in self.parts.iter().rev() {
            let distance = part.solid.distance_mm(at, Distance::Bound);
            if distance <= radius_mm {
                parts.push(part.clone());
            }
            if distance < -radius_mm {
                break;
            }
        }
        parts.reverse();
        Self { background_hu: self.background_hu, parts }
    }

    /// Where a ray is inside bone, merged over materials, from 0 to `length_mm`.
    pub fn bone_along(
        &self,
        from: PatientPoint,
        along: Direction,
        length_mm: f64,
    ) -> Vec<(f64, f64)> {
        let mut out: Vec<(f64, f64)> = Vec::new();
        for stretch in self.stretches(from, along, length_mm) {
            if !stretch.tissue.in_bone() {
                continue;
            }
            match out.last_mut() {
                Some(last) if stretch.from_mm <= last.1 => last.1 = stretch.to_mm,
                _ => out.push((stretch.from_mm, stretch.to_mm)),
            }
        }
        out
    }

    /// A distance that no material boundary is nearer than, mm.
    pub fn clearance_mm(&self, at: PatientPoint) -> f64 {
        self.parts
            .iter()
            .map(|part| part.solid.distance_mm(at, Distance::Bound).abs())
            .fold(f64::INFINITY, f64::min)
    }

    /// The same scene in a patient that was moved.
    #[must_use]
    pub fn moved(&self, pose: &Pose) -> Self {
        let part = |p: &Part| Part { solid: p.solid.moved(pose), ..p.clone() };
        Self { background_hu: self.background_hu, parts: self.parts.iter().map(part).collect() }
    }
}
