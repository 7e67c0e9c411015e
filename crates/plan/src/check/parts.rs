//! Each part of a plan from its fields; what was left out is resolved here.

use std::collections::BTreeMap;

use super::Check;
use crate::landmark::{Landmark, LandmarkName, Side};
use crate::model::{
    Approach, BoneRegion, BoneWishes, Calibration, CalibrationMaterial, Component, FarCortex,
    Guide, Hole, Insert, Load, Origin, Patch, Plan, Policy, Resolved, Socket, Zone,
};
use crate::nearest::nearest_word;
use crate::problem::PlanProblem;
use crate::schema::shown;
use crate::screw::{COMMON_LENGTHS, FROM_PLAN, Screw, common_lengths_mm, thread_table};
use crate::tree::Node;
use crate::wire::{WireCalibration, WireGuide, WireHole, WirePlan, WirePolicy, WireScrew};

const NO_SOURCE: &str = "no source";
/// Kirkpatrick JS 1990, Clin Orthop 183-190: external iliac vessels can lie
/// within 5 mm of the inner cortex, so the cautious policy is the default.
const VESSELS: &str = "caution: vessels lie within 5 mm of the inner cortex (Kirkpatrick 1990)";

pub(super) fn plan(check: &mut Check, root: &Node, wire: WirePlan) -> Plan {
    let socket_node = root.get("socket").map_or(root, |f| &f.value);
    let socket = Socket {
        centre: check.point(wire.socket.centre_mm),
        axis: check.direction(socket_node, "axis", wire.socket.axis),
        outer_diameter_mm: wire.socket.outer_diameter_mm,
    };
    let approach = wire.approach.map(|a| Approach {
        axis: check.direction(root.get("approach").map_or(root, |f| &f.value), "axis", a.axis),
        half_angle_rad: a.half_angle_deg.to_radians(),
        drill_length_mm: a.drill_length_mm,
        drill_radius_mm: a.drill_radius_mm,
    });
    let calibration = wire.calibration.and_then(|c| calibration(check, root, c));
    let mut shelf = Shelf::new(check, root, wire.screw);
    let holes = holes(check, root, wire.hole, &mut shelf);
    let order = wire.order.map(|ids| order(check, root, &ids, &holes));
    let patches = wire
        .patch
        .into_iter()
        .enumerate()
        .map(|(i, p)| Patch {
            id: p.id,
            centre: check.point(p.centre_mm),
            direction: check.direction(root.entry("patch", i), "direction", p.direction),
            radius_mm: p.radius_mm,
        })
        .collect();
    let landmarks = wire
        .landmark
        .iter()
        .filter_map(|l| {
            let name = LandmarkName::from_word(&l.name)?;
            Some(Landmark { name, at: check.point(l.at_mm) })
        })
        .collect();
    Plan {
        side: Side::from_word(&wire.side).unwrap_or(Side::Left),
        socket,
        policy: policy(wire.policy.unwrap_or_default()),
        bone: BoneWishes { threshold_hu: wire.bone.unwrap_or_default().threshold_hu },
        approach,
        component: wire.component.map(|c| Component { mesh: c.mesh }),
        guide: guide(&wire.guide.unwrap_or_default()),
        calibration,
        load: wire.load.map(|l| Load {
            body_mass_kg: l.body_mass_kg,
            bone_contact: l.bone_contact.unwrap_or(false),
        }),
        screws: shelf.screws,
        holes,
        order,
        patches,
        landmarks,
    }
}

fn resolved<T>(written: Option<T>, default: T, source: &'static str) -> Resolved<T> {
    match written {
        Some(value) => Resolved { value, from: Origin::Plan },
        None => Resolved { value: default, from: Origin::Default(source) },
    }
}

fn policy(wire: WirePolicy) -> Policy {
    let far_cortex = wire.far_cortex.map(|word| match word.as_str() {
        "engage" => FarCortex::Engage,
        _ => FarCortex::StopShort,
    });
    Policy {
        far_cortex: resolved(far_cortex, FarCortex::StopShort, VESSELS),
        margin_mm: resolved(wire.margin_mm, 2.0, NO_SOURCE),
        side_margin_mm: resolved(wire.side_margin_mm, 1.0, NO_SOURCE),
        screw_gap_mm: resolved(wire.screw_gap_mm, 1.0, NO_SOURCE),
    }
}

fn guide(wire: &WireGuide) -> Guide {
    Guide {
        sleeve_radius_mm: resolved(wire.sleeve_radius_mm, 5.0, NO_SOURCE),
        sleeve_length_mm: resolved(wire.sleeve_length_mm, 20.0, NO_SOURCE),
        clearance_mm: resolved(wire.clearance_mm, 0.2, NO_SOURCE),
    }
}

fn calibration(check: &mut Check, root: &Node, wire: WireCalibration) -> Option<Calibration> {
    let material =
        if wire.material == "HA" { CalibrationMaterial::Ha } else { CalibrationMaterial::K2hpo4 };
    let line = root.line_of("calibration");
    match (wire.slope, wire.intercept, wire.insert.len()) {
        (Some(slope), Some(intercept), 0) => Some(Calibration::Line { material, slope, intercept }),
        (None, None, 2..) => {
            let insert = |i: crate::wire::WireInsert| Insert {
                at: check.point(i.at_mm),
                density_mg_cm3: i.density_mg_cm3,
                radius_mm: i.radius_mm,
            };
            let inserts = wire.insert.into_iter().map(insert).collect();
            Some(Calibration::Inserts { material, inserts })
        }
        _ => {
            let text = "`calibration` needs either `slope` and `intercept`, or two or more inserts";
            check.refuse(PlanProblem::new("plan.field", line, text));
            None
        }
    }
}

/// The screws to choose from: the plan's own, then the thread table; those
/// that the plan states or uses are handed on.
struct Shelf {
    table: Vec<Screw>,
    own: Vec<String>,
    screws: Vec<Screw>,
    places: BTreeMap<String, usize>,
}

impl Shelf {
    fn new(check: &mut Check, root: &Node, wire: Vec<WireScrew>) -> Self {
        let own = wire.iter().map(|s| s.name.clone()).collect();
        let mut shelf =
            Self { table: thread_table(), own, screws: Vec::new(), places: BTreeMap::new() };
        for (i, stated) in wire.into_iter().enumerate() {
            let node = root.entry("screw", i);
            let known = shelf.table.iter().find(|s| s.name == stated.name);
            if let Some(screw) = screw(check, node, stated, known)
                && !shelf.places.contains_key(&screw.name)
            {
                shelf.put(screw);
            }
        }
        shelf
    }

    fn put(&mut self, screw: Screw) -> usize {
        self.places.insert(screw.name.clone(), self.screws.len());
        self.screws.push(screw);
        self.screws.len() - 1
    }

    /// The place of the screw of this name; 0, and a problem, when there is none.
    fn find(&mut self, check: &mut Check, line: usize, name: &str) -> usize {
        if let Some(place) = self.places.get(name) {
            return *place;
        }
        if let Some(screw) = self.table.iter().find(|s| s.name == name).cloned() {
            return self.put(screw);
        }
        if !self.own.iter().any(|own| own == name) {
            let words = self.own.iter().chain(self.table.iter().map(|s| &s.name));
            let text = format!("no screw is named `{}`", shown(name));
            let problem = PlanProblem::new("plan.screw", line, text)
                .nearest(nearest_word(name, words.map(String::as_str)))
                .next("state it as a [[screw]], or take one of the thread table");
            check.refuse(problem);
        }
        0
    }
}

fn screw(
    check: &mut Check,
    node: &Node,
    stated: WireScrew,
    known: Option<&Screw>,
) -> Option<Screw> {
    let number = |written: Option<f64>, from: fn(&Screw) -> f64| written.or(known.map(from));
    let major = number(stated.major_diameter_mm, |s| s.major_diameter_mm);
    let core = number(stated.core_diameter_mm, |s| s.core_diameter_mm);
    let pitch = number(stated.pitch_mm, |s| s.pitch_mm);
    let (Some(major_diameter_mm), Some(core_diameter_mm), Some(pitch_mm)) = (major, core, pitch)
    else {
        let text = format!(
            "`{}` is not in the thread table, so `major_diameter_mm`, `core_diameter_mm` and \
             `pitch_mm` are needed",
            shown(&stated.name)
        );
        let names: Vec<String> = thread_table().into_iter().map(|s| s.name).collect();
        let nearest = nearest_word(&stated.name, names.iter().map(String::as_str));
        check.refuse(PlanProblem::new("plan.screw", node.line, text).nearest(nearest));
        return None;
    };
    let same = |s: &&Screw| {
        let table = [s.major_diameter_mm, s.core_diameter_mm, s.pitch_mm];
        table.map(f64::to_bits) == [major_diameter_mm, core_diameter_mm, pitch_mm].map(f64::to_bits)
    };
    let source = known.filter(same).map_or(FROM_PLAN, |s| s.source.as_str()).to_owned();
    let (stocked_lengths_mm, lengths_source) = match stated.stocked_lengths_mm {
        Some(lengths) => (lengths, FROM_PLAN),
        None => (common_lengths_mm(major_diameter_mm), COMMON_LENGTHS),
    };
    Some(Screw {
        name: stated.name,
        major_diameter_mm,
        core_diameter_mm,
        pitch_mm,
        thread_start_mm: stated.thread_start_mm.unwrap_or(0.0),
        tip_mm: stated.tip_mm.unwrap_or(0.0),
        stocked_lengths_mm,
        source,
        lengths_source: lengths_source.to_owned(),
    })
}

fn holes(check: &mut Check, root: &Node, wire: Vec<WireHole>, shelf: &mut Shelf) -> Vec<Hole> {
    let mut holes = Vec::with_capacity(wire.len());
    for (i, hole) in wire.into_iter().enumerate() {
        let node = root.entry("hole", i);
        holes.push(Hole {
            zone: if hole.zone == "cup" { Zone::Cup } else { Zone::Flange },
            region: hole.region.as_deref().map(|word| match word {
                "ilium" => BoneRegion::Ilium,
                "ischium" => BoneRegion::Ischium,
                _ => BoneRegion::Pubis,
            }),
            seat: check.point(hole.seat_mm),
            direction: check.direction(node, "direction", hole.direction),
            screw: shelf.find(check, node.line_of("screw"), &hole.screw),
            length_mm: hole.length_mm,
            swivel_rad: hole.swivel_deg.unwrap_or(0.0).to_radians(),
            seat_shift_mm: hole.seat_shift_mm,
            id: hole.id,
        });
    }
    holes
}

/// The positions of the ordered ids; every hole must come once.
fn order(check: &mut Check, root: &Node, ids: &[String], holes: &[Hole]) -> Vec<usize> {
    let line = root.line_of("order");
    let mut places = Vec::new();
    for id in ids {
        match holes.iter().position(|hole| hole.id == *id) {
            Some(place) if places.contains(&place) => {
                let text = format!("`order` names the hole `{}` twice", shown(id));
                check.refuse(PlanProblem::new("plan.duplicate", line, text));
            }
            Some(place) => places.push(place),
            None => {
                let text = format!("`order` names `{}`, which no hole is called", shown(id));
                let nearest = nearest_word(id, holes.iter().map(|h| h.id.as_str()));
                check.refuse(PlanProblem::new("plan.field", line, text).nearest(nearest));
            }
        }
    }
    for (place, hole) in holes.iter().enumerate() {
        if !places.contains(&place) {
            let text = format!("`order` leaves out the hole `{}`", shown(&hole.id));
            check.refuse(PlanProblem::new("plan.field", line, text));
        }
    }
    places
}
