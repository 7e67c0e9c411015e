//! `stock.html`: where bone is worth drilling, as charts.

use maud::{Markup, html};
use pilothole_assess::stock::Stock;
use pilothole_plan::Plan;

use super::best::{Best, NO_BONE, from_centre, from_seats, heading, without_bone};
use crate::html::{num, page, text};
use crate::number::{Unit, hu, mm, newton};
use crate::text::{CAUTION, counted, harmless, listed};
use crate::view::{chart_figure, has_quadrants, patch_figure, socket_figure};

/// The charts of a stock as one page that needs nothing else.
///
/// - `digest`: the scan's, as in `report.json`.
pub fn stock_html(stock: &Stock, plan: &Plan, digest: &str) -> String {
    let title = format!("Bone around the socket of the {} hip", plan.side.word());
    let digest: String = harmless(digest).chars().take(12).collect();
    let cells: usize = stock.charts.iter().map(|chart| chart.cells.len()).sum();
    page(
        &title,
        &html! {
            header .top {
                p .caution role="note" { strong { "Caution. " } (CAUTION) }
                h1 { (title) }
                p .question { "Where is bone worth drilling, in every direction?" }
                p .scan {
                    "scan " (digest) "\u{2026}, screw " (text(&stock.screw)) ", "
                    (cells) " directions from " (counted(stock.charts.len(), "point", "points"))
                }
            }
            main #holes {
                p {
                    "Darker is deeper bone. Hatched directions lead into danger: no bone, thin medial wall, \
                     the scan's end, no safe length, or too little bone beside the screw. The pictures look into the socket's mouth."
                }
                h2 { "From the socket's centre" }
                (centre(stock, plan))
                (seats(stock, plan))
                (reservations(stock))
            }
            footer { p .caution { (CAUTION) } }
        },
        false,
    )
}

/// What is to be known; charts without bone in one line.
fn reservations(stock: &Stock) -> Markup {
    let without = without_bone(stock);
    html! {
        @if !stock.findings.is_empty() {
            h2 { "Reservations" }
            ul .finding {
                @if !without.is_empty() {
                    li { "No direction meets bone from " (listed(&without)) ". " span .code { (NO_BONE) } }
                }
                @for finding in stock.findings.iter().filter(|f| f.code != NO_BONE) {
                    li { (harmless(&finding.text)) " " span .code { (finding.code) } }
                }
            }
        }
    }
}

fn centre(stock: &Stock, plan: &Plan) -> Markup {
    let best = from_centre(stock);
    html! {
        div .beside {
            @if let Some(chart) = stock.from_centre() {
                figure {
                    (chart_figure(chart, plan))
                    figcaption {
                        "Equal areas; lines join equal depth; rings are the plan's holes by their direction. "
                        @if has_quadrants(plan) {
                            "Dashed: Wasielewski's quadrants, one line from the anterior superior iliac spine \
                             through the centre, the other across it."
                        } @else {
                            "No quadrants: the plan does not name the anterior superior iliac spine of this side."
                        }
                    }
                }
            }
            div {
                h3 { "Best directions, 15\u{b0} apart" }
                @if best.is_empty() {
                    p { "No direction from the centre holds the screw without danger." }
                } @else {
                    (table(&best, "Best directions from the centre", plan))
                }
            }
        }
    }
}

/// The seats on the socket and on each patch, each group in one picture.
fn seats(stock: &Stock, plan: &Plan) -> Markup {
    let best = from_seats(stock);
    let socket = socket_figure(&stock.charts, plan);
    let patches: Vec<(usize, Markup)> = (0..plan.patches.len())
        .filter_map(|at| Some((at, patch_figure(&stock.charts, plan, at)?)))
        .collect();
    if socket.is_none() && patches.is_empty() {
        return html! {};
    }
    html! {
        h2 { "From single seats" }
        p {
            "Each small disc is one place for a screw's head: its middle is straight into bone there, its \
             edge the widest tilt that was looked at. Numbers are those of " span .code { "socket-\u{2026}" }
            " and " span .code { "patch-\u{2026}" } " in stock.csv."
        }
        div .beside {
            div {
                @if let Some(figure) = socket { figure { (figure) figcaption { "Seats on the socket" } } }
                @for (at, picture) in &patches {
                    figure {
                        (picture)
                        figcaption {
                            "Seats on patch " (at + 1) ", " (text(&plan.patches[*at].id))
                            ", seen from outside the bone"
                        }
                    }
                }
            }
            div {
                h3 { "Best seats" }
                @if best.is_empty() {
                    p { "No seat holds the screw without danger." }
                } @else {
                    (table(&best, "Best seats", plan))
                }
            }
        }
    }
}

fn table(best: &[Best<'_>], label: &str, plan: &Plan) -> Markup {
    html! {
        div .scroll tabindex="0" role="region" aria-label=(label) {
            table .best {
                thead { tr {
                    th scope="col" { "From" } th scope="col" { "Towards" }
                    th scope="col" .n { "Bone, mm" } th scope="col" .n { "Length, mm" }
                    th scope="col" .n { "Purchase, mm" } th scope="col" .n { "Bone beside it, mm" }
                    th scope="col" .n { "Thread mean, HU" } th scope="col" .n { "Pull-out, N" }
                } }
                tbody {
                    @for Best { origin, cell } in best {
                        tr {
                            th scope="row" { (origin.name()) }
                            td { (heading(cell, plan)) }
                            td .n { (num(Unit::Mm, cell.depth_mm().and_then(mm))) }
                            td .n { (num(Unit::Stock, cell.length_mm.and_then(mm))) }
                            td .n { (num(Unit::Mm, mm(cell.purchase_mm))) }
                            td .n { (num(Unit::Mm, cell.side_wall_mm.and_then(mm))) }
                            td .n { (num(Unit::Hu, cell.thread_hu.and_then(hu))) }
                            td .n { (num(Unit::Newton, cell.pullout_n.and_then(newton))) }
                        }
                    }
                }
            }
        }
    }
}
