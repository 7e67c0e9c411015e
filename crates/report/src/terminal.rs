//! The few lines that a terminal shows.

use crate::number::Unit;
use crate::record::{HoleRecord, Record};
use crate::text::{SHORT_CAUTION, counted, shortened};
use crate::words::{grade_mark, look_at, verdict};

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
    let room = MOST_LINES.saturating_sub(lines.len() + 2);
    let shown = if holes.len() <= room { holes.len() } else { room.saturating_sub(1) };
    if !holes.is_empty() {
        lines.push(head(width));
    }
    lines.extend(holes[..shown].iter().map(|hole| hole_line(record, hole, width)));
    if shown < holes.len() {
        let rest = holes.len() - shown;
        lines.push(format!("and {} in the report", counted(rest, "more hole", "more holes")));
    }
    lines.extend(finding_lines(record, width, MOST_LINES.saturating_sub(lines.len())));
    lines.push(cut(SHORT_CAUTION, width));
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
    let remark = look_at(record, hole);
    cut(&row(&hole.id, &[&length, &purchase, &hu, &grade], &remark), width)
}

/// Findings that change the plan and belong to no single hole, then a count.
fn finding_lines(record: &Record, width: usize, room: usize) -> Vec<String> {
    if room == 0 {
        return Vec::new();
    }
    let heavy: Vec<_> =
        record.findings.iter().filter(|f| f.changes_plan() && f.hole.is_none()).collect();
    let mut lines: Vec<String> = heavy
        .iter()
        .take(room - 1)
        .map(|f| cut(&format!("! {}: {}", f.code, shortened(&f.text, 200)), width))
        .collect();
    let of_plan = record.findings.iter().filter(|f| f.changes_plan()).count();
    let rest = record.findings.len() - of_plan;
    lines.push(cut(
        &format!(
            "{} that change the plan, {} on how well the numbers are known",
            counted(of_plan, "finding", "findings"),
            rest
        ),
        width,
    ));
    lines
}

fn cut(line: &str, width: usize) -> String {
    shortened(line.trim_end(), width)
}

/// Words in lines of at most `width` characters.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(cut(word, width)),
        }
    }
    lines
}
