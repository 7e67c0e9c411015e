//! Head of a page: side, scan, the set's sentence, how to read it, a picture.

use super::EDGE;
use super::measure::Measure;
use super::sheet::{Face, Sheet};
use crate::record::{Record, Value};
use crate::text::shortened;
use crate::view::{Still, places};
use crate::words::verdict;

/// Edge of the picture at the top right, pt.
const PICTURE: f32 = 128.0;
/// Top of the picture, pt.
const TOP: f32 = 28.0;
/// Size of the verdict and of the words below it, pt.
const SIZES: (f32, f32) = (13.0, 10.0);
/// The most lines of the verdict.
const VERDICT_LINES: usize = 5;

/// Height of a number's label in the picture, pt.
const LABEL: f32 = 11.0;

const LEGEND: &str = "D: drilled and measured. F: filled. Lengths from the seat under the head \
                      to the tip. Boxed: the plan states another length. Leave: no stocked \
                      length is safe. !: beware, as the lines below it say.";

/// Where the head ends, pt from the top.
pub(super) fn end(record: &Record, pictured: bool, measure: &Measure) -> f32 {
    let width = width(pictured);
    let verdict = measure.wrapped(Face::Bold, SIZES.0, &verdict(record), width).len();
    let legend = measure.wrapped(Face::Plain, SIZES.1, LEGEND, width).len();
    let text = 88.0 + 16.0 * verdict.min(VERDICT_LINES) as f32 + 12.0 * legend as f32;
    if pictured { text.max(TOP + PICTURE + 22.0) } else { text }
}

/// Returns where it ends, pt from the top.
pub(super) fn draw(sheet: &mut Sheet<'_>, record: &Record, still: Option<&Still>) -> f32 {
    let width = width(still.is_some());
    sheet.text(EDGE.0, 48.0, Face::Bold, 22.0, &format!("Screws, {}", side(record)));
    let scan: String = record.scan.digest.chars().take(16).collect();
    sheet.text(EDGE.0, 66.0, Face::Plain, SIZES.1, &format!("Scan {scan}"));
    let mut y = 86.0;
    let lines = sheet.measure.wrapped(Face::Bold, SIZES.0, &verdict(record), width);
    for line in lines.iter().take(VERDICT_LINES) {
        sheet.text(EDGE.0, y, Face::Bold, SIZES.0, line);
        y += 16.0;
    }
    for line in sheet.measure.wrapped(Face::Plain, SIZES.1, LEGEND, width) {
        sheet.text(EDGE.0, y + 1.0, Face::Plain, SIZES.1, &line);
        y += 12.0;
    }
    if let Some(still) = still {
        picture(sheet, record, still);
    }
    end(record, still.is_some(), sheet.measure)
}

fn width(pictured: bool) -> f32 {
    EDGE.1 - EDGE.0 - if pictured { PICTURE + 12.0 } else { 0.0 }
}

fn side(record: &Record) -> String {
    match record.parameter("side").map(|p| &p.value) {
        Some(Value::Text(side)) => format!("{} hip", shortened(side, 10)),
        _ => "hip".to_owned(),
    }
}

/// Bone seen into the socket, seats with their place in the order.
fn picture(sheet: &mut Sheet<'_>, record: &Record, still: &Still) {
    const SIZE: f32 = 8.0;
    let (x, y) = (EDGE.1 - PICTURE, TOP);
    sheet.image(&still.image, x, y, PICTURE);
    sheet.frame(x, y, PICTURE, PICTURE, 0.6);
    let scale = PICTURE / (2.0 * Still::HALF_MM as f32);
    let place = |p: (f64, f64)| {
        (x + 0.5 * PICTURE + p.0 as f32 * scale, y + 0.5 * PICTURE + p.1 as f32 * scale)
    };
    for hole in record.in_order() {
        let [seat, tip] = still.screw(hole).map(place);
        sheet.line(seat, tip, 2.6, 255);
        sheet.line(seat, tip, 1.4, 0);
    }
    // Numbers clear of each other, a thin line to the tip where one was moved.
    let filled = record.in_order().into_iter();
    let numbered: Vec<(String, (f64, f64))> = filled
        .filter_map(|hole| Some((record.step_of(&hole.id)?.step.to_string(), still.screw(hole)[1])))
        .collect();
    let wanted: Vec<(&str, (f64, f64))> =
        numbered.iter().map(|(n, at)| (n.as_str(), *at)).collect();
    let room = f64::from(LABEL / scale);
    for ((number, tip), at) in numbered.iter().zip(places(&wanted, Still::HALF_MM, room)) {
        let ((sx, sy), tip) = (place(at), place(*tip));
        if (sy - tip.1).abs() > 3.0 {
            sheet.line(tip, (sx, sy), 0.5, 0);
        }
        let width = sheet.measure.width(Face::Bold, SIZE, number);
        sheet.fill(sx - 0.5 * width - 1.5, sy - 5.0, width + 3.0, 10.0, 255);
        sheet.frame(sx - 0.5 * width - 1.5, sy - 5.0, width + 3.0, 10.0, 0.4);
        sheet.text(sx - 0.5 * width, sy + 3.0, Face::Bold, SIZE, number);
    }
    let femur = if still.without_femur { ", without femur" } else { "" };
    let words = format!("into the socket{femur}; numbers at or near the tips");
    for (index, line) in sheet.measure.wrapped(Face::Plain, 8.0, &words, PICTURE).iter().enumerate()
    {
        sheet.text(x, y + PICTURE + 9.0 + 9.0 * index as f32, Face::Plain, 8.0, line);
    }
}
