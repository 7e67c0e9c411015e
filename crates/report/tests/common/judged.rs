//! Hand-made judgements of the made hip: plausible, not measured.

use pilothole_assess::robust::{HoleShare, SetRobust};
use pilothole_assess::set::{
    Access, Apart, ApartReason, Bite, Block, CaseResult, Clash, CoreSection, FrameSource,
    GuideGroup, Guides, KitLine, LoadResult, Lost, Obstacle, Order, OrderStep, Range,
    Reconstruction, ScrewLoad, ScrewSpring, Sequence, SetResult, Spare, SpareReason, StepReason,
    Tier, Wanting,
};
use pilothole_assess::{
    Beyond, Edge, EdgeRule, Finding, Grade, HoleResult, HuSet, HuStatistics, Profile, Pullout,
    Robust, Scene, Segment, Tissue,
};
use pilothole_plan::{Hole, Plan};
use pilothole_volume::Offset;

/// A judgement of every hole.
pub(crate) fn holes(plan: &Plan, scene: &Scene<'_>) -> Vec<HoleResult> {
    plan.holes.iter().enumerate().map(|(index, hole)| judged(index, hole, scene)).collect()
}

fn edge(at_mm: f64) -> Edge {
    Edge {
        at_mm,
        rule: EdgeRule::Plate,
        se_mm: Some(0.21),
        most_off_mm: None,
        cortex_mm: Some(2.1),
        width_mm: Some(2.3),
        cortex_se_mm: Some(0.3),
        peak_hu: Some(1090.0),
        incidence_rad: Some(0.35),
    }
}

fn statistics(values: &[f64]) -> HuStatistics {
    let mut sorted: Vec<f64> = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mean = sorted.iter().sum::<f64>() / sorted.len() as f64;
    let at = |q: f64| sorted[(q * (sorted.len() - 1) as f64) as usize];
    let variance = sorted.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
    HuStatistics {
        mean,
        sd: (variance / (sorted.len() as f64 - 1.0).max(1.0)).sqrt(),
        min: at(0.0),
        p10: at(0.1),
        p50: at(0.5),
        p90: at(0.9),
        max: at(1.0),
        samples: sorted.len(),
    }
}

fn judged(index: usize, hole: &Hole, scene: &Scene<'_>) -> HoleResult {
    let place = |t: f64| hole.seat + hole.direction * t;
    let inside = |t: f64| scene.field.sample_or_nan(place(t)) > 0.0;
    let steps = || (0..1400).map(|n| f64::from(n) * 0.1);
    let near = steps().find(|t| inside(*t));
    let far = near.and_then(|near| steps().find(|t| *t > near + 2.0 && !inside(*t)));
    let length = far.and_then(|far| {
        (3..=14).map(|n| f64::from(n) * 5.0).rev().find(|length| *length <= far - 2.0)
    });
    let purchase = length.zip(near).map_or(0.0, |(l, n)| (l - n).max(0.0));
    let profile = Profile {
        from_mm: -10.0,
        step_mm: 0.3,
        hu: (0..400)
            .map(|n| scene.volume.sample_or_nan(place(-10.0 + 0.3 * f64::from(n))))
            .collect(),
    };
    let along: Vec<f64> = (0..200)
        .map(|n| near.unwrap_or(0.0) + purchase * f64::from(n) / 200.0)
        .map(|t| scene.volume.sample_or_nan(place(t)))
        .filter(|hu| hu.is_finite())
        .collect();
    let hu = (purchase > 0.0 && !along.is_empty()).then(|| {
        let s = statistics(&along);
        HuSet { core: s, thread: s, axis: s }
    });
    let grade = match purchase {
        p if p >= 25.0 => Grade::Good,
        p if p >= 15.0 => Grade::Fair,
        p if p >= 5.0 => Grade::Poor,
        _ => Grade::None,
    };
    let findings = findings(index, length);
    HoleResult {
        hole: index,
        stream: hole.stream(),
        seat: hole.seat,
        direction: hole.direction,
        bone: near.map(|_| 1),
        near: near.map(edge),
        far: far.map(edge),
        length_mm: length,
        purchase_mm: purchase,
        planned_purchase_mm: hole.length_mm.map(|l| (l - near.unwrap_or(l)).max(0.0)),
        engaged_mm: 0.9 * purchase,
        hu,
        segments: segments(near, far),
        cortices: usize::from(near.is_some()),
        side_wall_mm: near.map(|_| if index == 2 { -0.7 } else { 2.4 }),
        side_wall_at_mm: near.map(|n| n + 8.0),
        beyond: Beyond {
            bone_mm: index.is_multiple_of(3).then_some(9.0),
            metal_mm: None,
            skin_mm: Some(64.0),
            scan_end_mm: None,
        },
        pullout: (purchase > 0.0).then(|| pullout(purchase)),
        robust: length.map(|l| robust(index, l, purchase)),
        grade,
        reasons: match grade {
            Grade::Good => vec!["grade.long_purchase", "grade.dense"],
            Grade::Fair => vec!["grade.medium_purchase"],
            Grade::Poor => vec!["grade.short_purchase", "side.breach"],
            _ => vec!["length.none_stocked"],
        },
        trust: near.map(|_| 0.98),
        profile,
        findings,
    }
}

fn findings(index: usize, length: Option<f64>) -> Vec<Finding> {
    let mut findings = Vec::new();
    if length.is_none() {
        findings.push(
            Finding::new(
                "length.none_stocked",
                "No stocked length keeps the margin before the far cortex.",
            )
            .of_hole(index),
        );
    }
    if index == 2 {
        findings.push(
            Finding::new("side.breach", "The screw's surface leaves the bone sideways.")
                .of_hole(index)
                .measured(-0.7, Some(0.0), "mm"),
        );
    }
    findings
}

fn segments(near: Option<f64>, far: Option<f64>) -> Vec<Segment> {
    let (Some(near), Some(far)) = (near, far) else { return Vec::new() };
    let wall = 2.1_f64.min(0.3 * (far - near));
    [
        (0.0, near, Tissue::Outside),
        (near, near + wall, Tissue::Cortical),
        (near + wall, far - wall, Tissue::Cancellous),
        (far - wall, far, Tissue::Cortical),
    ]
    .into_iter()
    .filter(|(from, to, _)| to > from)
    .map(|(from_mm, to_mm, tissue)| Segment { from_mm, to_mm, tissue })
    .collect()
}

fn pullout(purchase: f64) -> Pullout {
    Pullout {
        estimate_n: 42.0 * purchase,
        low_n: 17.0 * purchase,
        high_n: 96.0 * purchase,
        method: "shear of the thread's cylinder, ash density law".to_owned(),
        shares: vec![
            ("law from density to strength", 0.71),
            ("calibration", 0.2),
            ("purchase", 0.09),
        ],
        other_laws: vec![
            ("foam, measured", 63.0 * purchase),
            ("cadaver, low density", 24.0 * purchase),
        ],
    }
}

fn robust(index: usize, length: f64, purchase: f64) -> Robust {
    let ring = (0..48)
        .map(|n| (5.0 + 2.5 * (f64::from(n) * 0.13 + index as f64).sin()).to_radians())
        .collect::<Vec<_>>();
    Robust {
        keeps_margin: 0.99 - 0.03 * (index % 9) as f64,
        stays_inside: 0.97 - 0.02 * (index % 7) as f64,
        keeps_grade: 0.95 - 0.02 * (index % 7) as f64,
        share_se: 0.011,
        purchase_p10_mm: 0.86 * purchase,
        purchase_p50_mm: 0.98 * purchase,
        forgiven_shift_mm: 2.4,
        forgiven_tilt_rad: ring.iter().copied().fold(f64::INFINITY, f64::min),
        tilt_ring_rad: ring,
        purchases_mm: (0..1000)
            .map(|n| (purchase * (0.96 + 0.08 * (f64::from(n) * 1.7).sin())).min(length))
            .collect(),
        samples: 1000,
    }
}

/// A judgement of the set.
pub(crate) fn set(plan: &Plan) -> SetResult {
    let count = plan.holes.len();
    let steps: Vec<OrderStep> = (0..count.saturating_sub(1)).map(step).collect();
    SetResult {
        clash: (count > 4).then(|| clash(plan, 1, 3, -0.4)).into_iter().collect(),
        sharing: (count > 5).then(|| clash(plan, 0, 4, 6.2)).into_iter().collect(),
        metal: Vec::new(),
        access: (0..count).map(access).collect(),
        guides: Some(guides(count)),
        order: Some(Order {
            proposed: Sequence { steps, guide_changes: 2, held_from: Some(3) },
            given: None,
            unfilled: count.checked_sub(1).into_iter().collect(),
        }),
        load: Some(load(count)),
        reconstruction: Reconstruction {
            landmark_se_mm: 2.0,
            wanting: vec![Wanting {
                landmarks: vec!["asis-left".to_owned(), "asis-right".to_owned()],
                allows: "inclination and anteversion of the socket",
            }],
            ..Reconstruction::default()
        },
        kit: vec![
            KitLine { screw: "HB 6.5".to_owned(), length_mm: 30.0, count: 2, holes: vec![0, 1] },
            KitLine { screw: "HB 6.5".to_owned(), length_mm: 45.0, count: 1, holes: vec![2] },
        ],
        spares: vec![Spare {
            screw: "HB 6.5".to_owned(),
            length_mm: 25.0,
            count: 1,
            holes: vec![0],
            reasons: vec![SpareReason::Shorter],
        }],
        robust: Some(SetRobust {
            keeps_every_grade: Some(0.614),
            share_se: 0.0155,
            holes: (0..count)
                .map(|hole| HoleShare {
                    hole,
                    keeps_margin: 0.83,
                    stays_inside: 0.92,
                    keeps_grade: 0.871,
                })
                .collect(),
            samples: 1000,
        }),
        findings: vec![Finding::new(
            "load.no_ischial_screw",
            "A flange screw in the ischium goes with less migration in one series of 49.",
        )],
    }
}

fn clash(plan: &Plan, a: usize, b: usize, gap_mm: f64) -> Clash {
    Clash {
        a,
        b,
        gap_mm,
        at_a_mm: 12.0,
        at_b_mm: 14.0,
        at: plan.holes[a].seat + plan.holes[a].direction * 12.0,
    }
}

fn access(hole: usize) -> Access {
    let blocks = if hole == 6 {
        vec![Block {
            obstacle: Obstacle::Bone,
            at: None,
            at_mm: Some(31.0),
            depth_mm: Some(2.0),
            excess_rad: None,
        }]
    } else {
        Vec::new()
    };
    Access {
        hole,
        blocks,
        frees: None,
        to_approach_rad: Some(0.4),
        skin_mm: Some(88.0),
        soft_tissue_mm: Some(60.0),
        unseen_mm: 0.0,
        aside: Vec::new(),
        incidence_rad: Some(0.5),
        bite: Some(Bite::Sound),
        edge_depth_mm: Some(3.0),
    }
}

fn guides(count: usize) -> Guides {
    let groups = (0..3)
        .map(|g| GuideGroup {
            holes: (0..count).filter(|h| h % 3 == g).collect(),
            insertion: None,
            widest_rad: 0.4,
        })
        .collect();
    Guides {
        groups,
        apart: vec![Apart { a: 0, b: 1, reason: ApartReason::Sleeves { gap_mm: -1.2 } }],
        exact: true,
        sleeve_radius_mm: 5.0,
        sleeve_length_mm: 25.0,
        clearance_mm: 0.2,
        play_rad: 0.008,
    }
}

fn step(index: usize) -> OrderStep {
    OrderStep {
        hole: index,
        reason: if index == 0 { StepReason::IliumFirst } else { StepReason::Stiffest },
        guide: Some(index % 3),
        changes_guide: index > 0,
        held: (2 * (index + 1)).min(6),
        movement_um: (index >= 2).then(|| 90.0 / (index as f64)),
        held_by_hand_um: 200.0 / (index as f64 + 1.0),
    }
}

fn load(count: usize) -> LoadResult {
    let screws = (0..count)
        .map(|hole| ScrewLoad {
            hole,
            axial_n: 120.0 - 30.0 * hole as f64,
            lateral_n: 80.0 + 12.0 * hole as f64,
            axial_share: 1.0 / count as f64,
            lateral_share: 1.0 / count as f64,
            pullout_use: Some(0.1 + 0.02 * hole as f64),
            pullout_use_low: Some(0.3),
            bending_use: 0.2,
            core_use: 0.25,
        })
        .collect::<Vec<_>>();
    let range = |middle: f64| Range { low: 0.8 * middle, middle, high: 1.3 * middle };
    let case = |name, outlier, middle: f64| CaseResult {
        name,
        force_n: Offset([-200.0, 300.0, 1700.0]),
        outlier,
        movement_um: Some(range(middle)),
        movement_by_stiffness_um: Some(range(middle)),
        turn_rad: Some(0.0004),
        tier: Some(if middle < 30.0 { Tier::Doubtful } else { Tier::Poor }),
        screws: screws.clone(),
        poorest_low_um: Some(1.6 * middle),
        contact_share: None,
    };
    LoadResult {
        body_mass_kg: 75.0,
        mass_stated: true,
        frame: FrameSource::Scanner,
        tilt_rad: 10.0_f64.to_radians(),
        bone_contact: false,
        springs: (0..count)
            .map(|hole| ScrewSpring {
                hole,
                axial_n_per_mm: range(4000.0),
                lateral_n_per_mm: range(900.0),
                mean_modulus_mpa: 240.0,
                bending_arm_mm: 6.0,
                core: CoreSection { diameter_mm: 3.0, yield_mpa: 795.0 },
                pullout_n: Some((1200.0, 500.0)),
            })
            .collect(),
        held: 6,
        free: Vec::new(),
        cases: vec![
            case("walking, first peak", false, 24.0),
            case("walking, second peak", false, 29.0),
            case("one leg", false, 22.0),
            case("rising from a chair", false, 33.0),
            case("stumble", true, 84.0),
        ],
        worst_um: Some(43.0),
        tier: Some(Tier::Poor),
        unreached: None,
        worst_lost: Some(Lost {
            hole: 0,
            movement_um: Some(66.0),
            tier: Some(Tier::Poor),
            pullout_use: Some(0.5),
            bending_use: Some(0.3),
        }),
        poorest: vec![1, 2],
        spread_mm2: 1500.0,
    }
}
