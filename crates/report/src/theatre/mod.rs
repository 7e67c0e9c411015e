//! `theatre.pdf`: the page that goes into the operation.
//!
//! A4, black on white, to be read at arm's length: what to put where, in which
//! order, what to beware of, boxes to tick, what to have on the table. Sixteen
//! holes a page; more go on under the same head.

mod sheet;

use krilla::Document;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::text::Font;

use crate::number::{UNKNOWN, Unit};
use crate::record::{HoleRecord, Record};
use crate::text::{CAUTION, counted, harmless, shortened};
use crate::view::Still;
use crate::words::{NOTHING, grade_mark, look_at, verdict};
use sheet::{Face, Sheet, wrapped};

/// A4, pt.
const PAGE: (f32, f32) = (595.28, 841.89);
/// Left and right edge of what is printed, pt.
const EDGE: (f32, f32) = (34.0, 561.0);
/// Holes on a page.
const HOLES: usize = 16;
/// Height of a hole's row, pt.
const ROW: f32 = 25.0;
/// Height of a line of kit or spares, pt: sixteen lines fit below sixteen holes.
const KIT_ROW: f32 = 11.5;
/// From a table of holes to the kit's heading, pt.
const KIT_APART: f32 = 13.0;
/// Where the table of holes begins, pt from the top.
const TABLE: f32 = 166.0;
/// Where the footer begins, pt from the top.
const FOOT: f32 = 800.0;
/// Edge of the picture at the top right, pt.
const PICTURE: f32 = 116.0;

/// Left edges of the columns, pt.
const COLUMNS: [f32; 9] = [34.0, 50.0, 67.0, 93.0, 158.0, 192.0, 302.0, 350.0, 412.0];

/// The page, or pages.
pub(crate) fn theatre_pdf(record: &Record, still: Option<&Still>) -> Vec<u8> {
    let face = |bytes: &'static [u8]| {
        Font::new(bytes.into(), 0).expect("the fonts of the crate are sound")
    };
    let fonts = [face(dejavu::sans_condensed::regular()), face(dejavu::sans_condensed::bold())];
    let holes = record.in_order();
    let mut document = Document::new();
    document.set_metadata(
        Metadata::new()
            .title("Screws in filling order".to_owned())
            .language("en".to_owned())
            .creator(format!("{} {}", record.tool.name, harmless(&record.tool.version))),
    );
    let settings = PageSettings::from_wh(PAGE.0, PAGE.1).expect("A4 has a size");
    let chunks: Vec<&[&HoleRecord]> =
        if holes.is_empty() { vec![&[]] } else { holes.chunks(HOLES).collect() };
    let last_rows = chunks.last().map_or(0, |chunk| chunk.len()).max(1);
    let end = TABLE + 4.0 + ROW * last_rows as f32;
    let apart = rows_of_kit(record) > kit_rows_below(end + KIT_APART);
    let count = chunks.len() + usize::from(apart);
    for (index, chunk) in chunks.iter().enumerate() {
        let mut page = document.start_page_with(settings.clone());
        let mut sheet = Sheet::new(page.surface(), &fonts);
        let top = head(&mut sheet, record, still.filter(|_| index == 0));
        let end = table(&mut sheet, record, chunk, top);
        if index + 1 == chunks.len() && !apart {
            kit(&mut sheet, record, end + KIT_APART);
        }
        foot(&mut sheet, record, (index + 1, count));
        sheet.finish();
        page.finish();
    }
    if apart {
        let mut page = document.start_page_with(settings);
        let mut sheet = Sheet::new(page.surface(), &fonts);
        let top = head(&mut sheet, record, None);
        kit(&mut sheet, record, top);
        foot(&mut sheet, record, (count, count));
        sheet.finish();
        page.finish();
    }
    document.finish().expect("only text, lines and one picture were drawn")
}

/// Lines that the kit takes, its spares in two columns.
fn rows_of_kit(record: &Record) -> usize {
    let kit = record.kit.as_deref().unwrap_or_default().len();
    let spares = record.spares.as_deref().unwrap_or_default().len();
    kit.max(spares.div_ceil(2)).max(1)
}

/// Lines of kit that fit below its heading.
fn kit_rows_below(top: f32) -> usize {
    (((FOOT - 4.0 - top) / KIT_ROW).floor() as usize).max(1)
}

fn side(record: &Record) -> String {
    match record.parameter("side").map(|p| &p.value) {
        Some(crate::record::Value::Text(side)) => format!("{} hip", shortened(side, 10)),
        _ => "hip".to_owned(),
    }
}

/// Returns where the table begins, pt from the top.
fn head(sheet: &mut Sheet<'_>, record: &Record, still: Option<&Still>) -> f32 {
    let right = if still.is_some() { EDGE.1 - PICTURE - 12.0 } else { EDGE.1 };
    sheet.text(EDGE.0, 52.0, Face::Bold, 19.0, &format!("Screws, {}", side(record)));
    let scan: String = record.scan.digest.chars().take(16).collect();
    sheet.text(EDGE.0, 68.0, Face::Plain, 9.0, &format!("Scan {scan}"));
    let mut y = 86.0;
    for line in wrapped(&verdict(record), right - EDGE.0, 11.0).iter().take(4) {
        sheet.text(EDGE.0, y, Face::Bold, 11.0, line);
        y += 14.0;
    }
    let legend = "D: drilled and measured. F: filled. Lengths from the seat under the head to the tip. \
                  Boxed: the plan states another length. Leave: no stocked length is safe.";
    for line in wrapped(legend, right - EDGE.0, 8.0) {
        sheet.text(EDGE.0, y + 2.0, Face::Plain, 8.0, &line);
        y += 10.0;
    }
    if let Some(still) = still {
        picture(sheet, record, still);
    }
    TABLE
}

/// Bone seen into the socket, seats with their place in the order.
fn picture(sheet: &mut Sheet<'_>, record: &Record, still: &Still) {
    let (x, y) = (EDGE.1 - PICTURE, 32.0);
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
    for (index, hole) in record.in_order().into_iter().enumerate() {
        let (sx, sy) = place(still.screw(hole)[1]);
        let number = (index + 1).to_string();
        let width = 2.4 + 4.0 * number.len() as f32;
        sheet.fill(sx - 0.5 * width, sy - 4.0, width, 8.0, 255);
        sheet.frame(sx - 0.5 * width, sy - 4.0, width, 8.0, 0.4);
        sheet.text(sx - 2.0 * number.len() as f32, sy + 2.4, Face::Bold, 6.5, &number);
    }
    sheet.text(x, y + PICTURE + 8.0, Face::Plain, 6.5, "into the socket; numbers at the tips");
}

/// Returns where it ends.
fn table(sheet: &mut Sheet<'_>, record: &Record, holes: &[&HoleRecord], top: f32) -> f32 {
    let heads =
        ["D", "F", "No", "Hole", "Guide", "Screw, length mm", "Bone, mm", "Hold", "Beware of"];
    for (x, head) in COLUMNS.iter().zip(heads) {
        sheet.text(*x, top, Face::Bold, 8.5, head);
    }
    sheet.line((EDGE.0, top + 4.0), (EDGE.1, top + 4.0), 1.2, 0);
    let mut y = top + 4.0;
    for hole in holes {
        row(sheet, record, hole, y);
        y += ROW;
        sheet.line((EDGE.0, y), (EDGE.1, y), 0.4, 130);
    }
    if holes.is_empty() {
        sheet.text(EDGE.0, y + 18.0, Face::Plain, 11.0, "The plan has no holes.");
        y += ROW;
    }
    y
}

fn row(sheet: &mut Sheet<'_>, record: &Record, hole: &HoleRecord, y: f32) {
    let base = y + 16.5;
    let step = record.step_of(&hole.id);
    let position = record.in_order().iter().position(|h| h.id == hole.id).unwrap_or(0) + 1;
    for x in [COLUMNS[0], COLUMNS[1]] {
        sheet.frame(x, y + 7.0, 11.0, 11.0, 0.9);
    }
    sheet.text(COLUMNS[2], base, Face::Bold, 14.0, &position.to_string());
    sheet.text_within((COLUMNS[3], base), (Face::Bold, 13.0), &harmless(&hole.id), 61.0);
    let guide = step.and_then(|s| s.guide.as_deref()).unwrap_or("\u{2013}");
    sheet.text_within((COLUMNS[4], base), (Face::Bold, 13.0), guide, 30.0);
    let name_at = if hole.planned_otherwise_mm().is_some() { base - 6.0 } else { base };
    sheet.text_within((COLUMNS[5], name_at), (Face::Plain, 10.0), &harmless(&hole.screw), 62.0);
    if let Some(planned) = hole.planned_otherwise_mm() {
        let words = format!("planned {}", Unit::Stock.show(planned));
        sheet.frame(COLUMNS[5] - 2.0, base - 3.5, 58.0, 10.0, 0.9);
        sheet.text_within((COLUMNS[5], base + 4.2), (Face::Bold, 8.0), &words, 54.0);
    }
    match hole.length_mm {
        Some(length) => {
            let length = Unit::Stock.show(length);
            sheet.text_within((COLUMNS[5] + 66.0, base + 1.0), (Face::Bold, 17.0), &length, 40.0);
        }
        None => sheet.text(COLUMNS[5] + 66.0, base, Face::Bold, 11.0, "leave"),
    }
    let held = hole.purchase_mm.map_or(UNKNOWN.to_owned(), |p| Unit::Mm.show(p));
    sheet.text(COLUMNS[6], base, Face::Plain, 10.0, &held);
    let grade = format!("{} {}", grade_mark(&hole.purchase), hole.purchase);
    sheet.text(COLUMNS[7], base, Face::Bold, 10.5, &grade);
    let remark = match look_at(record, hole) {
        quiet if quiet == NOTHING => "\u{2013}".to_owned(),
        remark => remark,
    };
    remarks(sheet, &remark, (base, y));
}

/// What to beware of: two lines, or three small ones; what does not fit is
/// said to be in the report.
fn remarks(sheet: &mut Sheet<'_>, remark: &str, (base, y): (f32, f32)) {
    let width = EDGE.1 - COLUMNS[8];
    let large = wrapped(remark, width, 9.5);
    if large.len() <= 2 {
        let start = if large.len() == 1 { base - 1.0 } else { y + 11.5 };
        for (index, line) in large.iter().enumerate() {
            sheet.text(COLUMNS[8], start + 11.0 * index as f32, Face::Plain, 9.5, line);
        }
        return;
    }
    let small = wrapped(remark, width, 7.5);
    for (index, line) in small.iter().take(3).enumerate() {
        let more = index == 2 && small.len() > 3;
        let line = if more { "and more: see the report" } else { line.as_str() };
        sheet.text(COLUMNS[8], y + 7.8 + 8.0 * index as f32, Face::Plain, 7.5, line);
    }
}

/// What to order, in one column, and what to have at hand, in two.
fn kit(sheet: &mut Sheet<'_>, record: &Record, top: f32) {
    const GAP: f32 = 12.0;
    let width = (EDGE.1 - EDGE.0 - 2.0 * GAP) / 3.0;
    let column = |index: f32| EDGE.0 + index * (width + GAP);
    sheet.text(column(0.0), top, Face::Bold, 11.0, "On the table");
    sheet.text(column(1.0), top, Face::Bold, 11.0, "Spares, not counted");
    let most = kit_rows_below(top);
    let kit = record.kit.as_ref().map(|lines| {
        lines.iter().map(|k| kit_line(&k.screw, k.length_mm, k.count, &k.holes)).collect()
    });
    let spares = record.spares.as_ref().map(|lines| {
        lines.iter().map(|k| kit_line(&k.screw, k.length_mm, k.count, &k.holes)).collect()
    });
    let kit = said(kit, most);
    let spares = said(spares, 2 * most);
    let half = spares.len().div_ceil(2);
    for (index, lines) in [(0.0, &kit[..]), (1.0, &spares[..half]), (2.0, &spares[half..])] {
        for (row, line) in lines.iter().enumerate() {
            let (x, y) = (column(index), top + 3.0 + KIT_ROW * (row + 1) as f32);
            sheet.frame(x, y - 7.0, 8.0, 8.0, 0.8);
            sheet.text_within((x + 12.0, y), (Face::Plain, 9.0), line, width - 12.0);
        }
    }
}

/// Lines as they are shown: the word where they are unknown or none, and what
/// does not fit counted in the last.
fn said(lines: Option<Vec<String>>, most: usize) -> Vec<String> {
    let Some(mut lines) = lines else { return vec![UNKNOWN.to_owned()] };
    if lines.is_empty() {
        return vec!["none".to_owned()];
    }
    if lines.len() > most {
        let rest = counted(lines.len() - (most - 1), "more line", "more lines");
        lines.truncate(most - 1);
        lines.push(format!("and {rest} in the tables"));
    }
    lines
}

fn kit_line(screw: &str, length_mm: f64, count: usize, holes: &[String]) -> String {
    let holes: Vec<String> = holes.iter().map(|id| shortened(id, 10)).collect();
    format!(
        "{count} \u{d7} {} \u{d7} {} mm: {}",
        shortened(screw, 16),
        Unit::Stock.show(length_mm),
        holes.join(", ")
    )
}

fn foot(sheet: &mut Sheet<'_>, record: &Record, page: (usize, usize)) {
    sheet.line((EDGE.0, FOOT), (EDGE.1, FOOT), 0.8, 0);
    let mut y = FOOT + 9.0;
    for line in wrapped(CAUTION, EDGE.1 - EDGE.0, 7.2) {
        sheet.text(EDGE.0, y, Face::Plain, 7.2, &line);
        y += 9.0;
    }
    let words = format!(
        "{} {}, page {} of {}",
        record.tool.name,
        shortened(&record.tool.version, 20),
        page.0,
        page.1
    );
    sheet.text(EDGE.0, y, Face::Plain, 7.2, &words);
}
