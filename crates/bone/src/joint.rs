//! The hip's joint surface: where the femur ends and the hip bone begins.
//!
//! A sphere is fitted to what marks a joint along rays from its centre: the
//! socket brighter than the head, the head brighter than the soft tissue
//! beside it, and a valley between the two. A sheet over the directions then
//! follows the valley within 4 mm of the sphere; where the valley is not
//! resolved (slices of 3 mm, a worn joint) the sheet's stiffness carries it.

use std::f64::consts::{PI, TAU};
use std::ops::RangeInclusive;

use pilothole_volume::{Direction, Offset, PatientPoint, nearest_voxel};
use rayon::prelude::*;

use crate::middle::beside_metal;
use crate::params::{HipHint, Side};
use crate::patch::Patch;
use crate::sheet::{Prices, Sheet};
use crate::sphere::{apart_mm, fit_sphere};

/// Directions of the coarse fit; 500 are 5° apart, 2 mm on a femoral head.
const FIT_DIRECTIONS: usize = 500;
/// Nodes of the sheet from pole to pole and around; 4°, under 2 mm.
const NET: [usize; 2] = [45, 90];
/// How far the sheet may leave the sphere, mm.
const BAND_MM: f64 = 4.0;
/// Step of the sheet's profiles, mm.
const STEP_MM: f64 = 0.5;
/// Pull of the sheet towards the sphere, HU per mm²: 2 mm off costs as much as
/// a valley of 24 HU earns.
const STIFFNESS_HU: f32 = 6.0;
/// Brighter than muscle, clot and joint fluid, HU.
pub(crate) const BONY_HU: f32 = 140.0;
/// How far beyond the joint surface the socket's wall is looked for, mm; the
/// acetabular fossa is 5 to 8 mm deep.
const SOCKET_REACH_MM: f64 = 12.0;
/// Where bone lies again beyond a socket's plate and its marrow, mm.
const AGAIN_MM: [f64; 2] = [6.0, 15.0];
/// Half-angle of the cone around the neck where there is no joint.
const NECK_HALF_ANGLE_DEG: f64 = 45.0;

/// A hip joint that was found.
pub(crate) struct Joint {
    pub(crate) side: Side,
    pub(crate) centre: PatientPoint,
    pub(crate) radius_mm: f64,
    /// From the centre into the femoral neck.
    pub(crate) neck: Direction,
    /// Whether a femoral head (or a ball of metal) fills the joint.
    pub(crate) head: bool,
    /// Share of the directions out of the neck in which a valley was seen.
    pub(crate) seen_fraction: f64,
    /// How far from the centre hints beside the one given lead, mm; asked beside
    /// metal only, where the scan says least.
    pub(crate) apart_mm: Option<f64>,
    radii_mm: Vec<f32>,
    /// Least and greatest of them.
    nearest_mm: f64,
    farthest_mm: f64,
}

/// Where a point lies as seen from a joint's centre.
#[derive(Clone, Copy)]
pub(crate) struct Place {
    /// Towards it.
    unit: Offset,
    from_centre_mm: f64,
    /// Cosine of the angle to the neck.
    neck_cosine: f64,
    /// Away from the midline, mm.
    pub(crate) lateral_mm: f64,
}

impl Place {
    pub(crate) fn in_neck(&self) -> bool {
        self.neck_cosine > NECK_HALF_ANGLE_DEG.to_radians().cos()
    }

    /// Well away from the neck, where only a socket can border the head.
    pub(crate) fn in_socket(&self) -> bool {
        self.neck_cosine < 0.5
    }
}

impl Joint {
    /// Find the joint near a hint; `None` when its centre is outside the region.
    pub(crate) fn find(patch: &Patch<'_>, hint: &HipHint) -> Option<Self> {
        patch.sample(hint.centre)?;
        let lateral = hint.side.lateral();
        let usual_neck = Direction::along(Offset([0.75 * lateral, 0.15, -0.65]))?;
        let rays: Vec<Direction> =
            spread(FIT_DIRECTIONS).filter(|d| d.dot(usual_neck) < 0.5).collect();
        let metal = beside_metal(patch, hint.centre);
        let (centre, radius_mm) = fit_sphere(patch, hint, metal, &rays);
        let neck = find_neck(patch, centre, radius_mm, usual_neck);
        let (radii_mm, seen_fraction) = follow_valley(patch, centre, radius_mm, neck, metal);
        let mut joint = Self {
            side: hint.side,
            centre,
            radius_mm,
            neck,
            head: false,
            seen_fraction,
            apart_mm: metal.then(|| apart_mm(patch, hint, centre, &rays)),
            nearest_mm: radii_mm.iter().copied().fold(f32::INFINITY, f32::min).into(),
            farthest_mm: radii_mm.iter().copied().fold(0.0, f32::max).into(),
            radii_mm,
        };
        joint.head = joint.holds_a_head(patch, &rays);
        Some(joint)
    }

    pub(crate) fn place(&self, at: PatientPoint) -> Place {
        let offset = at - self.centre;
        let from_centre_mm = offset.length_mm().max(1e-6);
        let unit = offset * (1.0 / from_centre_mm);
        Place {
            unit,
            from_centre_mm,
            neck_cosine: unit.dot(self.neck.offset()),
            lateral_mm: offset.0[0] * self.side.lateral(),
        }
    }

    /// Whether a place lies less than so far beyond the joint surface, mm;
    /// beyond is negative on the femur's side.
    pub(crate) fn lies_within(&self, place: &Place, mm: f64) -> bool {
        let surface_mm = || self.surface_mm(place.unit);
        let least_mm = place.from_centre_mm - mm;
        least_mm < self.nearest_mm || (least_mm < self.farthest_mm && least_mm < surface_mm())
    }

    /// Whether a point lies within `beyond_mm` of the sheet's outermost place;
    /// cheap, and never false where [`Joint::lies_within`] would be true.
    pub(crate) fn reaches(&self, at: PatientPoint, beyond_mm: f64) -> bool {
        let from = at - self.centre;
        from.dot(from) < (self.radius_mm + BAND_MM + beyond_mm).powi(2)
    }

    /// Whether a line along a row of the region passes the joint within reach of
    /// `beyond_mm` at most.
    pub(crate) fn reaches_row(&self, patch: &Patch<'_>, row: usize, beyond_mm: f64) -> bool {
        let rows = patch.size[1];
        let from = patch.centre([0, row % rows, row / rows]) - self.centre;
        let along = patch.grid.steps()[0];
        let nearest = from + along * (-from.dot(along) / along.dot(along));
        self.reaches(self.centre + nearest, beyond_mm)
    }

    /// Distance from the centre to the socket's wall in each direction of the
    /// net, mm; NaN where none is met. Gaps of up to two nodes (3.5 mm) take
    /// the median of the nodes around them.
    pub(crate) fn socket(&self, patch: &Patch<'_>, is_wall: impl Fn(usize) -> bool) -> Socket {
        let step_mm = 0.5 * patch.finest_mm();
        let mut walls = vec![f32::NAN; NET[0] * NET[1]];
        for (node, wall) in walls.iter_mut().enumerate() {
            let Some(ray) = net_direction(node) else { continue };
            let surface_mm = f64::from(self.radii_mm[node]);
            let mut at_mm = if self.head { surface_mm } else { 0.3 * surface_mm };
            let end_mm = surface_mm + SOCKET_REACH_MM;
            while at_mm < end_mm {
                let index = nearest_voxel(&patch.grid, self.centre + ray * at_mm);
                if index.is_some_and(|index| is_wall(patch.grid.offset_of(index))) {
                    *wall = at_mm as f32;
                    break;
                }
                at_mm += step_mm;
            }
        }
        let radii_mm: Vec<f32> = (0..walls.len()).map(|node| median_around(&walls, node)).collect();
        let farthest_mm = radii_mm.iter().copied().fold(0.0, f32::max).into();
        Socket { radii_mm, farthest_mm }
    }

    /// Whether a place lies between the joint surface and the socket's wall;
    /// in an empty socket, between the centre and the wall.
    pub(crate) fn in_joint_space(&self, socket: &Socket, place: &Place) -> bool {
        if place.from_centre_mm >= socket.farthest_mm {
            return false;
        }
        let (polar, around) = net_place(place.unit);
        let row = (polar.round() as usize).min(NET[0] - 1);
        let column = around.round() as usize % NET[1];
        let wall_mm = f64::from(socket.radii_mm[row * NET[1] + column]);
        place.from_centre_mm < wall_mm && !(self.head && self.lies_within(place, 0.0))
    }

    /// Distance from the centre to the joint surface, read bilinearly between
    /// nodes, mm.
    fn surface_mm(&self, unit: Offset) -> f64 {
        let (polar, around) = net_place(unit);
        let row = (polar as usize).min(NET[0] - 2);
        let column = (around as usize).min(NET[1] - 1);
        let (v, u) = (polar - row as f64, around - column as f64);
        let at = |r: usize, c: usize| f64::from(self.radii_mm[r * NET[1] + c % NET[1]]);
        let low = at(row, column) * (1.0 - u) + at(row, column + 1) * u;
        let high = at(row + 1, column) * (1.0 - u) + at(row + 1, column + 1) * u;
        low * (1.0 - v) + high * v
    }

    /// A head shows as bone deep inside (in a quarter of the directions away
    /// from the neck something 7 mm or more inside the surface passes 140 HU;
    /// muscle, clot and joint fluid do not), or as a shell: in half of the
    /// directions in which nothing up to 16 mm beyond the surface passes it,
    /// something within 8 mm inside does.
    fn holds_a_head(&self, patch: &Patch<'_>, rays: &[Direction]) -> bool {
        let peak = |ray: &Direction, range: RangeInclusive<i32>| {
            let surface = self.surface_mm(ray.offset());
            let read = |mm| patch.sample(self.centre + *ray * (surface + f64::from(mm)));
            range.filter_map(read).fold(f32::NEG_INFINITY, f32::max)
        };
        let (mut deep, mut free, mut shell) = (0, 0, 0);
        for ray in rays {
            deep += usize::from(peak(ray, -18..=-7) > BONY_HU);
            if peak(ray, 1..=16) < BONY_HU {
                free += 1;
                shell += usize::from(peak(ray, -8..=-1) > BONY_HU);
            }
        }
        4 * deep >= rays.len() || (20 * free >= rays.len() && 2 * shell >= free)
    }
}

/// The socket's wall as seen from a joint.
pub(crate) struct Socket {
    /// NaN where none is met.
    radii_mm: Vec<f32>,
    /// Greatest of them, mm; 0 without.
    farthest_mm: f64,
}

/// Row and column, with fractions, of a direction on the net.
fn net_place(unit: Offset) -> (f64, f64) {
    let polar = unit.0[2].clamp(-1.0, 1.0).acos() / PI * NET[0] as f64 - 0.5;
    let around = unit.0[1].atan2(unit.0[0]).rem_euclid(TAU) / TAU * NET[1] as f64 - 0.5;
    (polar.clamp(0.0, (NET[0] - 1) as f64), around.rem_euclid(NET[1] as f64))
}

/// Direction of a node of the net.
fn net_direction(node: usize) -> Option<Direction> {
    let (row, column) = (node / NET[1], node % NET[1]);
    let (sin, cos) = ((row as f64 + 0.5) / NET[0] as f64 * PI).sin_cos();
    let (sin_around, cos_around) = ((column as f64 + 0.5) / NET[1] as f64 * TAU).sin_cos();
    Direction::along(Offset([sin * cos_around, sin * sin_around, cos]))
}

/// Median over 5 by 5 nodes; NaN where fewer than a third of them are known.
fn median_around(walls: &[f32], node: usize) -> f32 {
    let (row, column) = (node / NET[1], node % NET[1]);
    let mut known = Vec::with_capacity(25);
    let mut all = 0;
    for r in row.saturating_sub(2)..(row + 3).min(NET[0]) {
        for c in column + NET[1] - 2..column + NET[1] + 3 {
            all += 1;
            let wall = walls[r * NET[1] + c % NET[1]];
            if !wall.is_nan() {
                known.push(wall);
            }
        }
    }
    if 3 * known.len() < all {
        return f32::NAN;
    }
    known.sort_by(f32::total_cmp);
    known[known.len() / 2]
}

/// `count` directions spread evenly over the sphere on a golden spiral.
pub(crate) fn spread(count: usize) -> impl Iterator<Item = Direction> {
    let golden = PI * (1.0 + 5.0_f64.sqrt());
    (0..count).filter_map(move |i| {
        let at = i as f64 + 0.5;
        let z = 1.0 - 2.0 * at / count as f64;
        let across = (1.0 - z * z).max(0.0).sqrt();
        Direction::along(Offset([(golden * at).cos() * across, (golden * at).sin() * across, z]))
    })
}

pub(crate) fn read(patch: &Patch<'_>, from: PatientPoint, ray: Direction, at_mm: f64) -> f32 {
    patch.sample(from + ray * at_mm).unwrap_or(-100.0).clamp(-100.0, 700.0)
}

/// The direction near the usual one along which bone goes on longest.
fn find_neck(
    patch: &Patch<'_>,
    centre: PatientPoint,
    radius_mm: f64,
    usual: Direction,
) -> Direction {
    let least: Vec<(Direction, f64)> = spread(1000)
        .filter(|ray| ray.dot(usual) > 0.4)
        .map(|ray| {
            let lowest = (0..14)
                .map(|mm| read(patch, centre, ray, radius_mm + f64::from(mm)).min(400.0))
                .fold(400.0, f32::min);
            (ray, f64::from(lowest))
        })
        .collect();
    let mut best = (f64::NEG_INFINITY, usual);
    for (axis, _) in least.iter().filter(|(ray, _)| ray.dot(usual) > 0.82) {
        let (mut sum, mut count) = (0.0, 0.0);
        for (_, lowest) in least.iter().filter(|(ray, _)| ray.dot(*axis) > 0.906) {
            sum += lowest;
            count += 1.0;
        }
        let value = sum / f64::max(count, 1.0) + 100.0 * axis.dot(usual);
        if value > best.0 {
            best = (value, *axis);
        }
    }
    best.1
}

/// Radii of the joint surface over the net, mm, and the share of the
/// directions out of the neck in which a valley of 30 HU was seen.
fn follow_valley(
    patch: &Patch<'_>,
    centre: PatientPoint,
    radius_mm: f64,
    neck: Direction,
    metal: bool,
) -> (Vec<f32>, f64) {
    let [rows, columns] = NET;
    let steps = (2.0 * BAND_MM / STEP_MM) as usize + 1;
    let (near, far) = ((1.0 / STEP_MM) as usize, (4.0 / STEP_MM) as usize);
    let again = AGAIN_MM.map(|mm| (mm / STEP_MM) as usize);
    let node = |node: usize| {
        let ray = net_direction(node)?;
        let hu: Vec<f32> = (0..far + steps + again[1])
            .map(|i| {
                let offset = (i as f64 - far as f64) * STEP_MM - BAND_MM;
                read(patch, centre, ray, radius_mm + offset)
            })
            .collect();
        let mut deepest = 0.0_f32;
        let cost = |step: usize| {
            let at = step + far;
            let inner = hu[at - far..=at - near].iter().copied().fold(-100.0, f32::max);
            let outer = hu[at + near..=at + far].iter().copied().fold(-100.0, f32::max);
            let valley = (inner.min(outer) - hu[at]).clamp(-50.0, 300.0);
            let mut drop = (inner - outer.max(hu[at])).clamp(0.0, 200.0);
            // As in the sphere's evidence: beyond a socket's plate lies marrow.
            let bone_again = hu[at + again[0]..=at + again[1]].iter().any(|hu| *hu > BONY_HU);
            if bone_again && !metal {
                drop = 0.0;
            }
            deepest = deepest.max(valley);
            let off = (step as f64 * STEP_MM - BAND_MM) as f32;
            let pull = STIFFNESS_HU * off * off;
            0.1 * hu[at].clamp(0.0, 600.0) + pull - valley - 0.5 * drop
        };
        let costs: Vec<f32> = (0..steps).map(cost).collect();
        Some((costs, ray, deepest))
    };
    let nodes: Vec<(Vec<f32>, Direction, f32)> =
        (0..rows * columns).into_par_iter().with_min_len(columns).filter_map(node).collect();
    let out_of_neck = || nodes.iter().filter(|(_, ray, _)| ray.dot(neck) < 0.5);
    let looked = out_of_neck().count();
    let seen = out_of_neck().filter(|(.., deepest)| *deepest > 30.0).count();
    let costs = nodes.iter().flat_map(|(costs, ..)| costs.iter().copied()).collect();
    let sheet = Sheet { rows, columns, steps, wraps: true, costs };
    let chosen = sheet.settle(Prices { one_step: 30.0, jump: 200.0 });
    let radii = chosen
        .iter()
        .map(|step| (radius_mm - BAND_MM + f64::from(*step) * STEP_MM) as f32)
        .collect();
    (radii, seen as f64 / looked.max(1) as f64)
}
