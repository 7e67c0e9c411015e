//! One hole: cuts, profile, thread, ring, reasons, strength.

use maud::{Markup, html};

use super::anchor;
use super::number::{measure, text};
use super::summary::{finding_list, grade};
use crate::number::{Unit, fixed};
use crate::picture::{
    Subject, WINDOW, cut_planes, profile_figure, purchase_figure, ring_figure, strength_figure,
    tissue_fill, unrolled_figure,
};
use crate::record::{EdgeRecord, HoleRecord, Record};
use crate::words::reasons;

/// The part of the page about one hole.
pub(crate) fn hole_part(record: &Record, subject: &Subject<'_>) -> Markup {
    let hole = subject.record;
    let target = anchor(record, &hole.id);
    let findings: Vec<_> = record.findings_of(&hole.id).collect();
    let [first, second] = cut_planes(subject);
    html! {
        article .hole #(target) tabindex="-1" aria-labelledby={ (target) "-title" } {
            h3 #{ (target) "-title" } {
                @if let Some(step) = record.step_of(&hole.id) {
                    span .step { (step.step) } " "
                }
                "Hole " (text(&hole.id)) " " (grade(&hole.purchase))
            }
            (order_line(record, hole))
            div .figures {
                figure {
                    (first.figure)
                    figcaption { "Cut 1, up is " (first.up) ". " (window_words()) " Yellow: the bone's outline. Dashed: room wanted." }
                }
                figure {
                    (second.figure)
                    figcaption { "Cut 2, up is " (second.up) ", across cut 1. Pale bands: where a cortex lies, 95 %." }
                }
                figure {
                    (profile_figure(subject))
                    figcaption {
                        "Hounsfield units on the axis, dashed where bone begins ("
                        (measure(Unit::Hu, Some(record.bone.threshold_hu))) "); the bar names the tissue, by the rule above. "
                        (legend())
                    }
                }
                figure {
                    (unrolled_figure(subject))
                    figcaption {
                        "The thread unrolled, same greys as the cuts: where it is dark the screw \
                         has little bone on that side. The line bounds the bone."
                    }
                }
            }
            div .figures .three {
                div {
                    h4 { "Why this grade" }
                    ul { @for sentence in reasons(hole) { li { (sentence) } } }
                    (measures(hole))
                }
                (placement(subject))
                (strength(record, hole))
            }
            @if !findings.is_empty() {
                h4 { "Reservations" }
                (finding_list(record, &findings))
            }
        }
    }
}

fn order_line(record: &Record, hole: &HoleRecord) -> Markup {
    let guide = record.step_of(&hole.id).and_then(|s| s.guide.as_deref());
    html! {
        p .line {
            strong {
                @match hole.length_mm {
                    Some(length) => { "Order " (text(&hole.screw)) " \u{d7} " (measure(Unit::Stock, Some(length))) }
                    None => { "No stocked length of " (text(&hole.screw)) " is safe" }
                }
            }
            @if let Some(planned) = hole.planned_length_mm {
                ", planned " (measure(Unit::Stock, Some(planned)))
                @if let Some(purchase) = hole.planned_purchase_mm {
                    " (purchase " (measure(Unit::Mm, Some(purchase))) ")"
                }
            }
            "; " (hole.zone) @if let Some(region) = &hole.region { ", " (region) }
            @if let Some(guide) = guide { ", guide " (guide) }
            "."
        }
    }
}

fn window_words() -> String {
    let (low, high) = WINDOW;
    format!("Level {}, width {} HU.", fixed(f64::midpoint(low, high), 0), fixed(high - low, 0))
}

fn legend() -> Markup {
    html! {
        span .legend {
            @for tissue in ["cortical", "cancellous", "void", "cement", "metal", "outside"] {
                span .key {
                    svg width="16" height="10" aria-hidden="true" {
                        rect width="16" height="10" fill=(tissue_fill(tissue)) stroke="#444" {}
                    }
                    (tissue)
                }
            }
        }
    }
}

fn measures(hole: &HoleRecord) -> Markup {
    let near = hole.near.as_ref();
    let far = hole.far.as_ref();
    let thread = hole.hu.as_ref().map(|h| &h.thread);
    html! {
        dl .measures {
            dt { "Near cortex" } dd { (end(near)) }
            dt { "Far cortex" } dd { (end(far)) }
            dt { "Bone on the axis" } dd { (measure(Unit::Mm, hole.bone_depth_mm)) }
            dt { "Purchase" } dd { (measure(Unit::Mm, hole.purchase_mm)) }
            dt { "Thread in bone" } dd { (of_purchase(hole, Unit::Mm, hole.engaged_mm)) }
            dt { "Cortices held" } dd { (hole.cortices) }
            dt { "Thread, mean" } dd {
                (of_purchase(hole, Unit::Hu, thread.and_then(|t| t.mean)))
                @if thread.is_some() {
                    ", a tenth below " (measure(Unit::Hu, thread.and_then(|t| t.p10)))
                }
            }
            dt { "Bone beside it" } dd { (of_purchase(hole, Unit::Mm, hole.side_wall_mm)) }
            dt { "Free of metal's artefacts" } dd { (of_purchase(hole, Unit::Percent, hole.trust)) }
            (beyond(hole))
        }
    }
}

/// Where an end lies, by which rule, and how well that is known.
fn end(edge: Option<&EdgeRecord>) -> Markup {
    let Some(edge) = edge else { return measure(Unit::Mm, None) };
    html! {
        (measure(Unit::Mm, edge.at_mm)) " ("
        @match edge.rule.as_str() {
            "plate" => {
                "by a fitted plate, error " (measure(Unit::Mm, edge.se_mm))
                "; cortex along the path " (measure(Unit::Mm, edge.cortex_mm))
            }
            "halfway" => {
                "halfway up its peak, too far out where thin"
                @match edge.most_off_mm {
                    Some(off) => { ", by up to " (measure(Unit::Mm, Some(off))) }
                    None => { ", by how much is " (measure(Unit::Mm, None)) }
                }
                "; thickness " span .unknown { "unknown" }
            }
            "threshold" => { "where the bone threshold is met: no cortex shows" }
            "envelope" => { "at the edge of the envelope: no cortex shows" }
            "seat" => { "the seat, which lies in bone: no near cortex is seen" }
            other => { (other) }
        }
        ")"
    }
}

/// A number about the purchase, which a hole without purchase does not have.
fn of_purchase(hole: &HoleRecord, unit: Unit, value: Option<f64>) -> Markup {
    match value {
        None if hole.has_no_purchase() => html! { span .unknown { "no purchase" } },
        value => measure(unit, value),
    }
}

fn beyond(hole: &HoleRecord) -> Markup {
    let past = [
        ("bone again", hole.beyond.bone_mm),
        ("metal", hole.beyond.metal_mm),
        ("skin", hole.beyond.skin_mm),
        ("end of scan", hole.beyond.scan_end_mm),
    ];
    html! {
        dt { "Past the tip" }
        dd {
            @if past.iter().all(|(_, at)| at.is_none()) { "nothing met" }
            @for (index, (name, at)) in past.iter().filter(|(_, at)| at.is_some()).enumerate() {
                @if index > 0 { ", " }
                (name) " after " (measure(Unit::Mm, *at))
            }
        }
    }
}

fn placement(subject: &Subject<'_>) -> Markup {
    let Some(robust) = &subject.record.robust else {
        return html! {
            div {
                h4 { "If the guide sits wrong" }
                p {
                    @if subject.record.has_no_purchase() {
                        "No purchase that a wrong placement could cost."
                    } @else { span .unknown { "unknown" } ": not computed." }
                }
            }
        };
    };
    let nothing = robust.tilt_ring_deg.iter().all(|tilt| *tilt == Some(0.0));
    html! {
        div {
            h4 { "If the guide sits wrong" }
            p {
                "Of " (robust.samples) " wrong placements "
                (measure(Unit::Percent, robust.keeps_margin)) " keep the margin at the far cortex, "
                (measure(Unit::Percent, robust.stays_inside)) " stay inside sideways, "
                (measure(Unit::Percent, robust.keeps_grade)) " keep the grade. "
                @if nothing {
                    "No shift and no tilt is forgiven: the planned placement itself lacks the room \
                     wanted at its tip or beside it."
                } @else {
                    "Forgiven one at a time, in the worst direction: shift "
                    (measure(Unit::Mm, robust.forgiven_shift_mm)) ", tilt "
                    (measure(Unit::Deg, robust.forgiven_tilt_deg)) "."
                }
            }
            div .pair {
                figure {
                    (ring_figure(subject))
                    figcaption { @if nothing { "Forgiven tilt by direction: none in any" } @else { "Forgiven tilt by direction" } }
                }
                figure { (purchase_figure(subject)) figcaption { "Purchase of the wrong placements" } }
            }
        }
    }
}

fn strength(record: &Record, hole: &HoleRecord) -> Markup {
    let weighs = hole.pullout_n.as_ref().and_then(|p| p.shares.first());
    html! {
        div {
            h4 { "Density and strength" }
            p {
                "Density of what the thread holds: "
                @match &hole.density_mg_cm3 {
                    Some(density) => {
                        (measure(Unit::Density, density.mean))
                        @if let Some(se) = density.se { " (error " (measure(Unit::Density, Some(se))) ")" }
                        " " (text(&density.material))
                        @if let Some(line) = &record.calibration { " (calibration " (line.from) ")" }
                    }
                    None if hole.has_no_purchase() => "no purchase to measure in",
                    None => { span .unknown { "unknown" } }
                }
                "."
                @if let (Some(kvp), Some(band)) = (record.scan.kvp, hole.thread_hu_at_120_kvp)
                    && (kvp - 120.0).abs() > 0.5 {
                    " Its mean would read " (measure(Unit::Hu, band.estimate)) " at 120 kVp ("
                    (measure(Unit::Hu, band.low)) " to " (measure(Unit::Hu, band.high)) ")."
                }
            }
            @match &hole.pullout_n {
                Some(pullout) => {
                    p {
                        "Pull-out: " (measure(Unit::Newton, pullout.estimate)) ", nine in ten between "
                        (measure(Unit::Newton, pullout.low)) " and "
                        (measure(Unit::Newton, pullout.high)) " (" (pullout.method) ")."
                        @if let Some(cause) = weighs {
                            " What weighs most in that band: " (cause.name) " ("
                            (measure(Unit::Percent, cause.value)) " of the variance)."
                        }
                    }
                    figure {
                        (strength_figure(pullout))
                        @if !pullout.other_laws.is_empty() {
                            figcaption {
                                "Triangles: "
                                @for (index, law) in pullout.other_laws.iter().enumerate() {
                                    @if index > 0 { "; " }
                                    (law.name) " " (measure(Unit::Newton, law.value))
                                }
                            }
                        }
                    }
                }
                None if hole.has_no_purchase() => { p { "Pull-out: none, as there is no purchase." } }
                None => { p { "Pull-out: " span .unknown { "unknown" } "." } }
            }
        }
    }
}
