//! Where around a socket there is bone worth drilling: depth, density and
//! holding strength in every direction.
//!
//! Every direction is measured by the same functions as a hole of a plan, so
//! the numbers are the same.

mod chart;
mod params;
mod sphere;

pub use chart::{Dangers, Stock, StockCell, StockChart, StockOrigin};
pub use params::{StockError, StockParams};
pub use sphere::Ring;

pub(crate) use sphere::disc;

use pilothole_plan::{Plan, Screw, Side};
use pilothole_volume::{Direction, PatientPoint};
use rayon::prelude::*;

use crate::blocks::Blocks;
use crate::finding::Finding;
use crate::hole::{Segment, Tissue};
use crate::length::recommend_length;
use crate::path::{self, Axis, Path};
use crate::plain::Plain;
use crate::scene::Scene;
use crate::strength::{Held, Reading, estimate_n};

/// Chart the bone around a plan's socket and on its patches.
///
/// The plan's policy decides the length that is assumed in each direction.
///
/// # Errors
///
/// [`StockError`] when a parameter is out of range, when there is no such
/// screw, or when the spacing asks for more directions than are allowed;
/// nothing is measured then.
pub fn stock(scene: &Scene<'_>, plan: &Plan, params: &StockParams) -> Result<Stock, StockError> {
    params.check()?;
    let Some(screw) = plan.screws.get(params.screw) else {
        return Err(StockError::Screw { index: params.screw, count: plan.screws.len() });
    };
    refuse_too_many(plan, params)?;
    let views = views(plan, params);
    let known =
        path::Known { blocks: Blocks::of(scene), plain: Plain::of(scene.volume, &params.path) };
    let survey = Survey { scene, known, plan, screw, params };
    let mut charts: Vec<StockChart> = views
        .iter()
        .map(|view| {
            let rings = sphere::rings(view.half_angle_rad, params.spacing_rad);
            StockChart { origin: view.origin, pole: view.pole, rings, cells: Vec::new() }
        })
        .collect();
    let axes: Vec<(usize, Axis)> = charts
        .iter()
        .zip(&views)
        .enumerate()
        .flat_map(|(at, (chart, view))| {
            sphere::directions(chart.pole, &chart.rings)
                .into_iter()
                .map(move |direction| (at, Axis { seat: view.seat(plan, direction), direction }))
        })
        .collect();
    // Neighbours one after another, since they read the same voxels.
    let mut order: Vec<usize> = (0..axes.len()).collect();
    order.sort_by_key(|index| (axes[*index].0, sphere::tile(axes[*index].1.direction)));
    let mut cells: Vec<(usize, StockCell)> =
        order.par_iter().map(|index| (*index, survey.cell(axes[*index].1))).collect();
    cells.sort_unstable_by_key(|(index, _)| *index);
    for ((at, _), (_, cell)) in axes.iter().zip(cells) {
        charts[*at].cells.push(cell);
    }
    let findings = charts.iter().filter_map(without_bone).collect();
    Ok(Stock { screw: screw.name.clone(), charts, findings })
}

fn without_bone(chart: &StockChart) -> Option<Finding> {
    chart.cells.iter().all(|cell| cell.near_mm.is_none()).then(|| {
        let text = format!("No direction of the chart from {} meets bone.", chart.origin.name());
        Finding::new("stock.no_bone", text).measured(chart.cells.len() as f64, None, "1")
    })
}

/// A cone to be charted.
struct View {
    origin: StockOrigin,
    pole: Direction,
    half_angle_rad: f64,
    /// `None` from the socket's centre.
    fixed: Option<PatientPoint>,
}

impl View {
    fn seat(&self, plan: &Plan, direction: Direction) -> PatientPoint {
        let socket = &plan.socket;
        self.fixed.unwrap_or(socket.centre + direction * (0.5 * socket.outer_diameter_mm))
    }
}

fn refuse_too_many(plan: &Plan, params: &StockParams) -> Result<(), StockError> {
    let radius_mm = 0.5 * plan.socket.outer_diameter_mm;
    let on_socket =
        sphere::count_at_most(params.centre_half_angle_rad, params.seat_spacing_mm / radius_mm);
    let on_patches: f64 = plan
        .patches
        .iter()
        .map(|patch| 4.0 * (patch.radius_mm / params.seat_spacing_mm + 1.0).powi(2))
        .sum();
    let of_centre = sphere::count_at_most(params.centre_half_angle_rad, params.spacing_rad);
    let of_seat = sphere::count_at_most(params.seat_half_angle_rad, params.spacing_rad);
    let wanted = of_centre + (on_socket + on_patches) * of_seat;
    if wanted > params.most_directions as f64 {
        return Err(StockError::TooMany { wanted, limit: params.most_directions });
    }
    Ok(())
}

fn views(plan: &Plan, params: &StockParams) -> Vec<View> {
    let socket = &plan.socket;
    let dome = -socket.axis;
    let radius_mm = 0.5 * socket.outer_diameter_mm;
    let mut views = vec![View {
        origin: StockOrigin::Centre,
        pole: dome,
        half_angle_rad: params.centre_half_angle_rad,
        fixed: None,
    }];
    let grid = sphere::rings(params.centre_half_angle_rad, params.seat_spacing_mm / radius_mm);
    for (index, out) in sphere::directions(dome, &grid).into_iter().enumerate() {
        views.push(View {
            origin: StockOrigin::Socket(index),
            pole: out,
            half_angle_rad: params.seat_half_angle_rad,
            fixed: Some(socket.centre + out * radius_mm),
        });
    }
    for (at, patch) in plan.patches.iter().enumerate() {
        let (u, v) = patch.direction.across();
        let seats = disc(patch.radius_mm, params.seat_spacing_mm);
        for (index, [x, y]) in seats.into_iter().enumerate() {
            views.push(View {
                origin: StockOrigin::Patch(at, index),
                pole: patch.direction,
                half_angle_rad: params.seat_half_angle_rad,
                fixed: Some(patch.centre + u * x + v * y),
            });
        }
    }
    views
}

/// What every direction is measured with.
struct Survey<'a> {
    scene: &'a Scene<'a>,
    known: path::Known,
    plan: &'a Plan,
    screw: &'a Screw,
    params: &'a StockParams,
}

impl Survey<'_> {
    fn cell(&self, axis: Axis) -> StockCell {
        let (scene, params) = (self.scene, self.params);
        let path = path::measure_bone(scene, axis, &params.path);
        let policy = &self.plan.policy;
        let length_mm = path.far.and_then(|far| {
            recommend_length(
                &self.screw.stocked_lengths_mm,
                far.at_mm,
                policy.far_cortex.value,
                policy.margin_mm.value,
            )
        });
        let thread_mm = self.thread_in_bone(&path, length_mm);
        let purchase_mm = thread_mm.map_or(0.0, |[from, to]| to - from);
        let read = thread_mm.filter(|_| params.thread);
        let side_wall_mm =
            length_mm.filter(|_| params.thread).and_then(|mm| self.side_wall_mm(&path, mm));
        let far_mm = path.far.map(|far| far.at_mm);
        let walls_known = [path.near, path.far].iter().flatten().all(|e| e.cortex_mm.is_some());
        let tip_mm = length_mm.or(far_mm).unwrap_or(path.crossing.seen_to_mm);
        let beyond = path::look_beyond_known(scene, &path, tip_mm, &params.path, &self.known);
        StockCell {
            seat: axis.seat,
            direction: axis.direction,
            bone: path.near.map(|_| path.crossing.bone),
            near_mm: path.near.map(|near| near.at_mm),
            far_mm,
            cortical_mm: walls_known.then(|| length_of(&path.segments, Tissue::Cortical)),
            cancellous_mm: walls_known.then(|| length_of(&path.segments, Tissue::Cancellous)),
            length_mm,
            purchase_mm,
            side_wall_mm,
            thread_hu: read.and_then(|thread| self.thread_hu(axis, thread)),
            pullout_n: read.map(|thread| self.pullout_n(&path, thread)).filter(|n| *n > 0.0),
            beyond,
            dangers: self.dangers(&path, length_mm, side_wall_mm),
        }
    }

    /// As a judged hole's purchase; `None` when it is empty.
    fn thread_in_bone(&self, path: &Path, length_mm: Option<f64>) -> Option<[f64; 2]> {
        let (near, far) = (path.near?, path.far?);
        let (from_mm, to_mm) = self.screw.thread_mm(length_mm?);
        let thread = [from_mm.max(near.at_mm), to_mm.min(far.at_mm)];
        (thread[1] > thread[0]).then_some(thread)
    }

    /// As a judged hole's side wall.
    fn side_wall_mm(&self, path: &Path, length_mm: f64) -> Option<f64> {
        let blocks = self.known.blocks.as_ref();
        path::side_wall_of(self.scene, blocks, path, self.screw, length_mm, &self.params.path)
            .map(|wall| wall.least_mm)
    }

    fn thread_hu(&self, axis: Axis, ends: [f64; 2]) -> Option<f64> {
        let radii = [0.5 * self.screw.core_diameter_mm, 0.5 * self.screw.major_diameter_mm];
        path::thread_mean_hu(self.scene, axis, ends, radii, &self.params.path)
    }

    fn pullout_n(&self, path: &Path, thread_mm: [f64; 2]) -> f64 {
        let held = Held {
            axis: path.axis,
            bone: path.crossing.bone,
            thread_mm,
            segments: &path.segments,
            radius_mm: 0.5 * self.screw.major_diameter_mm,
        };
        estimate_n(self.scene, self.screw, &held, Reading::FULL, &self.params.strength)
    }

    fn dangers(&self, path: &Path, length_mm: Option<f64>, side_wall_mm: Option<f64>) -> Dangers {
        let wanted_mm = self.plan.policy.side_margin_mm.value;
        let medial = match self.plan.side {
            Side::Left => -Direction::LEFT,
            Side::Right => Direction::LEFT,
        };
        let inwards = medial.angle_rad(path.axis.direction) <= self.params.medial_half_angle_rad;
        let depth_mm = path.near.zip(path.far).map(|(near, far)| far.at_mm - near.at_mm);
        let thin = depth_mm.is_some_and(|mm| mm < self.params.thin_wall_mm);
        let ends = path.far.is_some();
        Dangers::default()
            .and(Dangers::NO_BONE, path.near.is_none())
            .and(Dangers::THIN_MEDIAL_WALL, thin && inwards)
            .and(Dangers::LEAVES_SCAN, path.near.is_some() && !ends)
            .and(Dangers::NO_LENGTH, ends && length_mm.is_none())
            .and(Dangers::SIDE_WALL, side_wall_mm.is_some_and(|mm| mm < wanted_mm))
    }
}

fn length_of(segments: &[Segment], tissue: Tissue) -> f64 {
    segments.iter().filter(|s| s.tissue == tissue).fold(0.0, |sum, s| sum + (s.to_mm - s.from_mm))
}
