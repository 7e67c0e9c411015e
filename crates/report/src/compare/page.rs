//! `compare.html`: reports side by side in one page.

use maud::{Markup, html};

use super::{CompareRecord, Compared, ComparedEntry};
use crate::html::{grade, num, page, text};
use crate::number::{Unit, fixed};
use crate::record::Value;
use crate::text::{CAUTION, counted, harmless};

/// The page of a comparison.
pub(super) fn compare_html(comparison: &CompareRecord) -> String {
    let title = "Reports side by side";
    page(
        title,
        &html! {
            header .top {
                p .caution role="note" { strong { "Caution. " } (CAUTION) }
                h1 { (title) }
                @if comparison.same_scan { p .scan { "All of the same scan." } }
                @else { h2 .verdict { "The reports are of different scans: a difference may be the scan's." } }
                p { (sentence(comparison)) }
                p .scan { "A is the report that was named first, the others follow in the order given." }
            }
            main {
                (reports(comparison))
                section #holes aria-labelledby="holes-title" {
                    h2 #holes-title { "Hole by hole" }
                    p .lead {
                        "Each report against A. A mark before a difference says whether it is more than \
                         the reports' own error: " strong { "\u{25b2} more, \u{25bc} less, \u{2248} within the error" }
                        ", ? error unknown."
                    }
                    (holes(comparison))
                }
                (parameters(comparison))
            }
            footer { p .caution { (CAUTION) } }
        },
        false,
    )
}

/// What changed against A, with what cannot be told from error for want of one.
fn sentence(comparison: &CompareRecord) -> String {
    let entries = || comparison.holes.iter().flat_map(|h| h.entries.iter().skip(1).flatten());
    let changed = comparison
        .holes
        .iter()
        .filter(|h| {
            let first = h.entries.first().and_then(Option::as_ref);
            h.entries
                .iter()
                .skip(1)
                .flatten()
                .any(|e| first.is_some_and(|f| f.purchase != e.purchase))
        })
        .count();
    let of = |wanted: Option<bool>| {
        let is = |e: &&ComparedEntry| {
            e.purchase_mm.difference.is_some() && e.purchase_mm.exceeds == wanted
        };
        entries().filter(is).count()
    };
    let (clear, within, unknown) = (of(Some(true)), of(Some(false)), of(None));
    let grades = format!(
        "{changed} of {} {} another grade than in A.",
        counted(comparison.holes.len(), "hole", "holes"),
        if changed == 1 { "has" } else { "have" }
    );
    let purchase = match (clear + within, unknown) {
        (0, 0) => "No purchase can be compared.".to_owned(),
        (0, _) => format!(
            "Whether a purchase differs by more than the error is unknown: the reports state no error for {}.",
            counted(unknown, "entry", "entries")
        ),
        (known, 0) => format!(
            "Purchase differs by more than the error in {clear} of {}.",
            counted(known, "entry", "entries")
        ),
        (known, _) => format!(
            "Purchase differs by more than the error in {clear} of {}; for {unknown} more the error is unknown.",
            counted(known, "entry", "entries")
        ),
    };
    format!("{grades} {purchase}")
}

/// The parameters that differ, which a difference may come from.
fn parameters(comparison: &CompareRecord) -> Markup {
    let shown = |value: &Option<Value>| match value {
        Some(Value::Number(number)) => number.to_string(),
        Some(Value::Text(word)) => harmless(word),
        None => "not stated".to_owned(),
    };
    html! {
        section #parameters aria-labelledby="parameters-title" {
            h2 #parameters-title { "What the reports were made with" }
            @if comparison.parameters.is_empty() { p { "Every parameter is the same in all reports." } }
            @else {
                p .lead { "A difference may come from these; every other parameter is the same." }
                div .scroll tabindex="0" role="region" aria-label="Parameters that differ" {
                    table {
                        thead { tr {
                            th scope="col" { "Parameter" } th scope="col" { "Unit" }
                            @for report in &comparison.reports { th scope="col" .n { (report.name) } }
                        } }
                        tbody {
                            @for parameter in &comparison.parameters {
                                tr {
                                    th scope="row" { (harmless(&parameter.name)) }
                                    td { (parameter.unit.as_deref().map_or("word".to_owned(), harmless)) }
                                    @for value in &parameter.values { td .n { (shown(value)) } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn reports(comparison: &CompareRecord) -> Markup {
    html! {
        div .scroll tabindex="0" role="region" aria-label="The reports" {
            table {
                caption { "The reports" }
                thead { tr {
                    th scope="col" { "Report" } th scope="col" { "Scan" } th scope="col" .n { "Good" }
                    th scope="col" .n { "Fair" } th scope="col" .n { "Poor" } th scope="col" .n { "None" }
                    th scope="col" .n { "Unknown" } th scope="col" .n { "Guides" }
                    th scope="col" .n { "Hip centre moves, \u{b5}m" } th scope="col" { "Verdict" }
                } }
                tbody {
                    @for report in &comparison.reports {
                        tr {
                            th scope="row" { (report.name) }
                            td { (harmless(&report.digest).chars().take(12).collect::<String>()) "\u{2026}" }
                            @for count in report.grades { td .n { (count) } }
                            td .n { (report.guides.map_or("unknown".to_owned(), |g| g.to_string())) }
                            td .n { (num(Unit::Micron, report.worst_um)) }
                            td { (harmless(&report.verdict)) }
                        }
                    }
                }
            }
        }
    }
}

fn holes(comparison: &CompareRecord) -> Markup {
    html! {
        div .scroll tabindex="0" role="region" aria-label="Holes" {
            table .compared {
                thead { tr {
                    th scope="col" { "Hole" } th scope="col" { "Report" } th scope="col" { "Purchase is" }
                    th scope="col" .n { "Length, mm" } th scope="col" .n { "Purchase, mm" }
                    th scope="col" .n { "Bone on the axis, mm" } th scope="col" .n { "Thread mean, HU" }
                    th scope="col" .n { "Pull-out, N" } th scope="col" .n { "Keeps margin, %" }
                    th scope="col" .n { "Turned, \u{b0}" } th scope="col" .n { "Moved, mm" }
                } }
                @for hole in &comparison.holes {
                    tbody {
                        @for (index, (entry, report)) in hole.entries.iter().zip(&comparison.reports).enumerate() {
                            tr {
                                @if index == 0 {
                                    th scope="rowgroup" rowspan=(hole.entries.len()) { (text(&hole.id)) }
                                }
                                td { (report.name) }
                                @match entry {
                                    Some(entry) => (row(entry)),
                                    None => td colspan="9" { "not in this report" },
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn row(entry: &ComparedEntry) -> Markup {
    html! {
        td { (grade(&entry.purchase)) }
        td .n {
            @if entry.length_mm.is_some() { (num(Unit::Stock, entry.length_mm)) }
            @else { span .unknown { "none safe" } }
        }
        td .n { (cell(&entry.purchase_mm, Unit::Mm)) }
        td .n { (cell(&entry.bone_depth_mm, Unit::Mm)) }
        @for (compared, unit) in [
            (&entry.thread_hu, Unit::Hu),
            (&entry.pullout_n, Unit::Newton),
            (&entry.keeps_margin, Unit::Percent),
        ] {
            td .n {
                @if compared.value.is_none() && entry.purchase == "none" {
                    span .unknown { "no purchase" }
                } @else { (cell(compared, unit)) }
            }
        }
        td .n { @if entry.turned_deg.is_some() { (num(Unit::Deg, entry.turned_deg)) } @else { "\u{2013}" } }
        td .n { @if entry.moved_mm.is_some() { (num(Unit::Mm, entry.moved_mm)) } @else { "\u{2013}" } }
    }
}

fn cell(compared: &Compared, unit: Unit) -> Markup {
    let Some(difference) = compared.difference else { return num(unit, compared.value) };
    let (mark, words) = match compared.exceeds {
        Some(true) if difference > 0.0 => ("\u{25b2}", "more than the error"),
        Some(true) => ("\u{25bc}", "less by more than the error"),
        Some(false) => ("\u{2248}", "within the error"),
        None => ("?", "error unknown"),
    };
    let sign = if difference > 0.0 { "+" } else { "" };
    let error = compared.uncertainty.map(|u| format!(", error {}", fixed(u, 2)));
    html! {
        (num(unit, compared.value)) br;
        span .difference title={ (words) (error.unwrap_or_default()) } {
            span role="img" aria-label=(words) { (mark) } " " (sign) (num(unit, Some(difference)))
        }
    }
}
