//! Bodies whose shape and density are formulas, and plans on them.
#![allow(dead_code, reason = "each test file uses its part")]

use std::fmt::Write;

use pilothole_assess::Scene;
use pilothole_assess::strength::{DensityLine, StrengthParams};
use pilothole_plan::{Format, Plan};
use pilothole_volume::{
    Direction, Field, Grid, Labels, Mask, Offset, PatientPoint, Volume, Voxels,
};

/// Strength by a scan's line of density, as a phantom in the scan gives it.
pub(crate) fn strength() -> StrengthParams {
    StrengthParams::with(DensityLine {
        slope: 0.8,
        intercept: 0.0,
        slope_sd: 0.05,
        intercept_sd: 5.0,
        valid_hu: [-100.0, 1500.0],
        source: "test".to_owned(),
    })
}

/// A body on a lattice.
pub(crate) struct Body {
    volume: Volume,
    field: Field,
    labels: Labels,
    none: Mask,
}

impl Body {
    /// A cube of voxels of `spacing_mm` about the origin, `half_mm` to each
    /// side; `depth` is positive inside, mm, `hu` holds inside, 40 HU outside.
    pub(crate) fn new(
        half_mm: f64,
        spacing_mm: f64,
        depth: impl Fn(PatientPoint) -> f64,
        hu: impl Fn(PatientPoint) -> f64,
    ) -> Self {
        let size = [(2.0 * half_mm / spacing_mm).round() as usize + 1; 3];
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid = Grid::from_axes(size, PatientPoint([-half_mm; 3]), axes, [spacing_mm; 3])
            .expect("square");
        let count = grid.voxel_count();
        let centre = |i: usize| {
            grid.centre_of([i % size[0], i / size[0] % size[1], i / (size[0] * size[1])])
        };
        let depths: Vec<f64> = (0..count).map(|i| depth(centre(i))).collect();
        let voxels = (0..count)
            .map(|i| {
                // The share of the voxel inside, as the depth of its centre tells it.
                let share = (depths[i] / spacing_mm + 0.5).clamp(0.0, 1.0);
                (40.0 + share * (hu(centre(i)) - 40.0)) as f32
            })
            .collect();
        let field = depths.iter().map(|d| d.clamp(-2.0, 2.0) as f32).collect();
        let labels = depths.iter().map(|d| u8::from(*d > 0.0)).collect();
        Self {
            volume: Volume::new(grid.clone(), Voxels::F32(voxels), None).expect("fits"),
            field: Field::new(grid, field).expect("fits"),
            labels: Labels::new(size, labels).expect("fits"),
            none: Mask::none(size),
        }
    }

    pub(crate) fn scene(&self) -> Scene<'_> {
        Scene {
            volume: &self.volume,
            field: &self.field,
            labels: &self.labels,
            metal: &self.none,
            cement: &self.none,
            untrusted: &self.none,
            threshold_hu: 226.0,
            cortex: None,
        }
    }
}

/// A hole for [`plan`].
pub(crate) struct Drilled {
    pub(crate) seat: [f64; 3],
    pub(crate) direction: [f64; 3],
    pub(crate) more: &'static str,
}

/// A plan of holes with an HB 6.5 thread in the given lengths.
pub(crate) fn plan(lengths_mm: &str, policy: &str, holes: &[Drilled]) -> Plan {
    let mut text = format!(
        "schema = \"pilothole/plan/1\"\nside = \"left\"\ncoordinates = \"LPS\"\n\
         [socket]\ncentre_mm = [0.0, 0.0, 0.0]\naxis = [0.0, 0.0, -1.0]\n\
         outer_diameter_mm = 50.0\n[policy]\n{policy}\n\
         [[screw]]\nname = \"test\"\nmajor_diameter_mm = 6.5\ncore_diameter_mm = 3.0\n\
         pitch_mm = 2.75\nstocked_lengths_mm = [{lengths_mm}]\n"
    );
    for (index, hole) in holes.iter().enumerate() {
        let direction = unit(hole.direction).components();
        writeln!(
            text,
            "[[hole]]\nid = \"h{index}\"\nzone = \"cup\"\nseat_mm = {:?}\ndirection = {direction:?}\n\
             screw = \"test\"\n{}",
            hole.seat, hole.more
        )
        .expect("text grows");
    }
    Plan::parse(&text, Format::Toml).unwrap_or_else(|e| panic!("{e:?}\n{text}"))
}

pub(crate) fn unit(v: [f64; 3]) -> Direction {
    Direction::along(Offset(v)).expect("has length")
}

/// Standard normal distribution, by Abramowitz and Stegun 26.2.17 refined to
/// double precision with a series.
pub(crate) fn normal_cdf(x: f64) -> f64 {
    // Series of Marsaglia 2004, J Stat Softw 11(4); good to 1e-14 within 7.
    let x = x.clamp(-8.0, 8.0);
    let (mut sum, mut term, mut n) = (x, x, 3.0);
    for _ in 0..300 {
        term *= x * x / n;
        sum += term;
        n += 2.0;
    }
    0.5 + sum * (-0.5 * x * x).exp() / (2.0 * std::f64::consts::PI).sqrt()
}
