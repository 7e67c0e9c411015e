//! The first screen: caution, question, verdict, table, what changes the plan.

use maud::{Markup, html};

use super::anchor;
use super::number::{measure, num, text};
use crate::number::Unit;
use crate::record::{FindingRecord, HoleRecord, Record};
use crate::text::{CAUTION, harmless};
use crate::words::{grade_mark, look_at, question, scan_line, short, verdict, weight};

/// Codes whose number of the unit 1 is a share; that of others is a count.
const SHARES: [&str; 9] = [
    "bone.joint_unresolved",
    "bone.no_cortex",
    "bone.not_measured",
    "load.bending",
    "load.pullout",
    "metal.near",
    "path.unmeasured",
    "strength.beyond_calibration",
    "strength.outside_law",
];

/// The first screen.
pub(crate) fn summary(record: &Record, title: &str) -> Markup {
    let (heavy, light): (Vec<_>, Vec<_>) = record.findings.iter().partition(|f| f.changes_plan());
    html! {
        header .top {
            p .caution role="note" { strong { "Caution. " } (CAUTION) }
            h1 { (title) }
            p .question { (question(record)) }
            p .scan { (scan_line(record)) }
        }
        section .first aria-labelledby="verdict" {
            h2 #verdict .verdict { (verdict(record)) }
            (hole_table(record))
            div .findings {
                div .heavy {
                    h3 { "May change the plan" }
                    (grouped(record, &heavy))
                }
                details .light {
                    summary { "How well the numbers are known (" (light.len()) ")" }
                    (grouped(record, &light))
                }
            }
        }
        nav .parts aria-label="Parts of this report" {
            a href="#holes" { "Holes" }
            a href="#set" { "Order, guides, kit" }
            a href="#load" { "Load" }
            a href="#hip" { "Hip" }
            a href="#basis" { "Basis" }
        }
    }
}

fn hole_table(record: &Record) -> Markup {
    let ordered = record.order.is_some();
    html! {
        table .holes role="table" {
            caption {
                @if ordered { "Holes in filling order" }
                @else { "Holes in the plan's order; no filling order was computed" }
            }
            thead role="rowgroup" {
                tr role="row" {
                    th role="columnheader" scope="col" { "Order" }
                    th role="columnheader" scope="col" { "Hole" }
                    th role="columnheader" scope="col" { "Region" }
                    th role="columnheader" scope="col" { "Screw" }
                    th role="columnheader" scope="col" .n { "Length to order, mm" }
                    th role="columnheader" scope="col" .n { "Purchase, mm" }
                    th role="columnheader" scope="col" .n { "Thread mean, HU" }
                    th role="columnheader" scope="col" { "Purchase is" }
                    th role="columnheader" scope="col" .n { "Keeps margin if misplaced, %" }
                    th role="columnheader" scope="col" { "Look at" }
                }
            }
            tbody role="rowgroup" {
                @for hole in record.in_order() { (hole_row(record, hole)) }
            }
        }
    }
}

fn hole_row(record: &Record, hole: &HoleRecord) -> Markup {
    let step = record.step_of(&hole.id).map(|s| s.step.to_string());
    let hu = hole.hu.as_ref().and_then(|h| h.thread.mean);
    let share = hole.robust.as_ref().and_then(|r| r.keeps_margin);
    let target = anchor(record, &hole.id);
    html! {
        tr role="row" data-hole=(target) {
            td role="cell" data-head="Order" { (step.as_deref().unwrap_or("\u{2013}")) }
            th role="rowheader" scope="row" data-head="Hole" {
                a href={ "#" (target) } { (text(&hole.id)) }
            }
            td role="cell" data-head="Region" {
                (hole.region.as_deref().unwrap_or(&hole.zone))
            }
            td role="cell" data-head="Screw" { (text(&hole.screw)) }
            td role="cell" .n .order data-head="Length to order, mm" {
                @if let Some(length) = hole.length_mm { (num(Unit::Stock, Some(length))) }
                @else { span .unknown { "none safe" } }
                @if let Some(planned) = hole.planned_otherwise_mm() {
                    span .planned { "planned " (num(Unit::Stock, Some(planned))) }
                }
            }
            td role="cell" .n data-head="Purchase, mm" { (num(Unit::Mm, hole.purchase_mm)) }
            td role="cell" .n data-head="Thread mean, HU" { (of_purchase(hole, Unit::Hu, hu)) }
            td role="cell" data-head="Purchase is" { (grade(&hole.purchase)) }
            td role="cell" .n data-head="Keeps margin if misplaced, %" {
                (of_purchase(hole, Unit::Percent, share))
            }
            td role="cell" .look data-head="Look at" { (look_at(record, hole)) }
        }
    }
}

/// A number about the purchase, which a hole without purchase does not have.
fn of_purchase(hole: &HoleRecord, unit: Unit, value: Option<f64>) -> Markup {
    match value {
        None if hole.has_no_purchase() => html! { span .unknown { "no purchase" } },
        value => num(unit, value),
    }
}

/// A grade as mark and word.
pub(crate) fn grade(word: &str) -> Markup {
    html! {
        span class={ "grade " (word) } { span aria-hidden="true" { (grade_mark(word)) } " " (word) }
    }
}

/// Findings by code, heaviest first: one line a code, with the holes it is
/// about; each hole's own part has the sentences.
fn grouped(record: &Record, findings: &[&FindingRecord]) -> Markup {
    if findings.is_empty() {
        return html! { p { "Nothing." } };
    }
    let mut codes: Vec<&str> = Vec::new();
    for finding in findings {
        if !codes.contains(&finding.code.as_str()) {
            codes.push(&finding.code);
        }
    }
    codes.sort_by_key(|code| weight(code));
    html! {
        ul .finding {
            @for code in codes {
                @let same: Vec<&FindingRecord> =
                    findings.iter().copied().filter(|f| f.code == code).collect();
                li { (group(record, &same)) " " span .code { (code) } }
            }
        }
    }
}

fn group(record: &Record, same: &[&FindingRecord]) -> Markup {
    let of_holes: Vec<&&FindingRecord> = same.iter().filter(|f| f.hole.is_some()).collect();
    let words = short(&same[0].code).unwrap_or_default();
    // Sentences that differ are each their own hole's.
    let differ = words.is_empty() && same.iter().any(|f| f.text != same[0].text);
    if same.len() == 1 || of_holes.len() < same.len() || differ {
        return html! {
            @for (index, finding) in same.iter().enumerate() {
                @if index > 0 { br; }
                (sentence(record, finding))
            }
        };
    }
    let mut letters = words.chars();
    let first: String = letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    // Numbers of two kinds beside each other would be read as one.
    let is_one_kind = same.iter().all(|f| f.unit == same[0].unit);
    let mut named: Vec<&FindingRecord> = same.to_vec();
    if !is_one_kind {
        named.dedup_by(|a, b| a.hole == b.hole && a.other == b.other);
    }
    html! {
        strong {
            @if words.is_empty() { (harmless(same[0].text.trim_end_matches('.'))) } @else { (first) (letters.as_str()) }
        }
        ": "
        @for (index, finding) in named.iter().enumerate() {
            @if index > 0 { ", " }
            @for (place, id) in [&finding.hole, &finding.other].into_iter().flatten().enumerate() {
                @if place > 0 { " and " }
                a href={ "#" (anchor(record, id)) } { (text(id)) }
            }
            @if is_one_kind && let Some(value) = finding.measured { " (" (in_its_unit(finding, value)) ")" }
        }
        "."
    }
}

/// One finding with its hole before it.
fn sentence(record: &Record, finding: &FindingRecord) -> Markup {
    html! {
        @for id in [&finding.hole, &finding.other].into_iter().flatten() {
            a href={ "#" (anchor(record, id)) } { (text(id)) } " "
        }
        (harmless(&finding.text)) (measured(finding))
    }
}

/// Findings as a list.
pub(crate) fn finding_list(record: &Record, findings: &[&FindingRecord]) -> Markup {
    if findings.is_empty() {
        return html! { p { "Nothing." } };
    }
    html! {
        ul .finding {
            @for finding in findings {
                li { (sentence(record, finding)) " " span .code { (finding.code) } }
            }
        }
    }
}

fn measured(finding: &FindingRecord) -> Markup {
    html! {
        @if let Some(value) = finding.measured && !counted_in_words(finding, value) {
            " (" (in_its_unit(finding, value))
            @if let Some(limit) = finding.limit { ", held against " (in_its_unit(finding, limit)) }
            ")"
        }
    }
}

/// Whether the sentence itself says a count, so that it need not follow.
fn counted_in_words(finding: &FindingRecord, value: f64) -> bool {
    let count = Unit::Plain.show(value);
    let is_count =
        finding.unit.as_deref().is_some_and(|unit| Unit::of_word(Some(unit)) == Unit::Plain)
            && !SHARES.contains(&finding.code.as_str());
    is_count && finding.text.split(' ').any(|word| word == count)
}

/// A finding's number with its unit; a unit that is a word follows as it is,
/// and the unit 1 is a share or a count by the finding's code.
fn in_its_unit(finding: &FindingRecord, value: f64) -> Markup {
    let word = finding.unit.as_deref();
    let unit = match word {
        Some("1") if SHARES.contains(&finding.code.as_str()) => Unit::Percent,
        word => Unit::of_word(word),
    };
    html! {
        (measure(unit, Some(value)))
        @if unit == Unit::Plain && let Some(word) = word && word != "1" { " " (text(word)) }
    }
}
