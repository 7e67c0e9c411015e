//! The set: order, guides, room, kit, load, position of the hip.

use maud::{Markup, html};

use super::anchor;
use super::number::{measure, num, text};
use super::placements::placements;
use crate::number::Unit;
use crate::record::{
    AccessRecord, CaseRecord, KitRecord, LoadRecord, MeasuredRecord, OrderRecord,
    ReconstructionRecord, Record, SetRecord, SpareRecord,
};
use crate::text::{counted, harmless, label, listed};
use crate::view::{Drawn, still_use};
use crate::words::{Mark, marks};

/// The parts of the page about the set.
pub(crate) fn set_part(record: &Record, drawn: &Drawn) -> Markup {
    html! {
        section #set aria-labelledby="set-title" {
            h2 #set-title { "Order, guides, kit" }
            (order(record, drawn))
            (kit(record))
            @if let Some(set) = &record.set { (guides(record, set)) (room(record, set)) (placements(record, set)) }
            @else { p { "The holes were not judged as a set." } }
        }
        section #load aria-labelledby="load-title" {
            h2 #load-title { "Does the set hold the hip's load" }
            @match record.set.as_ref().and_then(|s| s.load.as_ref()) {
                Some(load) => (load_part(record, load)),
                None => p { span .unknown { "unknown" } ": not computed." },
            }
        }
        section #hip aria-labelledby="hip-title" {
            h2 #hip-title { "Where the hip comes to lie" }
            @match &record.reconstruction {
                Some(hip) => (hip_part(hip)),
                None => p { span .unknown { "unknown" } ": not computed." },
            }
        }
    }
}

/// A hole's name, as a link to its part of the page.
pub(super) fn link(record: &Record, id: &str) -> Markup {
    html! { a href={ "#" (anchor(record, id)) } { (text(id)) } }
}

fn links(record: &Record, ids: &[String]) -> Markup {
    html! {
        @for (index, id) in ids.iter().enumerate() {
            @if index > 0 { ", " }
            (link(record, id))
        }
    }
}

fn order(record: &Record, drawn: &Drawn) -> Markup {
    let Some(steps) = record.order.as_deref().filter(|s| !s.is_empty()) else {
        return html! { p { "Order of filling: " span .unknown { "unknown" } "." } };
    };
    let sequence = record.set.as_ref().and_then(|s| s.sequence.as_ref());
    html! {
        h3 { "Order of filling" }
        @if let Some(sequence) = sequence {
            p {
                @match sequence.held_from {
                    Some(n) => { "Held in all six directions from screw " (n) " on" }
                    None => { "Never held in all six directions" }
                }
                "; " (sequence.guide_changes) " changes of guide. The order is chosen by a model \
                 of springs; no paper tests an order."
                @if !sequence.unfilled.is_empty() {
                    " In no order, for want of a screw that holds: "
                    (links(record, &sequence.unfilled)) "."
                }
            }
        }
        (step_pictures(record, steps, drawn))
        (step_table(record, steps))
        @if let Some(given) = sequence.and_then(|s| s.given.as_deref()) {
            details {
                summary { "The plan's own order, judged the same way" }
                (step_table(record, given))
            }
        }
    }
}

/// One small picture a step: what is filled, and what is filled now.
fn step_pictures(record: &Record, steps: &[OrderRecord], drawn: &Drawn) -> Markup {
    let Some(still) = drawn.stills.first() else { return html! {} };
    let ids: Vec<&str> = steps.iter().map(|s| s.hole.as_str()).collect();
    html! {
        ol .steps {
            @for (index, step) in steps.iter().enumerate() {
                li {
                    figure {
                        (still_use(record, still, Some(&ids[..index]), Some(&step.hole), &format!(
                            "Step {}: hole {} is filled, {} before it; seen {}.",
                            step.step, label(&step.hole), counted(index, "hole", "holes"),
                            still.view.word()
                        )))
                        figcaption {
                            strong { (step.step) " " (text(&step.hole)) }
                            @if let Some(guide) = &step.guide {
                                " \u{b7} guide " (guide)
                                @if step.changes_guide { " \u{2194} change" }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn step_table(record: &Record, steps: &[OrderRecord]) -> Markup {
    html! {
        div .scroll tabindex="0" role="region" aria-label="Steps of filling" {
            table {
                thead { tr {
                    th scope="col" { "Step" } th scope="col" { "Hole" } th scope="col" { "Guide" }
                    th scope="col" { "Why now" } th scope="col" .n { "Held, of 6 directions" }
                    th scope="col" .n { "Hip centre then moves, \u{b5}m" }
                } }
                tbody {
                    @for step in steps {
                        tr data-hole=(anchor(record, &step.hole)) {
                            td { (step.step) }
                            th scope="row" { (link(record, &step.hole)) }
                            td {
                                (step.guide.as_deref().unwrap_or("none"))
                                @if step.changes_guide { " (change)" }
                            }
                            td { (step.reason) }
                            td .n { (step.held) }
                            td .n {
                                @if step.movement_um.is_some() { (num(Unit::Micron, step.movement_um)) }
                                @else { "not held" }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn kit(record: &Record) -> Markup {
    html! {
        div .columns {
            div {
                h3 { "Order these" }
                @match record.kit.as_deref() {
                    Some(lines) if !lines.is_empty() => (kit_table(record, lines)),
                    Some(_) => p { "Nothing." },
                    None => p { span .unknown { "unknown" } "." },
                }
            }
            div {
                h3 { "Spares to have at hand, not counted" }
                @match record.spares.as_deref() {
                    Some(lines) if !lines.is_empty() => (spare_table(record, lines)),
                    Some(_) => p { "None." },
                    None => p { span .unknown { "unknown" } "." },
                }
            }
        }
    }
}

fn kit_table(record: &Record, lines: &[KitRecord]) -> Markup {
    html! {
        table {
            thead { tr {
                th scope="col" { "Screw" } th scope="col" .n { "Length, mm" }
                th scope="col" .n { "Count" } th scope="col" { "Holes" }
            } }
            tbody {
                @for line in lines {
                    tr {
                        th scope="row" { (text(&line.screw)) }
                        td .n { (num(Unit::Stock, Some(line.length_mm))) }
                        td .n { (line.count) }
                        td { (links(record, &line.holes)) }
                    }
                }
            }
        }
        @let all: Vec<Mark<'_>> =
            lines.iter().flat_map(|line| marks(record, &line.holes)).collect();
        @if !all.is_empty() {
            p { "Beware of:" }
            ul {
                @for mark in all {
                    li {
                        (text(mark.hole)) ": " (mark.words) " " span .code { "(" (mark.code) ")" }
                    }
                }
            }
        }
    }
}

fn spare_table(record: &Record, lines: &[SpareRecord]) -> Markup {
    html! {
        table {
            thead { tr {
                th scope="col" { "Screw" } th scope="col" .n { "Length, mm" }
                th scope="col" .n { "Count" } th scope="col" { "For holes" }
            } }
            tbody {
                @for line in lines {
                    tr {
                        th scope="row" { (text(&line.screw)) }
                        td .n { (num(Unit::Stock, Some(line.length_mm))) }
                        td .n { (line.count) }
                        td {
                            @for (index, id) in line.holes.iter().enumerate() {
                                @if index > 0 { ", " }
                                (link(record, id))
                                @if let Some(reason) = line.reasons.get(index) { " (" (reason) ")" }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn guides(record: &Record, set: &SetRecord) -> Markup {
    let Some(guides) = set.guides.as_deref() else {
        return html! { p { "Guides: " span .unknown { "unknown" } "." } };
    };
    html! {
        h3 { "Guides" }
        p {
            (guides.len()) @if guides.len() == 1 { " guide serves" } @else { " guides serve" } " the set"
            @if set.guides_exact == Some(true) { ", and fewer cannot" }
            ". Play of a bit in its sleeve: " (measure(Unit::Deg, set.sleeve_play_deg)) "."
        }
        table {
            thead { tr {
                th scope="col" { "Guide" } th scope="col" { "Holes" }
                th scope="col" .n { "Widest sleeve off the way in, \u{b0}" }
            } }
            tbody {
                @for guide in guides {
                    tr {
                        th scope="row" { (guide.name) }
                        td { (links(record, &guide.holes)) }
                        td .n { (num(Unit::Deg, guide.widest_deg)) }
                    }
                }
            }
        }
        @if !set.apart.is_empty() {
            details {
                summary { "What keeps holes apart (" (set.apart.len()) " pairs)" }
                ul .apart {
                    @for pair in &set.apart {
                        li {
                            (link(record, &pair.a)) " and " (link(record, &pair.b)) ": "
                            @match pair.reason.as_str() {
                                "zone" => "one on the cup, one on a flange",
                                "sleeves" => { "sleeves " (measure(Unit::Mm, pair.gap_mm)) " apart" }
                                "insertion" => { "no common way in, " (measure(Unit::Deg, pair.angle_deg)) " between them" }
                                _ => "could share, but not with the rest",
                            }
                        }
                    }
                }
            }
        }
    }
}

fn room(record: &Record, set: &SetRecord) -> Markup {
    html! {
        h3 { "Room between screws, and the way of the drill" }
        @if set.clash.is_empty() { p { "No two screws come nearer than wanted." } }
        @else {
            ul {
                @for clash in &set.clash {
                    li {
                        (link(record, &clash.a)) " and " (link(record, &clash.b)) ": "
                        (measure(Unit::Mm, clash.gap_mm)) " between their surfaces, at "
                        (from_seat(clash.at_a_mm)) " of the first and "
                        (from_seat(clash.at_b_mm)) " of the second"
                    }
                }
            }
        }
        @if !set.sharing.is_empty() {
            p {
                "Near enough to share bone: "
                @for (index, pair) in set.sharing.iter().enumerate() {
                    @if index > 0 { "; " }
                    (link(record, &pair.a)) " and " (link(record, &pair.b)) " ("
                    (measure(Unit::Mm, pair.gap_mm)) ")"
                }
                "."
            }
        }
        @if !set.access.is_empty() { (access_table(record, &set.access)) }
    }
}

/// A place on a screw's axis: into bone from its seat, or in its head.
fn from_seat(at_mm: Option<f64>) -> Markup {
    let side = if at_mm.is_some_and(|at| at < 0.0) { "before the seat" } else { "past the seat" };
    html! { (measure(Unit::Mm, at_mm.map(f64::abs))) " " (side) }
}

fn access_table(record: &Record, access: &[AccessRecord]) -> Markup {
    html! {
        div .scroll tabindex="0" role="region" aria-label="Way of the drill" {
            table {
                thead { tr {
                    th scope="col" { "Hole" } th scope="col" { "Way of the drill" }
                    th scope="col" .n { "To the approach, \u{b0}" } th scope="col" .n { "To the skin, mm" }
                    th scope="col" .n { "Bit off the normal, \u{b0}" } th scope="col" { "Bite" }
                } }
                tbody {
                    @for hole in access {
                        tr data-hole=(anchor(record, &hole.hole)) {
                            th scope="row" { (link(record, &hole.hole)) }
                            td { (way(hole)) }
                            td .n { (num(Unit::Deg, hole.to_approach_deg)) }
                            td .n { (num(Unit::Mm, hole.skin_mm)) }
                            td .n { (num(Unit::Deg, hole.incidence_deg)) }
                            td { (hole.bite.as_deref().unwrap_or("unknown")) }
                        }
                    }
                }
            }
        }
    }
}

fn way(hole: &AccessRecord) -> Markup {
    html! {
        @if hole.clear { "clear" }
        @for (index, block) in hole.blocks.iter().enumerate() {
            @if index == 0 { "blocked by " } @else { ", " }
            (block.obstacle)
            @if let Some(at) = block.at_mm { ", " (measure(Unit::Mm, Some(at))) " behind the seat" }
            @if let Some(excess) = block.excess_deg { ", " (measure(Unit::Deg, Some(excess))) " outside" }
        }
        @if let Some(tilt) = hole.frees_deg {
            "; free after a tilt of " (measure(Unit::Deg, Some(tilt)))
            @if hole.frees_within_swivel == Some(true) { ", within the swivel" }
            @else { ", beyond the swivel" }
        }
    }
}

fn load_part(record: &Record, load: &LoadRecord) -> Markup {
    html! {
        p {
            "Body mass " (measure(Unit::Plain, load.body_mass_kg)) " kg"
            @if !load.mass_stated { " (assumed, the plan states none)" }
            "; pelvis by the " (load.frame) ", tilt uncertain by " (measure(Unit::Deg, load.tilt_deg))
            " either way; " @if load.bone_contact { "with" } @else { "without" }
            " bone contact, without friction. Held in " (load.held) " of 6 directions. Movements are \
             of an elastic model: up to 20 \u{b5}m fine, 40 doubtful, 150 poor, above bad."
        }
        @if !load.free.is_empty() {
            p { strong { "Not held: " } (listed(&load.free.iter().map(|f| harmless(f)).collect::<Vec<_>>())) "." }
        }
        div .scroll tabindex="0" role="region" aria-label="Load cases" {
            table {
                caption { "Load cases" }
                thead { tr {
                    th scope="col" { "Case" } th scope="col" .n { "Hip centre moves, \u{b5}m" }
                    th scope="col" .n { "least to largest over tilts" }
                    th scope="col" .n { "with the poorest third at their low value" }
                    th scope="col" { "That is" } th scope="col" { "Screw used most" }
                } }
                tbody { @for case in &load.cases { (case_row(record, case)) } }
            }
        }
        @if let Some(lost) = &load.worst_lost {
            p {
                "Worst single loss: " (link(record, &lost.hole)) ". Then the hip centre moves "
                @if lost.movement_um.is_some() { (measure(Unit::Micron, lost.movement_um)) }
                @else { "without being held" }
                @if let Some(tier) = &lost.tier { " (" (tier) ")" }
                ", pull-out used to " (measure(Unit::Percent, lost.pullout_use))
                ", bending to " (measure(Unit::Percent, lost.bending_use)) "."
            }
        }
        (force_table(record, load))
    }
}

fn case_row(record: &Record, case: &CaseRecord) -> Markup {
    let most = case.screws.iter().max_by(|a, b| {
        let used = |s: &crate::record::ScrewLoadRecord| {
            s.pullout_use.unwrap_or(0.0).max(s.bending_use.unwrap_or(0.0))
        };
        used(a).total_cmp(&used(b))
    });
    let moved = case.movement_um.as_ref();
    html! {
        tr {
            th scope="row" { (case.name) @if case.outlier { " (outlier)" } }
            td .n { (num(Unit::Micron, moved.and_then(|m| m.middle))) }
            td .n {
                @if let Some(moved) = moved {
                    (num(Unit::Micron, moved.low)) " to " (num(Unit::Micron, moved.high))
                } @else { "not held" }
            }
            td .n { (num(Unit::Micron, case.poorest_low_um)) }
            td { (case.tier.as_deref().unwrap_or("unknown")) }
            td {
                @if let Some(screw) = most {
                    (link(record, &screw.hole)) ": pull-out " (measure(Unit::Percent, screw.pullout_use))
                    ", bending " (measure(Unit::Percent, screw.bending_use))
                } @else { "\u{2013}" }
            }
        }
    }
}

/// Axial and lateral force of each screw in each case.
fn force_table(record: &Record, load: &LoadRecord) -> Markup {
    let cases: Vec<&CaseRecord> = load.cases.iter().filter(|c| !c.screws.is_empty()).collect();
    if cases.is_empty() {
        return html! {};
    }
    html! {
        details {
            summary { "What each screw carries" }
            div .scroll tabindex="0" role="region" aria-label="Force on each screw" {
                table {
                    caption { "Axial / lateral force, N; positive axial force pulls the screw out" }
                    thead { tr {
                        th scope="col" { "Hole" }
                        @for case in &cases { th scope="col" .n { (case.name) ", N" } }
                    } }
                    tbody {
                        @for spring in &load.springs {
                            tr data-hole=(anchor(record, &spring.hole)) {
                                th scope="row" { (link(record, &spring.hole)) }
                                @for case in &cases {
                                    td .n {
                                        @match case.screws.iter().find(|s| s.hole == spring.hole) {
                                            Some(s) => { (num(Unit::Newton, s.axial_n)) " / " (num(Unit::Newton, s.lateral_n)) }
                                            None => "\u{2013}",
                                        }
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn hip_part(hip: &ReconstructionRecord) -> Markup {
    let lengths = [
        ("Leg length, change by the cup", &hip.leg_change_mm),
        ("Offset, change by the cup", &hip.offset_change_mm),
        ("Leg length against the other side, now", &hip.leg_difference_now_mm),
        ("Leg length against the other side, planned", &hip.leg_difference_after_mm),
        ("Acetabular offset against the other side, planned", &hip.offset_difference_mm),
        ("Acetabular offset of the other side", &hip.healthy_offset_mm),
    ];
    let frames = [("anterior pelvic plane", &hip.in_app), ("ISB frame", &hip.in_isb)];
    html! {
        table {
            caption { "Longer and wider are positive; the error is that of the landmarks alone, 1 standard error" }
            thead { tr { th scope="col" { "Quantity" } th scope="col" .n { "Value" } th scope="col" .n { "Error" } } }
            tbody {
                @for (name, value) in lengths { (measured_row(name, value.as_ref(), Unit::Mm)) }
                @for (frame, orientations) in frames {
                    @if let Some(o) = orientations {
                        @for (kind, o) in [("radiographic", &o.radiographic), ("operative", &o.operative), ("anatomical", &o.anatomical)] {
                            (measured_row(&format!("Inclination, {kind}, {frame}"), Some(&o.inclination_deg), Unit::Deg))
                            (measured_row(&format!("Anteversion, {kind}, {frame}"), Some(&o.anteversion_deg), Unit::Deg))
                        }
                    }
                }
                @for (whence, shift) in [("mirrored healthy", &hip.from_mirrored), ("present", &hip.from_present)] {
                    @if let Some(s) = shift {
                        (measured_row(&format!("Planned centre from the {whence} one, lateral"), Some(&s.lateral_mm), Unit::Mm))
                        (measured_row(&format!("Planned centre from the {whence} one, anterior"), Some(&s.anterior_mm), Unit::Mm))
                        (measured_row(&format!("Planned centre from the {whence} one, superior"), Some(&s.superior_mm), Unit::Mm))
                    }
                }
            }
        }
        @if !hip.wanting.is_empty() {
            p { "Wanting landmarks, and what they would allow:" }
            ul {
                @for want in &hip.wanting {
                    li { (listed(&want.landmarks)) ": " (want.allows) }
                }
            }
        }
    }
}

fn measured_row(name: &str, value: Option<&MeasuredRecord>, unit: Unit) -> Markup {
    html! {
        tr {
            th scope="row" { (name) }
            td .n { (measure(unit, value.and_then(|v| v.value))) }
            td .n { (measure(unit, value.and_then(|v| v.se))) }
        }
    }
}
