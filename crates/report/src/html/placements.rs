//! The set when the component and every guide sit wrong.

use maud::{Markup, html};

use super::anchor;
use super::number::{measure, num};
use super::set::link;
use crate::number::Unit;
use crate::record::{HoleShareRecord, Record, SetRecord, Value};

/// What happens when the component and every guide sit wrong.
pub(super) fn placements(record: &Record, set: &SetRecord) -> Markup {
    let Some(robust) = &set.robust else {
        return html! { p { "If the component sits wrong: " span .unknown { "unknown" } ", not tried." } };
    };
    let number = |name: &str| match record.parameter(name).map(|p| &p.value) {
        Some(Value::Number(number)) => Some(*number),
        _ => None,
    };
    html! {
        h3 { "If the component sits wrong" }
        @if robust.keeps_every_grade.is_some() {
            p {
                strong { (measure(Unit::Percent, robust.keeps_every_grade)) } " of "
                (robust.samples) " placements keep every hole\u{2019}s grade (standard error at most "
                (measure(Unit::Percent, robust.share_se)) "). In each the whole component is moved (\u{3c3} "
                (measure(Unit::Mm, number("robust.shift_sd"))) " along each axis) and turned (\u{3c3} "
                (measure(Unit::Deg, number("robust.turn_sd"))) " about each), all holes with it, and \
                 every guide errs by its own."
            }
            (shares(record, &robust.holes))
        } @else {
            p { "No hole has a screw that could be tried: " span .unknown { "unknown" } "." }
        }
    }
}

fn shares(record: &Record, holes: &[HoleShareRecord]) -> Markup {
    html! {
        div .scroll tabindex="0" role="region" aria-label="If the component sits wrong" {
            table {
                thead { tr {
                    th scope="col" { "Hole" } th scope="col" .n { "Keeps margin, %" }
                    th scope="col" .n { "Stays inside, %" } th scope="col" .n { "Keeps grade, %" }
                } }
                tbody {
                    @for hole in holes {
                        tr data-hole=(anchor(record, &hole.hole)) {
                            th scope="row" { (link(record, &hole.hole)) }
                            td .n { (num(Unit::Percent, hole.keeps_margin)) }
                            td .n { (num(Unit::Percent, hole.stays_inside)) }
                            td .n { (num(Unit::Percent, hole.keeps_grade)) }
                        }
                    }
                }
            }
        }
    }
}
