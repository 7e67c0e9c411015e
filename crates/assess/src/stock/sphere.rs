//! Directions spread evenly over a cone, and points over a cap or a disc.

use std::f64::consts::{PI, TAU};

use pilothole_volume::Direction;

/// Directions at one angle from the pole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ring {
    /// Angle from the pole, rad.
    pub polar_rad: f64,
    /// Position of the ring's first direction in the chart.
    pub first: usize,
    /// Directions in the ring, evenly spaced from azimuth 0.
    pub count: usize,
}

impl Ring {
    /// Azimuth of one of the ring's directions, rad, in the frame of
    /// `Direction::across` of the pole.
    pub fn azimuth_rad(&self, within: usize) -> f64 {
        TAU * within as f64 / self.count as f64
    }
}

/// Rings from the pole to a half-angle, `spacing_rad` apart, with directions
/// about as far apart within each; the last ring is the cone's edge.
pub(crate) fn rings(half_angle_rad: f64, spacing_rad: f64) -> Vec<Ring> {
    let bands = (half_angle_rad / spacing_rad).ceil().max(0.0) as usize;
    let mut first = 0;
    (0..=bands)
        .map(|band| {
            let polar_rad =
                if bands == 0 { 0.0 } else { half_angle_rad * band as f64 / bands as f64 };
            let count = ((TAU * polar_rad.sin() / spacing_rad).round() as usize).max(1);
            let ring = Ring { polar_rad, first, count };
            first += count;
            ring
        })
        .collect()
}

/// Upper bound of the number of directions of [`rings`], without making them.
pub(crate) fn count_at_most(half_angle_rad: f64, spacing_rad: f64) -> f64 {
    let solid = TAU * (1.0 - half_angle_rad.min(PI).cos());
    let bands = (half_angle_rad / spacing_rad).ceil() + 1.0;
    1.2 * solid / spacing_rad.powi(2) + 4.0 * bands + PI / spacing_rad
}

/// The directions of rings, in their order.
pub(crate) fn directions(pole: Direction, rings: &[Ring]) -> Vec<Direction> {
    rings
        .iter()
        .flat_map(|ring| {
            (0..ring.count).map(|within| pole.tilted(ring.polar_rad, ring.azimuth_rad(within)))
        })
        .collect()
}

/// Tiles along each edge of a face of the cube around the directions.
const TILES: f64 = 12.0;

/// Which tile of about 7° of a cube's faces a direction leads through: its
/// face, and two places on it.
pub(crate) fn tile(direction: Direction) -> [usize; 3] {
    let parts = direction.components();
    let most = (1..3).fold(0, |most, i| if parts[i].abs() > parts[most].abs() { i } else { most });
    let face = 2 * most + usize::from(parts[most] < 0.0);
    let place = |part: f64| (0.5 * TILES * (1.0 + part / parts[most].abs())) as usize;
    [face, place(parts[(most + 1) % 3]), place(parts[(most + 2) % 3])]
}

/// Points of a disc, mm from its centre along two axes, about `spacing_mm`
/// apart: the centre, then rings.
pub(crate) fn disc(radius_mm: f64, spacing_mm: f64) -> Vec<[f64; 2]> {
    let bands = (radius_mm / spacing_mm).floor() as usize;
    (0..=bands)
        .flat_map(|band| {
            let radius = band as f64 * spacing_mm;
            let count = ((TAU * radius / spacing_mm).round() as usize).max(1);
            (0..count).map(move |i| {
                let angle = TAU * i as f64 / count as f64;
                [radius * angle.cos(), radius * angle.sin()]
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hemisphere_at_a_degree_is_evenly_covered() {
        let spacing = 1.0_f64.to_radians();
        let rings = rings(PI / 2.0, spacing);
        let all = directions(Direction::SUPERIOR, &rings);
        assert!((all.len() as f64 / (TAU / spacing.powi(2)) - 1.0).abs() < 0.02, "{}", all.len());
        assert!((all.len() as f64) < count_at_most(PI / 2.0, spacing));
        assert_eq!(rings.last().map(|r| r.first + r.count), Some(all.len()));
        // Nothing between is further from a direction than a spacing.
        for step in 0..200 {
            let probe = Direction::SUPERIOR.tilted(f64::from(step) * 0.0078, f64::from(step));
            let nearest = all.iter().map(|d| d.angle_rad(probe)).fold(9.0, f64::min);
            assert!(nearest < 0.75 * spacing, "{nearest}");
        }
    }

    #[test]
    fn a_cone_of_no_width_is_its_axis() {
        assert_eq!(directions(Direction::LEFT, &rings(0.0, 0.01)).len(), 1);
        assert_eq!(disc(0.0, 5.0).len(), 1);
    }
}
