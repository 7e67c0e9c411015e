//! How the set carries the hip's load.
//!
//! The part is rigid, each screw a spring; no friction, since bone slips 50 to
//! 400 µm on porous metal before it acts (sheet 2 §2.2), which is more than
//! bone grows into. Elastic movement only: nothing here yields or loosens.

use nalgebra::{Matrix3, Vector3, Vector6};
use pilothole_plan::{Plan, Side};

use super::cases::{CASES, LoadCase};
use super::frames;
use super::model::{Answer, LoadAxes, Model};
use super::params::LoadParams;
use super::rigid::ARM_MM;
use super::springs::{Anchor, offset, vector};
use super::types::{
    CaseResult, FrameSource, FreeDirection, LoadResult, Lost, PelvicFrame, Range, ScrewLoad, Tier,
    Unreached,
};

/// The part of a plan on its screws, and what it is loaded with.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Loaded {
    /// The screws that hold.
    pub anchors: Vec<Anchor>,
    /// The load cases' axes and mass.
    pub axes: LoadAxes,
    /// Where the axes came from.
    pub source: FrameSource,
    /// Softest, middle, stiffest.
    pub models: [Model; 3],
}

impl Loaded {
    /// Put screws, contact and load together.
    ///
    /// - `app`, `isb`: pelvic frames where the landmarks allow them. Without
    ///   the first the scanner's axes stand for it, without the second the
    ///   first does.
    pub(crate) fn new(
        plan: &Plan,
        anchors: Vec<Anchor>,
        contact: &[super::model::ContactPatch],
        [app, isb]: [Option<PelvicFrame>; 2],
        params: &LoadParams,
    ) -> Self {
        let source =
            if app.is_some() { FrameSource::AnteriorPelvicPlane } else { FrameSource::Scanner };
        let base = app.unwrap_or_else(|| frames::scanner(plan.socket.centre));
        let axes = LoadAxes {
            app: case_axes(&base, plan.side),
            isb: case_axes(&isb.unwrap_or(base), plan.side),
            tilt_rad: match source {
                FrameSource::AnteriorPelvicPlane => params.tilt_rad,
                FrameSource::Scanner => params.scanner_tilt_rad,
            },
            body_mass_kg: plan.load.map_or(params.body_mass_kg, |load| load.body_mass_kg),
        };
        let models = std::array::from_fn(|i| Model {
            screws: anchors.iter().map(|anchor| anchor.springs[i]).collect(),
            contact: contact.to_vec(),
            tolerance: params.rank_tolerance,
        });
        Self { anchors, axes, source, models }
    }
}

fn case_axes(frame: &PelvicFrame, side: Side) -> Matrix3<f64> {
    let medial = -frame.lateral(side);
    let columns = [frame.anterior, frame.superior, medial].map(|d| vector(d.offset()));
    Matrix3::from_columns(&columns)
}

/// Judge how the set carries the load; `None` without a screw that holds.
///
/// - `blocked`: holes that no drill reaches as planned.
pub(crate) fn share_load(
    plan: &Plan,
    loaded: &Loaded,
    blocked: &[usize],
    purchases_mm: &[f64],
    params: &LoadParams,
) -> Option<LoadResult> {
    if loaded.anchors.is_empty() {
        return None;
    }
    let poorest = poorest_third(&loaded.anchors, purchases_mm);
    let hold = loaded.models[1].hold();
    let free = hold.free().iter().map(free_direction).collect();
    let cases: Vec<CaseResult> =
        CASES.iter().map(|case| judge_case(loaded, case, &poorest, params)).collect();
    let worst_um = loaded.models[1].worst_um(&loaded.axes.everyday());
    Some(LoadResult {
        body_mass_kg: loaded.axes.body_mass_kg,
        mass_stated: plan.load.is_some(),
        frame: loaded.source,
        tilt_rad: loaded.axes.tilt_rad,
        bone_contact: !loaded.models[1].contact.is_empty(),
        springs: loaded.anchors.iter().map(|anchor| anchor.told.clone()).collect(),
        held: hold.held(),
        free,
        cases,
        worst_um,
        tier: worst_um.map(|um| tier(um, params)),
        worst_lost: worst_lost(loaded, params),
        unreached: without_blocked(loaded, blocked),
        poorest: poorest.iter().map(|i| loaded.anchors[*i].told.hole).collect(),
        spread_mm2: spread_mm2(plan, &loaded.anchors),
    })
}

/// The tier of a movement.
pub(crate) fn tier(movement_um: f64, params: &LoadParams) -> Tier {
    if movement_um <= params.fine_um {
        Tier::Fine
    } else if movement_um <= params.doubtful_um {
        Tier::Doubtful
    } else if movement_um <= params.poor_um {
        Tier::Poor
    } else {
        Tier::Bad
    }
}

fn judge_case(
    loaded: &Loaded,
    case: &LoadCase,
    poorest: &[usize],
    params: &LoadParams,
) -> CaseResult {
    let level = loaded.axes.load(case, 0.0);
    let force: Vector3<f64> = level.fixed_rows::<3>(0).into_owned();
    let middle = &loaded.models[1];
    let answer = middle.answer(&level);
    let moved = |model: &Model| model.answer(&level).map(|a| a.movement_um());
    let by_tilt: Option<Vec<f64>> = loaded
        .axes
        .tilts()
        .iter()
        .map(|tilt| middle.answer(&loaded.axes.load(case, *tilt)).map(|a| a.movement_um()))
        .collect();
    let movement_um = by_tilt.map(|all| Range {
        low: all.iter().copied().fold(f64::INFINITY, f64::min),
        middle: all[1],
        high: all.iter().copied().fold(0.0, f64::max),
    });
    let by_stiffness = moved(&loaded.models[2])
        .zip(moved(&loaded.models[1]))
        .zip(moved(&loaded.models[0]))
        .map(|((low, middle), high)| Range { low, middle, high });
    let mut weakened = middle.clone();
    for weak in poorest {
        weakened.screws[*weak] = loaded.models[0].screws[*weak];
    }
    let counted = !middle.contact.is_empty();
    CaseResult {
        name: case.name,
        force_n: offset(force),
        outlier: case.outlier,
        movement_um,
        movement_by_stiffness_um: by_stiffness,
        turn_rad: answer.as_ref().map(|a| a.motion.fixed_rows::<3>(3).norm()),
        tier: movement_um.map(|um| tier(um.high, params)),
        screws: answer.as_ref().map_or_else(Vec::new, |a| screw_loads(&loaded.anchors, a)),
        poorest_low_um: moved(&weakened),
        contact_share: answer.filter(|_| counted).map(|a| a.contact.norm() / force.norm()),
    }
}

/// What each screw carries.
fn screw_loads(anchors: &[Anchor], answer: &Answer) -> Vec<ScrewLoad> {
    let parts: Vec<(f64, f64)> = anchors
        .iter()
        .zip(&answer.forces)
        .map(|(anchor, force)| {
            let along = force.dot(&anchor.axis);
            // The part pushes the screw into bone when the force runs along it.
            (-along, (force - anchor.axis * along).norm())
        })
        .collect();
    let axial_sum: f64 = parts.iter().map(|(axial, _)| axial.abs()).sum();
    let lateral_sum: f64 = parts.iter().map(|(_, lateral)| lateral).sum();
    let share = |part: f64, sum: f64| if sum > 0.0 { part / sum } else { 0.0 };
    anchors
        .iter()
        .zip(&parts)
        .map(|(anchor, (axial_n, lateral_n))| {
            let core = anchor.told.core;
            let bending_use = lateral_n * anchor.told.bending_arm_mm / core.first_yield_n_mm();
            let pulled_use = bending_use + axial_n.abs() / core.tension_n();
            ScrewLoad {
                hole: anchor.told.hole,
                axial_n: *axial_n,
                lateral_n: *lateral_n,
                axial_share: share(axial_n.abs(), axial_sum),
                lateral_share: share(*lateral_n, lateral_sum),
                pullout_use: anchor.told.pullout_n.and_then(|(middle, _)| used(*axial_n, middle)),
                pullout_use_low: anchor.told.pullout_n.and_then(|(_, low)| used(*axial_n, low)),
                bending_use,
                core_use: pulled_use.max(lateral_n / core.shear_n()),
            }
        })
        .collect()
}

fn used(force_n: f64, strength_n: f64) -> Option<f64> {
    (strength_n > 0.0).then(|| force_n.abs() / strength_n)
}

/// The loss of one screw that does most harm: one that is then not held before
/// one that moves, then the larger movement.
fn worst_lost(loaded: &Loaded, params: &LoadParams) -> Option<Lost> {
    if loaded.anchors.len() < 2 {
        return None;
    }
    let loads = loaded.axes.everyday();
    let harm = |lost: usize| loaded.models[1].without(lost).worst_um(&loads);
    let rank = |movement: Option<f64>| movement.unwrap_or(f64::INFINITY);
    let (lost, movement_um) = (0..loaded.anchors.len())
        .map(|lost| (lost, harm(lost)))
        .reduce(|worst, next| if rank(next.1) > rank(worst.1) { next } else { worst })?;
    let mut left = loaded.anchors.clone();
    let hole = left.remove(lost).told.hole;
    let model = loaded.models[1].without(lost);
    let carried: Option<Vec<Vec<ScrewLoad>>> =
        loads.iter().map(|load| Some(screw_loads(&left, &model.answer(load)?))).collect();
    let most = |pick: fn(&ScrewLoad) -> Option<f64>| {
        carried.as_ref()?.iter().flatten().filter_map(pick).reduce(f64::max)
    };
    Some(Lost {
        hole,
        movement_um,
        tier: movement_um.map(|um| tier(um, params)),
        pullout_use: most(|screw| screw.pullout_use),
        bending_use: most(|screw| Some(screw.bending_use)),
    })
}

/// What is left without the screws that no drill reaches.
fn without_blocked(loaded: &Loaded, blocked: &[usize]) -> Option<Unreached> {
    let is_blocked = |i: &usize| blocked.contains(&loaded.anchors[*i].told.hole);
    let lost: Vec<usize> = (0..loaded.anchors.len()).filter(is_blocked).collect();
    if lost.is_empty() {
        return None;
    }
    let left = lost.iter().rev().fold(loaded.models[1].clone(), |model, i| model.without(*i));
    Some(Unreached {
        holes: lost.iter().map(|i| loaded.anchors[*i].told.hole).collect(),
        held: left.hold().held(),
        movement_um: left.worst_um(&loaded.axes.everyday()),
    })
}

/// Positions of the poorest third, rounded up, by low pull-out strength, then
/// by purchase.
fn poorest_third(anchors: &[Anchor], purchases_mm: &[f64]) -> Vec<usize> {
    let mut ranked: Vec<usize> = (0..anchors.len()).collect();
    let key = |i: &usize| {
        let told = &anchors[*i].told;
        let purchase = purchases_mm.get(told.hole).copied().unwrap_or(0.0);
        (told.pullout_n.map_or(0.0, |(_, low)| low), purchase)
    };
    ranked.sort_by(|a, b| {
        let (a, b) = (key(a), key(b));
        a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1))
    });
    ranked.truncate(anchors.len().div_ceil(3));
    ranked.sort_unstable();
    ranked
}

/// A free direction, scaled to a largest part of 1, and in words.
fn free_direction(direction: &Vector6<f64>) -> FreeDirection {
    let shift: Vector3<f64> = direction.fixed_rows::<3>(0).into_owned();
    let turn: Vector3<f64> = direction.fixed_rows::<3>(3).into_owned();
    let scale = 1.0 / shift.norm().max(turn.norm());
    let (shift, turn) = (shift * scale, turn * scale);
    let towards = |v: Vector3<f64>| {
        let unit = v / v.norm();
        format!("({:.2}, {:.2}, {:.2})", unit.x, unit.y, unit.z)
    };
    let text = if turn.norm() < 1e-6 {
        format!("shift along {}", towards(shift))
    } else if shift.norm() < 1e-6 {
        format!("turn about {} through the hip centre", towards(turn))
    } else {
        // The line that stays: the part of the shift across the turn moves it.
        let angular = turn / ARM_MM;
        let foot = angular.cross(&shift) / angular.norm_squared();
        format!("turn about {} through {:.1} mm off the hip centre", towards(turn), foot.norm())
    };
    FreeDirection { shift: offset(shift), turn: offset(turn), text }
}

/// Area of the convex hull of the seats seen along the socket's axis, mm².
fn spread_mm2(plan: &Plan, anchors: &[Anchor]) -> f64 {
    let (u, v) = plan.socket.axis.across();
    let mut points: Vec<[f64; 2]> = anchors
        .iter()
        .map(|anchor| [anchor.at.dot(&vector(u.offset())), anchor.at.dot(&vector(v.offset()))])
        .collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let turn = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    };
    let half = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut hull: Vec<[f64; 2]> = Vec::new();
        for point in points {
            while hull.len() > 1 && turn(hull[hull.len() - 2], hull[hull.len() - 1], point) <= 0.0 {
                hull.pop();
            }
            hull.push(point);
        }
        hull
    };
    let mut hull = half(&mut points.iter().copied());
    hull.pop();
    let upper = half(&mut points.iter().rev().copied());
    hull.extend(upper);
    let doubled: f64 = hull.windows(2).map(|w| w[0][0] * w[1][1] - w[1][0] * w[0][1]).sum();
    0.5 * doubled.abs()
}
