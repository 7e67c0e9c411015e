//! The table of holes in filling order.

use super::EDGE;
use super::sheet::{Face, Sheet};
use crate::number::{UNKNOWN, Unit};
use crate::record::{HoleRecord, Record};
use crate::text::harmless;
use crate::words::{NOTHING, grade_mark, look_at};

/// Least and greatest height of a hole's row, pt. Two lines of the smaller
/// size fit the least.
const ROW: (f32, f32) = (26.0, 42.0);
/// From the head of the page to the rule below the names of the columns, pt.
const HEADING: f32 = 22.0;

/// Left edges of the columns, pt.
const BOXES: [f32; 2] = [EDGE.0, EDGE.0 + 18.0];
const NUMBER: f32 = 68.0;
const HOLE: f32 = 94.0;
const GUIDE: f32 = 169.0;
const SCREW: f32 = 206.0;
const LENGTH: f32 = 274.0;
const HOLD: f32 = 318.0;
const BEWARE: f32 = 384.0;
/// Between a column and the next, pt.
const APART: f32 = 5.0;

/// Height of a table at its lowest, pt.
pub(super) fn least_height(holes: usize) -> f32 {
    HEADING + ROW.0 * holes.max(1) as f32
}

/// Returns where it ends, pt from the top.
///
/// - `top`, `bottom`: what the table may take; rows are as high as that allows.
pub(super) fn draw(
    sheet: &mut Sheet<'_>,
    record: &Record,
    holes: &[&HoleRecord],
    (top, bottom): (f32, f32),
) -> f32 {
    let heads = [
        (BOXES[0], "D"),
        (BOXES[1], "F"),
        (NUMBER, "No"),
        (HOLE, "Hole"),
        (GUIDE, "Guide"),
        (SCREW, "Screw, length mm"),
        (HOLD, "Purchase"),
        (BEWARE, "Beware of"),
    ];
    for (x, head) in heads {
        sheet.text(x, top + HEADING - 6.0, Face::Bold, 10.5, head);
    }
    let mut y = top + HEADING;
    sheet.line((EDGE.0, y), (EDGE.1, y), 1.2, 0);
    if holes.is_empty() {
        sheet.text(EDGE.0, y + 18.0, Face::Plain, 13.0, "The plan has no holes.");
        return y + ROW.0;
    }
    let height = ((bottom - y) / holes.len() as f32).clamp(ROW.0, ROW.1);
    for hole in holes {
        row(sheet, record, hole, (y, height));
        y += height;
        sheet.line((EDGE.0, y), (EDGE.1, y), 0.4, 130);
    }
    y
}

fn row(sheet: &mut Sheet<'_>, record: &Record, hole: &HoleRecord, (y, height): (f32, f32)) {
    let middle = y + 0.5 * height;
    let base = middle + 5.0;
    // A hole that the order leaves out is not filled: no number, nothing to tick.
    let step = record.step_of(&hole.id);
    if step.is_some() {
        for x in BOXES {
            sheet.frame(x, middle - 6.5, 13.0, 13.0, 1.0);
        }
    }
    let number = step.map_or("\u{2013}".to_owned(), |s| s.step.to_string());
    sheet.text(NUMBER, base, Face::Bold, 16.0, &number);
    name(sheet, &harmless(&hole.id), middle);
    let guide = step.and_then(|s| s.guide.as_deref()).unwrap_or("\u{2013}");
    sheet.text_within((GUIDE, base), (Face::Bold, (9.0, 15.0)), guide, SCREW - GUIDE - APART);
    screw(sheet, hole, middle);
    match hole.length_mm {
        Some(length) => {
            let length = Unit::Stock.show(length);
            let face = (Face::Bold, (11.0, 21.0));
            sheet.text_within((LENGTH, middle + 7.5), face, &length, HOLD - LENGTH - APART);
        }
        None => sheet.text(LENGTH, base, Face::Bold, 13.0, "leave"),
    }
    let grade = format!("{} {}", grade_mark(&hole.purchase), hole.purchase);
    let held = hole.purchase_mm.map_or(UNKNOWN.to_owned(), |p| format!("{} mm", Unit::Mm.show(p)));
    sheet.text_within((HOLD, middle - 2.0), (Face::Bold, (9.0, 12.5)), &grade, BEWARE - HOLD);
    sheet.text_within((HOLD, middle + 10.5), (Face::Plain, (8.0, 10.0)), &held, BEWARE - HOLD);
    let words = match look_at(record, hole) {
        quiet if quiet == NOTHING => "\u{2013}".to_owned(),
        words => words,
    };
    beware(sheet, &words, (y, height));
}

/// A hole's name: in one line, or at its words in two.
fn name(sheet: &mut Sheet<'_>, id: &str, middle: f32) {
    let width = GUIDE - HOLE - APART;
    if sheet.measure.width(Face::Bold, 13.5, id) > width {
        let lines = sheet.measure.wrapped(Face::Bold, 12.0, id, width);
        if let [first, second] = &lines[..] {
            for (line, base) in [(first, middle - 1.5), (second, middle + 10.5)] {
                sheet.text_within((HOLE, base), (Face::Bold, (9.0, 12.0)), line, width);
            }
            return;
        }
    }
    sheet.text_within((HOLE, middle + 5.0), (Face::Bold, (9.0, 13.5)), id, width);
}

/// What screw, and the length of the plan where it is another.
fn screw(sheet: &mut Sheet<'_>, hole: &HoleRecord, middle: f32) {
    let width = LENGTH - SCREW - APART;
    let planned = hole.planned_otherwise_mm();
    let base = if planned.is_some() { middle - 2.0 } else { middle + 5.0 };
    let face = (Face::Plain, (8.0, 12.0));
    sheet.text_within((SCREW, base), face, &harmless(&hole.screw), width);
    if let Some(planned) = planned {
        let words = format!("planned {}", Unit::Stock.show(planned));
        sheet.frame(SCREW - 2.0, middle, width + 2.0, 12.0, 0.9);
        sheet.text_within(
            (SCREW + 1.0, middle + 9.5),
            (Face::Bold, (8.0, 10.0)),
            &words,
            width - 3.0,
        );
    }
}

/// What to beware of, as large as fits the row whole; what does not fit at
/// the least size is said to be in the report.
fn beware(sheet: &mut Sheet<'_>, words: &str, (y, height): (f32, f32)) {
    const SIZES: [f32; 3] = [12.0, 11.0, 10.0];
    let width = EDGE.1 - BEWARE;
    let room = |size: f32| ((height - 2.0) / (1.14 * size)).floor() as usize;
    let lines = |size: f32| sheet.measure.wrapped(Face::Plain, size, words, width);
    let fits = |size: &f32| lines(*size).len() <= room(*size);
    let size = SIZES.into_iter().find(fits).unwrap_or(SIZES[2]);
    let mut lines = lines(size);
    if lines.len() > room(size) {
        lines.truncate(room(size) - 1);
        lines.push("and more: see the report".to_owned());
    }
    let step = 1.14 * size;
    let first = y + 0.5 * (height - step * lines.len() as f32) + 0.86 * size;
    for (index, line) in lines.iter().enumerate() {
        let at = (BEWARE, first + step * index as f32);
        sheet.text_within(at, (Face::Plain, (7.0, size)), line, width);
    }
}
