//! `stock.html`: where bone is worth drilling, as charts.

use maud::html;
use pilothole_assess::stock::{Stock, StockChart, StockOrigin};
use pilothole_plan::Plan;

use crate::html::page;
use crate::text::{CAUTION, counted, harmless};
use crate::view::{chart_figure, has_quadrants};

/// Charts drawn in the page; the tables hold all.
const MOST_CHARTS: usize = 24;
/// Share of a chart's directions that hold a stocked screw from which on it is
/// worth a picture. Own choice, no source.
const DRAWN_SHARE: f64 = 0.05;

/// Whether a chart is worth a picture: the one from the centre always is.
fn is_drawn(chart: &StockChart) -> bool {
    let holds = chart.cells.iter().filter(|cell| cell.length_mm.is_some()).count();
    chart.origin == StockOrigin::Centre
        || holds as f64 >= DRAWN_SHARE * chart.cells.len().max(1) as f64
}

/// The charts that are drawn, and the names of those that hold next to nothing.
fn parted(stock: &Stock) -> (Vec<&StockChart>, Vec<String>) {
    let (drawn, empty): (Vec<_>, Vec<_>) = stock.charts.iter().partition(|chart| is_drawn(chart));
    (drawn, empty.iter().map(|chart| harmless(&chart.origin.name())).collect())
}

/// The charts of a stock as one page that needs nothing else.
///
/// - `digest`: the scan's, as in `report.json`.
pub fn stock_html(stock: &Stock, plan: &Plan, digest: &str) -> String {
    let (drawn, empty) = parted(stock);
    let title = format!("Bone around the socket of the {} hip", plan.side.word());
    let digest: String = harmless(digest).chars().take(12).collect();
    page(
        &title,
        &html! {
            header .top {
                p .caution role="note" { strong { "Caution. " } (CAUTION) }
                h1 { (title) }
                p .question { "Where is bone worth drilling, in every direction?" }
                p .scan {
                    "scan " (digest) "\u{2026}, screw " (harmless(&stock.screw)) ", "
                    (counted(stock.charts.len(), "chart", "charts"))
                }
            }
            main #holes {
                p {
                    "Each chart is an equal-area picture of the directions into bone, seen from the socket's \
                     mouth. Darker is deeper; lines join equal depth; hatched directions lead into danger: no \
                     bone, thin medial wall, the scan's end, or no safe length."
                }
                p {
                    @if has_quadrants(plan) {
                        "Dashed lines part the socket into Wasielewski's quadrants: one runs from the anterior \
                         superior iliac spine through the centre, the other across it."
                    } @else {
                        "No quadrants are drawn: the plan does not name the anterior superior iliac spine of \
                         this side."
                    }
                }
                div .figures {
                    @for chart in drawn.iter().take(MOST_CHARTS) {
                        figure {
                            (chart_figure(chart, plan))
                            figcaption { "From " (harmless(&chart.origin.name())) }
                        }
                    }
                }
                @if drawn.len() > MOST_CHARTS {
                    p { (counted(drawn.len() - MOST_CHARTS, "more chart is", "more charts are")) " in the table." }
                }
                @if !empty.is_empty() {
                    p .empty {
                        "Not drawn, since fewer than 1 in 20 directions hold a stocked screw ("
                        (counted(empty.len(), "chart", "charts")) "; the table has them): "
                        (empty.join(", ")) "."
                    }
                }
                @if !stock.findings.is_empty() {
                    h2 { "Reservations" }
                    ul .finding {
                        @for finding in &stock.findings {
                            li { (harmless(&finding.text)) " " span .code { (finding.code) } }
                        }
                    }
                }
            }
            footer { p .caution { (CAUTION) } }
        },
        false,
    )
}
