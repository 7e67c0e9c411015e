//! The holes as a set, as written: room, access, guides, order, kit.

use pilothole_assess::robust::SetRobust;
use pilothole_assess::set::{
    Access, Apart, ApartReason, Block, Clash, GuideGroup, KitLine, MetalNear, Order, OrderStep,
    Sequence, SetResult, Spare,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ids::Ids;
use super::load::LoadRecord;
use crate::number::{deg, kept, mm, share};

/// The holes as a set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SetRecord {
    /// Pairs of screws nearer than wanted, nearest first.
    pub clash: Vec<ClashRecord>,
    /// Pairs near enough to share bone, not in `clash`.
    pub sharing: Vec<ClashRecord>,
    /// Screws near metal that is in the scan.
    pub metal: Vec<MetalRecord>,
    /// Can a drill get there, in the plan's order.
    pub access: Vec<AccessRecord>,
    /// Which holes share a guide; null when no hole can take a screw.
    pub guides: Option<Vec<GuideRecord>>,
    /// What keeps each pair of holes in different guides apart.
    pub apart: Vec<ApartRecord>,
    /// Whether the number of guides is proven least.
    pub guides_exact: Option<bool>,
    /// Angular play of a bit in a sleeve, degrees.
    pub sleeve_play_deg: Option<f64>,
    /// About the order of filling; its steps are the report's `order`.
    pub sequence: Option<SequenceRecord>,
    /// How the load is shared.
    pub load: Option<LoadRecord>,
    /// What happens when the component and every guide sit wrong; null when
    /// that was not tried.
    pub robust: Option<SetRobustRecord>,
}

/// The set under placement errors of the whole component and of each guide.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SetRobustRecord {
    /// Share of placements in which every hole that was tried keeps its grade;
    /// null when no hole could be tried.
    pub keeps_every_grade: Option<f64>,
    /// Standard error of the shares, at most.
    pub share_se: Option<f64>,
    /// Placements tried.
    pub samples: usize,
    /// The same hole by hole.
    pub holes: Vec<HoleShareRecord>,
}

/// A hole under the errors of its component and its own.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HoleShareRecord {
    /// Id of the hole.
    pub hole: String,
    /// Share of placements that keep the far-cortex margin.
    pub keeps_margin: Option<f64>,
    /// Share of placements that stay inside sideways.
    pub stays_inside: Option<f64>,
    /// Share of placements that keep the hole's grade.
    pub keeps_grade: Option<f64>,
}

/// Two screws, and the room between their surfaces.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClashRecord {
    /// Id of the first hole.
    pub a: String,
    /// Id of the second hole.
    pub b: String,
    /// Least distance between the surfaces, mm; negative when they overlap.
    pub gap_mm: Option<f64>,
    /// Midway between the nearest points, mm, LPS.
    pub at_mm: Option<[f64; 3]>,
    /// On the first screw, mm from its seat.
    pub at_a_mm: Option<f64>,
    /// On the second screw, mm from its seat.
    pub at_b_mm: Option<f64>,
}

/// A screw near metal in the scan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MetalRecord {
    /// Id of the hole.
    pub hole: String,
    /// From the screw's surface to the metal, mm.
    pub gap_mm: Option<f64>,
    /// Where, mm from the seat.
    pub at_mm: Option<f64>,
}

/// Whether a drill gets to a hole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AccessRecord {
    /// Id of the hole.
    pub hole: String,
    /// Whether nothing is in the way.
    pub clear: bool,
    /// What is.
    pub blocks: Vec<BlockRecord>,
    /// Least tilt that frees a blocked drill, degrees.
    pub frees_deg: Option<f64>,
    /// Whether that lies within the hole's swivel.
    pub frees_within_swivel: Option<bool>,
    /// Angle to the wound's axis, degrees.
    pub to_approach_deg: Option<f64>,
    /// From the seat back to the skin, mm.
    pub skin_mm: Option<f64>,
    /// Of that, soft tissue, mm.
    pub soft_tissue_mm: Option<f64>,
    /// Length of the drill's way outside the region looked at, mm.
    pub unseen_mm: Option<f64>,
    /// Labels of bones that have to be moved aside.
    pub aside: Vec<u8>,
    /// Angle between bit and surface normal, degrees.
    pub incidence_deg: Option<f64>,
    /// `sound`, `may skive` or `unreliable`.
    pub bite: Option<String>,
    /// Difference in depth across the screw's diameter, mm.
    pub edge_depth_mm: Option<f64>,
}

/// One thing in a drill's way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BlockRecord {
    /// `bone`, `rim`, `table` or `cone`.
    pub obstacle: String,
    /// Where, mm, LPS.
    pub at_patient_mm: Option<[f64; 3]>,
    /// Where along the drill, mm behind the seat.
    pub at_mm: Option<f64>,
    /// How far the drill reaches into it, mm.
    pub depth_mm: Option<f64>,
    /// How far outside the wound's cone, degrees.
    pub excess_deg: Option<f64>,
}

/// A guide.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GuideRecord {
    /// Its letter.
    pub name: String,
    /// Ids of its holes.
    pub holes: Vec<String>,
    /// Direction in which it is pushed on, LPS.
    pub insertion: Option<[f64; 3]>,
    /// Largest angle between that and one of its sleeves, degrees.
    pub widest_deg: Option<f64>,
}

/// Why two holes are in different guides.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ApartRecord {
    /// Id of the first hole.
    pub a: String,
    /// Id of the second hole.
    pub b: String,
    /// `zone`, `sleeves`, `insertion` or `rest`.
    pub reason: String,
    /// Room between the sleeves, mm; for `sleeves`.
    pub gap_mm: Option<f64>,
    /// Angle between the sleeves, degrees; for `insertion`.
    pub angle_deg: Option<f64>,
}

/// About the order of filling.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SequenceRecord {
    /// Changes from one guide to another.
    pub guide_changes: usize,
    /// Number of screws from which on the part is held in all six directions.
    pub held_from: Option<usize>,
    /// The plan's own order, judged the same way.
    pub given: Option<Vec<OrderRecord>>,
    /// Guide changes of the plan's own order.
    pub given_guide_changes: Option<usize>,
    /// The same as `held_from`, of the plan's own order.
    pub given_held_from: Option<usize>,
    /// Ids of holes without a screw that holds.
    pub unfilled: Vec<String>,
}

/// One step of filling.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OrderRecord {
    /// From 1.
    pub step: usize,
    /// Id of the hole.
    pub hole: String,
    /// Why now: `given`, `ilium first`, `opposed`, `same guide`, `stiffest`,
    /// `last`.
    pub reason: String,
    /// Letter of the guide.
    pub guide: Option<String>,
    /// Whether that is another guide than before.
    pub changes_guide: bool,
    /// Directions, of six, in which the part is held after the step.
    pub held: usize,
    /// Largest movement of the hip centre after the step, µm.
    pub movement_um: Option<f64>,
    /// The same with a hand that holds the part, µm.
    pub held_by_hand_um: Option<f64>,
}

/// One line of what the plan needs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KitRecord {
    /// Name of the screw.
    pub screw: String,
    /// Length, seat to tip, mm.
    pub length_mm: f64,
    /// How many.
    pub count: usize,
    /// Ids of the holes.
    pub holes: Vec<String>,
}

/// One line of what to have at hand beside the kit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpareRecord {
    /// Name of the screw.
    pub screw: String,
    /// Length, seat to tip, mm.
    pub length_mm: f64,
    /// How many.
    pub count: usize,
    /// Ids of the holes they would serve.
    pub holes: Vec<String>,
    /// `shorter` or `longer`, for each of these holes.
    pub reasons: Vec<String>,
}

impl SetRecord {
    /// The wire form.
    pub(crate) fn of(set: &SetResult, ids: &Ids) -> Self {
        let guides = set.guides.as_ref();
        Self {
            clash: set.clash.iter().map(|c| clash(c, ids)).collect(),
            sharing: set.sharing.iter().map(|c| clash(c, ids)).collect(),
            metal: set.metal.iter().map(|m| metal(m, ids)).collect(),
            access: set.access.iter().map(|a| access(a, ids)).collect(),
            guides: guides.map(|g| {
                g.groups.iter().enumerate().map(|(i, group)| guide(i, group, ids)).collect()
            }),
            apart: guides.iter().flat_map(|g| &g.apart).map(|a| apart(a, ids)).collect(),
            guides_exact: guides.map(|g| g.exact),
            sleeve_play_deg: guides.and_then(|g| deg(g.play_rad)),
            sequence: set.order.as_ref().map(|o| sequence(o, ids)),
            load: set.load.as_ref().map(|l| LoadRecord::of(l, ids)),
            robust: set.robust.as_ref().map(|r| robust(r, ids)),
        }
    }
}

impl KitRecord {
    /// The wire form.
    pub(crate) fn of(line: &KitLine, ids: &Ids) -> Self {
        Self {
            screw: line.screw.clone(),
            length_mm: mm(line.length_mm).unwrap_or_default(),
            count: line.count,
            holes: ids.all(&line.holes),
        }
    }
}

impl SpareRecord {
    /// The wire form.
    pub(crate) fn of(spare: &Spare, ids: &Ids) -> Self {
        Self {
            screw: spare.screw.clone(),
            length_mm: mm(spare.length_mm).unwrap_or_default(),
            count: spare.count,
            holes: ids.all(&spare.holes),
            reasons: spare.reasons.iter().map(|r| r.word().to_owned()).collect(),
        }
    }
}

/// The letter of a guide: A to Z, then A2, B2 and so on.
fn letter(index: usize) -> String {
    let round = index / 26;
    let letter = char::from(b'A' + (index % 26) as u8);
    if round == 0 { letter.to_string() } else { format!("{letter}{}", round + 1) }
}

/// The steps of a sequence as written.
pub(crate) fn steps(sequence: &Sequence, ids: &Ids) -> Vec<OrderRecord> {
    let step = |(index, step): (usize, &OrderStep)| OrderRecord {
        step: index + 1,
        hole: ids.of(step.hole),
        reason: step.reason.word().to_owned(),
        guide: step.guide.map(letter),
        changes_guide: step.changes_guide,
        held: step.held,
        movement_um: step.movement_um.and_then(|v| kept(v, 2)),
        held_by_hand_um: kept(step.held_by_hand_um, 2),
    };
    sequence.steps.iter().enumerate().map(step).collect()
}

fn robust(robust: &SetRobust, ids: &Ids) -> SetRobustRecord {
    SetRobustRecord {
        keeps_every_grade: robust.keeps_every_grade.and_then(share),
        share_se: share(robust.share_se),
        samples: robust.samples,
        holes: robust
            .holes
            .iter()
            .map(|hole| HoleShareRecord {
                hole: ids.of(hole.hole),
                keeps_margin: share(hole.keeps_margin),
                stays_inside: share(hole.stays_inside),
                keeps_grade: share(hole.keeps_grade),
            })
            .collect(),
    }
}

fn clash(clash: &Clash, ids: &Ids) -> ClashRecord {
    ClashRecord {
        a: ids.of(clash.a),
        b: ids.of(clash.b),
        gap_mm: mm(clash.gap_mm),
        at_mm: super::point(clash.at),
        at_a_mm: mm(clash.at_a_mm),
        at_b_mm: mm(clash.at_b_mm),
    }
}

fn metal(near: &MetalNear, ids: &Ids) -> MetalRecord {
    MetalRecord { hole: ids.of(near.hole), gap_mm: mm(near.gap_mm), at_mm: mm(near.at_mm) }
}

fn access(access: &Access, ids: &Ids) -> AccessRecord {
    AccessRecord {
        hole: ids.of(access.hole),
        clear: access.is_clear(),
        blocks: access.blocks.iter().map(block).collect(),
        frees_deg: access.frees.and_then(|f| deg(f.tilt_rad)),
        frees_within_swivel: access.frees.map(|f| f.within_swivel),
        to_approach_deg: access.to_approach_rad.and_then(deg),
        skin_mm: access.skin_mm.and_then(mm),
        soft_tissue_mm: access.soft_tissue_mm.and_then(mm),
        unseen_mm: mm(access.unseen_mm),
        aside: access.aside.clone(),
        incidence_deg: access.incidence_rad.and_then(deg),
        bite: access.bite.map(|b| b.word().to_owned()),
        edge_depth_mm: access.edge_depth_mm.and_then(mm),
    }
}

fn block(block: &Block) -> BlockRecord {
    BlockRecord {
        obstacle: block.obstacle.word().to_owned(),
        at_patient_mm: block.at.and_then(super::point),
        at_mm: block.at_mm.and_then(mm),
        depth_mm: block.depth_mm.and_then(mm),
        excess_deg: block.excess_rad.and_then(deg),
    }
}

fn guide(index: usize, group: &GuideGroup, ids: &Ids) -> GuideRecord {
    GuideRecord {
        name: letter(index),
        holes: ids.all(&group.holes),
        insertion: group.insertion.map(super::unit),
        widest_deg: deg(group.widest_rad),
    }
}

fn apart(apart: &Apart, ids: &Ids) -> ApartRecord {
    let (reason, gap_mm, angle_deg) = match apart.reason {
        ApartReason::Zone => ("zone", None, None),
        ApartReason::Sleeves { gap_mm } => ("sleeves", mm(gap_mm), None),
        ApartReason::Insertion { angle_rad } => ("insertion", None, deg(angle_rad)),
        ApartReason::Rest => ("rest", None, None),
    };
    ApartRecord {
        a: ids.of(apart.a),
        b: ids.of(apart.b),
        reason: reason.to_owned(),
        gap_mm,
        angle_deg,
    }
}

fn sequence(order: &Order, ids: &Ids) -> SequenceRecord {
    let given = order.given.as_ref();
    SequenceRecord {
        guide_changes: order.proposed.guide_changes,
        held_from: order.proposed.held_from,
        given: given.map(|g| steps(g, ids)),
        given_guide_changes: given.map(|g| g.guide_changes),
        given_held_from: given.and_then(|g| g.held_from),
        unfilled: ids.all(&order.unfilled),
    }
}
