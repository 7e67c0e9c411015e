//! Looking out from an axis in a plane across it.

use std::f64::consts::TAU;

use pilothole_volume::{Direction, LANES, PatientPoint, Places, VoxelPoint};

use crate::blocks::{Blocks, Known};
use crate::scene::Scene;

/// Directions in a plane: 5° apart; between two of them a flat wall at
/// distance d is overestimated by d(1/cos 2.5° - 1), 0.1 % of it.
const SPOKES: usize = 72;

/// A direction across an axis.
#[derive(Clone, Copy)]
struct Spoke {
    azimuth_rad: f64,
    direction: Direction,
    /// What a millimetre adds in the lattice.
    per_mm: [f64; 3],
}

/// The directions across an axis, and the bone in which they are followed.
pub(super) struct Spokes<'a> {
    scene: &'a Scene<'a>,
    blocks: Option<&'a Blocks>,
    bone: u8,
    all: Vec<Spoke>,
    /// Shortest way out on which a coordinate in the lattice changes by 1, less
    /// a little, mm.
    mm_per_voxel: f64,
    /// Shortest step, mm.
    step_mm: f64,
}

/// How far a spoke has been followed.
#[derive(Clone, Copy, Default)]
struct Followed {
    spoke: usize,
    /// Where the last look was, mm from the axis, and the depth there.
    at_mm: f64,
    depth_mm: f64,
    /// Whether a longer step ended outside: then step by step.
    stepwise: bool,
}

/// A look ahead on a spoke.
#[expect(clippy::struct_field_names, reason = "each is a length")]
#[derive(Clone, Copy, Default)]
struct Ahead {
    at_mm: f64,
    depth_mm: f64,
    /// How much further the depth stays the same, mm.
    alike_mm: f64,
}

/// The nearest surface so far, and the spoke that met it; at first the limit.
struct Nearest {
    mm: f64,
    spoke: Option<usize>,
}

impl Nearest {
    fn take(&mut self, mm: f64, spoke: usize) {
        // Of equals the first azimuth.
        let ties = mm.total_cmp(&self.mm).is_eq() && self.spoke.is_some_and(|first| spoke < first);
        if mm < self.mm || ties {
            *self = Self { mm, spoke: Some(spoke) };
        }
    }
}

impl<'a> Spokes<'a> {
    pub(super) fn new(
        scene: &'a Scene<'a>,
        blocks: Option<&'a Blocks>,
        axis: Direction,
        bone: u8,
    ) -> Self {
        let (u, v) = axis.across();
        let all: Vec<Spoke> = (0..SPOKES)
            .filter_map(|spoke| {
                let azimuth_rad = TAU * spoke as f64 / SPOKES as f64;
                let out = u * azimuth_rad.cos() + v * azimuth_rad.sin();
                let direction = Direction::along(out)?;
                let per_mm = scene.grid().voxels_along(direction.offset());
                Some(Spoke { azimuth_rad, direction, per_mm })
            })
            .collect();
        let fastest = all.iter().flat_map(|spoke| spoke.per_mm).map(f64::abs).fold(0.0, f64::max);
        let mm_per_voxel = (1.0 - 1e-9) / fastest;
        let step_mm = 0.5 * scene.grid().smallest_edge_mm();
        Self { scene, blocks, bone, all, mm_per_voxel, step_mm }
    }

    /// The depth in the bone, mm.
    pub(super) fn depth_mm(&self, at: PatientPoint) -> f64 {
        self.look(self.scene.grid().voxel_from_patient(at)).0
    }

    /// The depth at a lattice position, mm, and how far around that it is the
    /// same, mm.
    fn look(&self, at: VoxelPoint) -> (f64, f64) {
        match self.known(at) {
            Known::Depth { depth_mm, alike_voxels } => (depth_mm, alike_voxels * self.mm_per_voxel),
            _ => (self.scene.depth_in_voxel_or_nan(self.bone, at), 0.0),
        }
    }

    #[inline]
    fn known(&self, at: VoxelPoint) -> Known {
        self.blocks.map_or(Known::Nothing, |blocks| blocks.depth_in(self.bone, at))
    }

    /// The nearest point of the surface in one plane, when nearer than the
    /// limit: its distance from the axis, mm, and its azimuth, rad.
    ///
    /// All spokes are followed together, a look each in turn: looks that do not
    /// wait for each other, and a near surface ends the others early.
    pub(super) fn nearest_surface(&self, seat: PatientPoint, limit_mm: f64) -> Option<(f64, f64)> {
        let from = self.scene.grid().voxel_from_patient(seat);
        let (middle_mm, alike_mm) = self.look(from);
        if middle_mm <= 0.0 {
            return Some((0.0, 0.0));
        }
        if middle_mm.is_nan() {
            return None;
        }
        let even = self.scene.grid().slice_places().is_none();
        let place = |spoke: usize, mm: f64| {
            let Spoke { direction, per_mm, .. } = &self.all[spoke];
            if even {
                VoxelPoint(std::array::from_fn(|i| from.0[i] + per_mm[i] * mm))
            } else {
                self.scene.grid().voxel_from_patient(seat + *direction * mm)
            }
        };
        let mut nearest = Nearest { mm: limit_mm, spoke: None };
        let middle = Followed { depth_mm: middle_mm, ..Followed::default() };
        let start = self.ahead(middle, alike_mm, limit_mm);
        let mut all: [Followed; SPOKES] = std::array::from_fn(|spoke| Followed { spoke, ..start });
        let mut on_the_way = &mut all[..self.all.len()];
        let mut looks = [Ahead::default(); SPOKES];
        loop {
            on_the_way = kept(on_the_way, |followed| followed.at_mm < nearest.mm);
            if on_the_way.is_empty() {
                break;
            }
            self.look_ahead(on_the_way, place, &mut looks);
            let mut looks = looks.iter();
            on_the_way = kept(on_the_way, |followed| {
                looks.next().is_some_and(|look| self.goes_on(followed, *look, place, &mut nearest))
            });
        }
        nearest.spoke.map(|spoke| (nearest.mm, self.all[spoke].azimuth_rad))
    }

    /// Take a spoke to its next look, or to the surface; whether it goes on.
    #[inline]
    fn goes_on(
        &self,
        followed: &mut Followed,
        ahead: Ahead,
        place: impl Fn(usize, f64) -> VoxelPoint,
        nearest: &mut Nearest,
    ) -> bool {
        let Followed { spoke, at_mm, depth_mm, .. } = *followed;
        let Ahead { at_mm: mut next_mm, depth_mm: mut here, alike_mm } = ahead;
        if at_mm >= nearest.mm {
            return false;
        }
        if here <= 0.0 && next_mm > at_mm + self.step_mm {
            next_mm = at_mm + self.step_mm;
            here = self.look(place(spoke, next_mm)).0;
            followed.stepwise = true;
        }
        if here <= 0.0 {
            let distance = next_mm - (next_mm - at_mm) * here / (here - depth_mm);
            nearest.take(distance, spoke);
            return false;
        }
        (followed.at_mm, followed.depth_mm) = (next_mm, here);
        *followed = self.ahead(*followed, alike_mm, nearest.mm);
        !here.is_nan()
    }

    /// The next step of a spoke, mm.
    ///
    /// The surface is no nearer than the depth says; half of it is kept for what
    /// the depth is off by. Where another bone touches, the depth ends at once:
    /// then step by step.
    #[inline]
    fn stride_mm(&self, followed: &Followed) -> f64 {
        if followed.stepwise { self.step_mm } else { self.step_mm.max(0.5 * followed.depth_mm) }
    }

    /// A spoke followed on for as long as every look would meet the same depth.
    #[inline]
    fn ahead(&self, mut followed: Followed, alike_mm: f64, limit_mm: f64) -> Followed {
        if alike_mm > 0.0 {
            let stride_mm = self.stride_mm(&followed);
            let end_mm = limit_mm.min(followed.at_mm + alike_mm - stride_mm);
            while followed.at_mm < end_mm {
                followed.at_mm += stride_mm;
            }
        }
        followed
    }

    /// Look a step ahead on every spoke.
    fn look_ahead(
        &self,
        on_the_way: &[Followed],
        place: impl Fn(usize, f64) -> VoxelPoint,
        looks: &mut [Ahead; SPOKES],
    ) {
        let mut of_field = [(0, VoxelPoint([0.0; 3])); SPOKES];
        let mut count = 0;
        for (index, (followed, ahead)) in on_the_way.iter().zip(looks.iter_mut()).enumerate() {
            let at_mm = followed.at_mm + self.stride_mm(followed);
            let at = place(followed.spoke, at_mm);
            *ahead = Ahead { at_mm, depth_mm: 0.0, alike_mm: 0.0 };
            match self.known(at) {
                Known::Depth { depth_mm, alike_voxels } => {
                    (ahead.depth_mm, ahead.alike_mm) = (depth_mm, alike_voxels * self.mm_per_voxel);
                }
                Known::Field => {
                    of_field[count] = (index, at);
                    count += 1;
                }
                Known::Nothing => {
                    ahead.depth_mm = self.scene.depth_in_voxel_or_nan(self.bone, at);
                }
            }
        }
        for some in of_field[..count].chunks(LANES) {
            let places = Places::of(|lane| some[lane.min(some.len() - 1)].1);
            let depths = self.scene.field.lanes_or_nan(&places);
            for ((index, _), depth_mm) in some.iter().zip(depths) {
                looks[*index].depth_mm = depth_mm;
            }
        }
    }
}

/// Those of a slice that are to be kept, moved to its start in their order.
fn kept<T: Copy>(all: &mut [T], mut keep: impl FnMut(&mut T) -> bool) -> &mut [T] {
    let mut count = 0;
    for index in 0..all.len() {
        let mut one = all[index];
        if keep(&mut one) {
            all[count] = one;
            count += 1;
        }
    }
    &mut all[..count]
}
