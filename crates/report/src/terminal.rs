//! The few lines that a terminal shows.

use crate::number::Unit;
use crate::record::{FindingRecord, HoleRecord, Record};
use crate::text::{SHORT_CAUTION, counted, shortened, wrapped};
use crate::words::{grade_mark, look_at_within, short, verdict};

/// Most lines, the place of the files not counted.
const MOST_LINES: usize = 23;

/// What a terminal shows of a report: the set's sentence, one line a hole in
/// filling order, the findings that change the plan.
///
/// - `width`: columns; below 40 counts as 40.
///
/// At most 24 lines with the caution, each ended by a line break; no colour, no tabs.
pub fn terminal(record: &Record, width: usize) -> String {
    let width = width.max(40);
    let mut lines = wrapped(&verdict(record), width);
    let holes = record.in_order();
    let caution = wrapped(SHORT_CAUTION, width);
    let room = MOST_LINES.saturating_sub(lines.len() + 1 + caution.len());
    let shown = if holes.len() <= room { holes.len() } else { room.saturating_sub(1) };
    if !holes.is_empty() {
        lines.push(head(width));
    }
    lines.extend(holes[..shown].iter().map(|hole| hole_line(record, hole, width)));
    if shown < holes.len() {
        let rest = holes.len() - shown;
        lines.push(format!("and {} in the report", counted(rest, "more hole", "more holes")));
    }
    let left = (MOST_LINES + 1).saturating_sub(lines.len() + caution.len());
    lines.extend(finding_lines(record, width, left));
    lines.extend(caution);
    let mut text = lines.join("\n");
    text.push('\n');
    text
}

fn head(width: usize) -> String {
    cut(&row("hole", &["mm", "purchase", "HU", "grade"], "look at"), width)
}

fn row(id: &str, cells: &[&str; 4], remark: &str) -> String {
    format!(
        "{:<12} {:>4} {:>9} {:>5}  {:<9} {remark}",
        shortened(id, 12),
        cells[0],
        cells[1],
        cells[2],
        cells[3],
    )
}

fn hole_line(record: &Record, hole: &HoleRecord, width: usize) -> String {
    let length = hole.length_mm.map_or("-".to_owned(), |v| Unit::Stock.show(v));
    let purchase = hole.purchase_mm.map_or("?".to_owned(), |v| Unit::Mm.show(v));
    let hu = hole.hu.as_ref().and_then(|h| h.thread.mean);
    let hu = hu.map_or("-".to_owned(), |v| Unit::Hu.show(v));
    let grade = format!("{} {}", grade_mark(&hole.purchase), hole.purchase);
    let cells = [length.as_str(), &purchase, &hu, &grade];
    let remark = look_at_within(
        record,
        hole,
        width.saturating_sub(row(&hole.id, &cells, "").chars().count()),
    );
    cut(&row(&hole.id, &cells, &remark), width)
}

/// Findings that change the plan and belong to no single hole, then a count.
fn finding_lines(record: &Record, width: usize, room: usize) -> Vec<String> {
    if room == 0 {
        return Vec::new();
    }
    let heavy: Vec<_> =
        record.findings.iter().filter(|f| f.changes_plan() && f.hole.is_none()).collect();
    let mut lines: Vec<String> =
        heavy.iter().take(room - 1).map(|f| finding_line(f, width)).collect();
    let of_plan = record.findings.iter().filter(|f| f.changes_plan()).count();
    let rest = record.findings.len() - of_plan;
    lines.push(cut(
        &format!(
            "{} the plan, {} on how well the numbers are known",
            counted(of_plan, "finding that changes", "findings that change"),
            rest
        ),
        width,
    ));
    lines
}

/// A finding in its own sentence, or in few words where that is too long.
fn finding_line(finding: &FindingRecord, width: usize) -> String {
    let line = |words: &str| format!("! {}: {}", finding.code, shortened(words, 200));
    let whole = line(&finding.text);
    match short(&finding.code) {
        Some(words) if whole.chars().count() > width => cut(&line(words), width),
        _ => cut(&whole, width),
    }
}

fn cut(line: &str, width: usize) -> String {
    shortened(line.trim_end(), width)
}
