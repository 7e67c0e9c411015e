//! Whose wall is it: markers from the joints and known points, then a flood.

use std::collections::BTreeMap;

use pilothole_volume::{Mask, PatientPoint, nearest_voxel};
use rayon::prelude::*;

use crate::flood::flood;
use crate::gathered::marked;
use crate::joint::Joint;
use crate::params::{BoneName, HipHints};
use crate::patch::Patch;
use crate::sacroiliac::Sacroiliac;
use crate::wall::{FREE_STRONG, FREE_WEAK, NOBODY};

/// Smallest connected wall that becomes a bone without a marker, mm³: a sphere
/// of 9 mm; below it lie calcifications, phleboliths and noise.
const LEAST_WALL_MM3: f64 = 400.0;
/// Reach of a known point's marker, mm.
const POINT_REACH_MM: f64 = 6.0;
/// Width of the blurred rim around what contrast fills, mm.
const RIM_MM: f64 = 3.0;
/// Most bones told apart; the largest are kept.
const MOST_BONES: usize = 200;

/// Walls with their owners.
pub(crate) struct Owned {
    /// 0 nobody, else 1 + the position in `names`.
    pub(crate) owners: Vec<u8>,
    /// Names of the bones by owner, `None` where no hint names it.
    pub(crate) names: Vec<Option<BoneName>>,
    /// Owner of what contrast fills: no bone.
    pub(crate) lumen: Option<u8>,
}

/// A hip joint with the sacroiliac joint of its side, where the region has it.
pub(crate) struct Hip {
    pub(crate) joint: Joint,
    pub(crate) sacroiliac: Option<Sacroiliac>,
}

/// Share out the walls.
///
/// Metal that no bone's wall touches stays nobody's: it is inside a bone when
/// that bone encloses it, else outside.
///
/// - `calm`, `lumens`: array positions of what contrast fills, rising, and the
///   region that they were found in.
pub(crate) fn separate(
    patch: &Patch<'_>,
    walls: Vec<u8>,
    metal: &Mask,
    (calm, lumens): (&Patch<'_>, &[u32]),
    hips: &[Hip],
    hints: &HipHints,
) -> Owned {
    let mut owned = Owned { owners: walls, names: Vec::new(), lumen: None };
    let mut known: BTreeMap<BoneName, u8> = BTreeMap::new();
    let mut wanted: Vec<BoneName> = Vec::new();
    for hip in hips {
        wanted.extend([hip.joint.side.hip(), hip.joint.side.femur(), BoneName::Sacrum]);
    }
    wanted.extend(hints.points.iter().map(|p| p.bone));
    for name in wanted {
        known.entry(name).or_insert_with(|| {
            owned.names.push(Some(name));
            owned.names.len() as u8
        });
    }
    mark_hips(patch, hips, &known, &mut owned.owners);
    for point in &hints.points {
        let marker = known[&point.bone];
        mark_near(patch, point.at, marker, &mut owned.owners);
    }
    if !lumens.is_empty() {
        owned.names.push(None);
        let marker = owned.names.len() as u8;
        owned.lumen = Some(marker);
        mark_lumens(calm, lumens, marker, &mut owned.owners);
    }
    let lumen = owned.lumen;
    let seeds = positions(&owned.owners, |owner| is_owned(owner) && Some(owner) != lumen);
    flood(patch, &seeds, FREE_WEAK, &mut owned.owners);
    own_the_rest(patch, metal, &mut owned);
    owned
}

/// Array positions of the owners, nobody left out, that pass a test; rising.
fn positions(owners: &[u8], test: impl Fn(u8) -> bool + Sync) -> Vec<u32> {
    /// Voxels that one task looks at.
    const A_TASK: usize = 1 << 16;
    let parts = owners.par_chunks(A_TASK).enumerate().map(|(part, owners)| {
        let places = marked(owners, |owner| owner != NOBODY).filter(|at| test(owners[*at]));
        places.map(|at| (part * A_TASK + at) as u32).collect::<Vec<_>>()
    });
    parts.collect::<Vec<_>>().concat()
}

fn is_owned(owner: u8) -> bool {
    owner != NOBODY && owner < SEEN
}

/// Markers of the bones at the hips, by where a wall lies as seen from their
/// joints; the later hip has the last word.
fn mark_hips(patch: &Patch<'_>, hips: &[Hip], known: &BTreeMap<BoneName, u8>, owners: &mut [u8]) {
    let [columns, rows, _] = patch.size;
    owners.par_chunks_mut(columns).enumerate().for_each(|(row, owners)| {
        let walls: Vec<usize> = marked(owners, |owner| owner != NOBODY).collect();
        for x in walls {
            let owner = &mut owners[x];
            let strong = *owner == FREE_STRONG;
            let point = patch.centre([x, row % rows, row / rows]);
            for hip in hips {
                let side = hip.joint.side;
                match place_of(hip, point, strong) {
                    Some(Bone::Hip) => *owner = known[&side.hip()],
                    Some(Bone::Femur) => *owner = known[&side.femur()],
                    Some(Bone::Sacrum) => *owner = known[&BoneName::Sacrum],
                    None => {}
                }
            }
        }
    });
}

/// The bones that a hip tells apart.
enum Bone {
    Hip,
    Femur,
    Sacrum,
}

/// The bone that a wall must belong to by its place; `None` where it is open.
fn place_of(hip: &Hip, point: PatientPoint, strong: bool) -> Option<Bone> {
    let joint = &hip.joint;
    if joint.reaches(point, 8.0) {
        let place = joint.place(point);
        if place.in_neck() {
            return None;
        }
        if joint.head && joint.lies_within(&place, -0.3) {
            return Some(Bone::Femur);
        }
        let nearest_mm = if joint.head { 0.3 } else { -8.0 };
        let medial = place.in_socket() && place.lateral_mm < 8.0;
        let is_hip = strong
            && medial
            && joint.lies_within(&place, 8.0)
            && !joint.lies_within(&place, nearest_mm);
        return is_hip.then_some(Bone::Hip);
    }
    if !strong {
        return None;
    }
    // Without a head and a sacroiliac joint nothing says that this is a pelvis, and
    // where a femur would be must not cut a bone.
    let pelvis = joint.head || hip.sacroiliac.is_some();
    if pelvis && below_and_lateral(joint, point) {
        return Some(Bone::Femur);
    }
    if below_and_medial(joint, point) {
        return Some(Bone::Hip);
    }
    let beyond_mm = hip.sacroiliac.as_ref().and_then(|joint| joint.beyond_mm(point));
    match beyond_mm {
        Some(mm) if (0.7..8.0).contains(&mm) => Some(Bone::Hip),
        Some(mm) if (-8.0..-0.7).contains(&mm) => Some(Bone::Sacrum),
        _ => deep_in_sacrum(joint, point).then_some(Bone::Sacrum),
    }
}

/// Where only a femur can be: 25 mm or more lateral of the hip centre, no more
/// than 15 mm above it; the ilium is higher, the ischium medial.
fn below_and_lateral(joint: &Joint, point: PatientPoint) -> bool {
    let offset = point - joint.centre;
    offset.0[0] * joint.side.lateral() > 25.0 && offset.0[2] < 15.0
}

/// Where only a hip bone can be: 5 to 65 mm medial of the hip centre, no more
/// than 45 mm behind it and 25 mm above; the femur is lateral, the sacrum
/// higher, or further back and nearer to the midline.
fn below_and_medial(joint: &Joint, point: PatientPoint) -> bool {
    let offset = point - joint.centre;
    let medial_mm = -offset.0[0] * joint.side.lateral();
    medial_mm > 5.0 && medial_mm < 65.0 && offset.0[1] < 45.0 && offset.0[2] < 25.0
}

/// Where only a sacrum can be: 62 mm or more medial of the hip centre, well
/// behind and above it; from 50 mm behind it on, where the iliac tuberosities
/// lean towards the midline, half a millimetre more for each millimetre.
fn deep_in_sacrum(joint: &Joint, point: PatientPoint) -> bool {
    let offset = point - joint.centre;
    let medial_mm = -offset.0[0] * joint.side.lateral();
    let least_mm = 62.0 + 0.5 * (offset.0[1] - 50.0).max(0.0);
    medial_mm > least_mm && medial_mm < 110.0 && offset.0[1] > 12.0 && offset.0[2] > 30.0
}

/// Mark what contrast fills with its blurred rim, whatever marks bones have
/// there: outwards from the lumens as HU fall.
fn mark_lumens(patch: &Patch<'_>, lumens: &[u32], marker: u8, owners: &mut [u8]) {
    let finest = patch.finest_mm();
    let neighbours = patch.neighbours();
    let mut front: Vec<usize> = lumens.iter().map(|at| *at as usize).collect();
    for at in &front {
        owners[*at] = marker;
    }
    for _ in 0..(RIM_MM / finest).ceil() as usize {
        let mut next = Vec::new();
        for at in front {
            let (index, hu) = (patch.index(at), patch.hu.at(at));
            for to in neighbours.iter().filter_map(|step| step.from(patch.size, index, at)) {
                if owners[to] != NOBODY && owners[to] != marker && patch.hu.at(to) < hu {
                    owners[to] = marker;
                    next.push(to);
                }
            }
        }
        front = next;
    }
}

fn mark_near(patch: &Patch<'_>, point: PatientPoint, marker: u8, owners: &mut [u8]) {
    let Some(index) = nearest_voxel(&patch.grid, point) else { return };
    let at = patch.grid.offset_of(index);
    let around = patch.ball(POINT_REACH_MM);
    let beside = around.iter().filter_map(|step| step.from(patch.size, index, at));
    for to in beside.chain([at]) {
        if owners[to] == FREE_STRONG || is_owned(owners[to]) {
            owners[to] = marker;
        }
    }
}

/// Connected strong walls that no marker reached become bones of their own;
/// what is free after that is nobody's.
fn own_the_rest(patch: &Patch<'_>, metal: &Mask, owned: &mut Owned) {
    let owners = &mut owned.owners;
    let free = positions(owners, |owner| owner == FREE_STRONG);
    let least = (LEAST_WALL_MM3 / patch.grid.voxel_mm3()).ceil() as usize;
    let neighbours = patch.neighbours();
    let mut sets: Vec<Vec<u32>> = Vec::new();
    for first in free {
        if owners[first as usize] != FREE_STRONG {
            continue;
        }
        owners[first as usize] = SEEN;
        let mut set = vec![first];
        let mut next = 0;
        while let Some(at) = set.get(next).map(|at| *at as usize) {
            next += 1;
            let index = patch.index(at);
            let around = neighbours.iter().filter_map(|step| step.from(patch.size, index, at));
            for to in around {
                if owners[to] == FREE_STRONG {
                    owners[to] = SEEN;
                    set.push(to as u32);
                }
            }
        }
        if set.len() >= least && !mostly_metal(patch, metal, &set) {
            sets.push(set);
        }
    }
    sets.sort_by_key(|set| std::cmp::Reverse(set.len()));
    sets.truncate(MOST_BONES.saturating_sub(owned.names.len()));
    let mut seeds = Vec::new();
    for set in sets {
        owned.names.push(None);
        for at in &set {
            owners[*at as usize] = owned.names.len() as u8;
        }
        seeds.extend(set);
    }
    seeds.sort_unstable();
    flood(patch, &seeds, FREE_WEAK, owners);
    owners.par_iter_mut().filter(|owner| **owner >= SEEN).for_each(|owner| *owner = NOBODY);
}

/// A quarter of it metal: the rest is the halo that blur draws around it.
fn mostly_metal(patch: &Patch<'_>, metal: &Mask, set: &[u32]) -> bool {
    if metal.is_empty() {
        return false;
    }
    let inside = set.iter().filter(|at| metal.has(patch.index(**at as usize))).count();
    4 * inside > set.len()
}

/// Marks a free wall that was visited; above any owner.
const SEEN: u8 = FREE_WEAK - 1;
