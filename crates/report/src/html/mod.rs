//! `report.html`: one page that needs nothing else.
//!
//! The story of the page: what was asked and what the answer is; where the
//! holes lie; one part a hole; the set; then everything a doubter needs.

mod foot;
mod hole;
mod number;
mod placements;
mod set;
mod summary;

use maud::{DOCTYPE, Markup, PreEscaped, html};
use pilothole_assess::path::VOID_HU;
use rayon::prelude::*;

pub(crate) use number::{num, text};
pub(crate) use summary::grade;

use crate::case::Case;
use crate::number::fixed;
use crate::picture::{Subject, patterns};
use crate::record::Record;
use crate::text::CAUTION;
use crate::view::{Drawn, chart_figure, still_defs, turning_view};

/// Look of every page.
pub(crate) const STYLE: &str = include_str!("../page/style.css");
/// Selection of holes, tables and view alike.
const SCRIPT: &str = include_str!("../page/page.js");
/// The view that turns.
const VIEW_SCRIPT: &str = include_str!("../page/view.js");

/// The page of one case.
pub(crate) fn report_html(case: &Case<'_>, record: &Record, drawn: &Drawn) -> String {
    let parts: Vec<Markup> = record
        .in_order()
        .into_par_iter()
        .filter_map(|hole| {
            let result = case.holes.iter().find(|r| {
                case.plan.holes.get(r.hole).is_some_and(|planned| planned.id == hole.id)
            })?;
            let subject = Subject { scene: case.scene, plan: case.plan, result, record: hole };
            Some(hole::hole_part(record, &subject))
        })
        .collect();
    let title = format!("Screw paths of the {} hip", case.plan.side.word());
    page(
        &title,
        &html! {
            (patterns())
            (still_defs(&drawn.stills))
            (summary::summary(record, &title))
            main {
                (turning_view(record, case.plan, drawn))
                @if let Some(chart) = case.chart {
                    section #chart aria-labelledby="chart-title" {
                        h2 #chart-title { "Bone in every direction" }
                        figure .one {
                            (chart_figure(chart, case.plan))
                            figcaption {
                                "Depth to the far cortex from the socket's centre, seen from its mouth. Darker \
                                 is deeper, lines join equal depth in mm, hatched directions lead into danger \
                                 (bone beside a screw is not looked at here); \
                                 rings are the holes by their direction."
                            }
                        }
                    }
                }
                section #holes aria-labelledby="holes-title" {
                    h2 #holes-title { "Hole by hole" }
                    p .lead {
                        "In filling order. Cuts run from the seat on the left to the tip on the \
                         right; both cuts contain the screw's axis and stand at right angles."
                    }
                    p .lead {
                        "How the tissue on the axis is named: " strong { "cortical" } " is the wall \
                         at each end of the bone whose thickness is known, by a blurred plate that \
                         fits it; the rest of the bone is "
                        strong { "cancellous" } ", whatever its HU, also a wall of unknown \
                         thickness, but for "
                        strong { "void" } " below " (fixed(VOID_HU, 0)) " HU (gas or a cavity; our \
                         own limit, no source), " strong { "cement" } " and " strong { "metal" }
                        ", which were found in space; " strong { "outside" } " lies before the \
                         bone. No HU limit parts cortical from cancellous."
                    }
                    @for part in &parts { (part) }
                }
                (set::set_part(record, drawn))
                (foot::foot(record))
            }
        },
        true,
    )
}

/// A whole page around a body; the turning view's script only where asked.
pub(crate) fn page(title: &str, body: &Markup, turns: bool) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy"
                    content="default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'";
                meta name="referrer" content="no-referrer";
                link rel="icon" href="data:,";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                a .skip href="#holes" { "Skip to the holes" }
                (body)
                div .printed aria-hidden="true" { span { (CAUTION) } }
                script { (PreEscaped(SCRIPT)) }
                "\n"
                @if turns { script { (PreEscaped(VIEW_SCRIPT)) } }
            }
        }
    };
    markup.into_string()
}

/// The place of a hole in its page; ids are free text and make no anchors.
pub(crate) fn anchor(record: &Record, id: &str) -> String {
    let position = record.holes.iter().position(|h| h.id == id).unwrap_or_default();
    format!("hole-{position}")
}
