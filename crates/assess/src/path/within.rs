//! Walls of cortex back to back between the two ends of a path.
//!
//! The envelope closes what its bone surrounds. Two bones with a narrow gap that
//! the region never shows the end of look the same as one, and so may the two
//! sides of a joint or of a fracture; the profile then shows a wall, a dip, and
//! a wall again.

use super::Path;
use crate::hole::Edge;

/// A dip between two walls inside the bone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dip {
    /// Its deepest place, mm from the seat.
    pub at_mm: f64,
    /// From wall to wall, midway between the dip and the lower of them, mm.
    pub width_mm: f64,
}

/// A wall inside is at least half as high as the higher of the path's own two
/// cortices. Own choice, no source.
const WALL_SHARE: f64 = 0.5;
/// And at least this high, HU: above what trabeculae reach. Own choice.
const WALL_HU: f64 = 450.0;
/// A dip falls to this share of the lower of its two walls, or lower: a gap of one
/// blur between walls of three leaves 0.7. Own choice.
const DIP_SHARE: f64 = 0.75;
/// And by at least this much, HU: above what noise does. Own choice.
const LEAST_DIP_HU: f64 = 150.0;
/// Widest dip that counts, mm: a hip's joint space is 3 to 5 mm wide (common
/// practice, no source).
pub const WIDEST_DIP_MM: f64 = 5.0;

/// The first dip between two walls on a path, clear of the cortices at its ends;
/// `None` where there is none, or an end shows no inner face of a cortex.
pub fn dip_within(path: &Path) -> Option<Dip> {
    let (near, far) = (path.near?, path.far?);
    let inner = |edge: Edge| Some((edge.reach_mm()?, edge.peak_hu?));
    let ((near_mm, near_hu), (far_mm, far_hu)) = (inner(near)?, inner(far)?);
    let wall_hu = (WALL_SHARE * near_hu.max(far_hu)).max(WALL_HU);
    let (from_mm, to_mm) = (near.at_mm + near_mm, far.at_mm - far_mm);
    let inside: Vec<(f64, f64)> = (0..path.profile.hu.len())
        .map(|index| (path.profile.position_mm(index), path.profile.hu[index]))
        .filter(|(at, _)| *at > from_mm && *at < to_mm)
        .collect();
    // What is left of the cortices' own slopes is no wall.
    let is_low = |(_, hu): &(f64, f64)| *hu < wall_hu;
    let start = inside.iter().position(is_low)?;
    let end = inside.iter().rposition(is_low)?;
    let inside = &inside[start..=end];
    let crests = crests(inside, wall_hu);
    crests.windows(2).find_map(|pair| {
        let [first, second] = [pair[0], pair[1]];
        let between = &inside[first..=second];
        let (at_mm, low_hu) = between.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1))?;
        let lower_hu = inside[first].1.min(inside[second].1);
        let level = 0.5 * (low_hu + lower_hu);
        let below: Vec<f64> = between.iter().filter(|s| s.1 < level).map(|s| s.0).collect();
        let width_mm = below.last()? - below.first()?;
        (falls(lower_hu, low_hu) && width_mm <= WIDEST_DIP_MM).then_some(Dip { at_mm, width_mm })
    })
}

fn falls(wall_hu: f64, dip_hu: f64) -> bool {
    dip_hu < DIP_SHARE * wall_hu && wall_hu - dip_hu >= LEAST_DIP_HU
}

/// The highest place of each wall: from a level up, and parted by a dip.
fn crests(samples: &[(f64, f64)], level: f64) -> Vec<usize> {
    let mut crests: Vec<usize> = Vec::new();
    // In a wall its highest place; between walls the least value there.
    let (mut top, mut least): (Option<usize>, f64) = (None, f64::NEG_INFINITY);
    for (at, (_, hu)) in samples.iter().enumerate() {
        match top {
            Some(highest) if falls(samples[highest].1, *hu) => {
                crests.push(highest);
                (top, least) = (None, *hu);
            }
            Some(highest) if *hu > samples[highest].1 => top = Some(at),
            Some(_) => {}
            None => {
                least = least.min(*hu);
                if *hu >= level && falls(*hu, least) {
                    top = Some(at);
                }
            }
        }
    }
    crests.extend(top);
    crests
}
