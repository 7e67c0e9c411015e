//! `theatre.pdf`: the page that goes into the operation.
//!
//! A4, black on white, to be read at arm's length: what to put where, in which
//! order, what to beware of, boxes to tick, what to have on the table. Sixteen
//! holes a page; more go on under the same head. Rows are as high as the page
//! allows, so that few holes do not leave it empty.

mod head;
mod kit;
mod measure;
mod rows;
mod sheet;

use krilla::Document;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::text::Font;

use crate::record::{HoleRecord, Record};
use crate::text::{CAUTION, harmless, shortened};
use crate::view::Still;
use measure::Measure;
use sheet::{Face, Sheet};

/// A4, pt.
const PAGE: (f32, f32) = (595.28, 841.89);
/// Left and right edge of what is printed, pt.
const EDGE: (f32, f32) = (30.0, 565.0);
/// Holes on a page.
const HOLES: usize = 16;
/// Where the footer begins, pt from the top.
const FOOT: f32 = 796.0;
/// Size of the caution and of the page's number, pt.
const FOOT_SIZE: f32 = 9.0;

/// The page, or pages.
pub(crate) fn theatre_pdf(record: &Record, still: Option<&Still>) -> Vec<u8> {
    let faces = [dejavu::sans_condensed::regular(), dejavu::sans_condensed::bold()];
    let fonts =
        faces.map(|face| Font::new(face.into(), 0).expect("the fonts of the crate are sound"));
    let measure = Measure::new(faces);
    let mut document = Document::new();
    document.set_metadata(
        Metadata::new()
            .title("Screws in filling order".to_owned())
            .language("en".to_owned())
            .creator(format!("{} {}", record.tool.name, harmless(&record.tool.version))),
    );
    let settings = PageSettings::from_wh(PAGE.0, PAGE.1).expect("A4 has a size");
    let holes = record.in_order();
    let kit = kit::Kit::of(record);
    let pages = shared_out(&holes, head::end(record, still.is_some(), &measure), kit.height());
    for (index, content) in pages.iter().enumerate() {
        let mut page = document.start_page_with(settings.clone());
        let mut sheet = Sheet::new(page.surface(), &fonts, &measure);
        let end = head::draw(&mut sheet, record, still.filter(|_| index == 0));
        let kit_top = FOOT - content.kit.map_or(0.0, |height| height);
        let end = match content.holes {
            Some(first) => {
                let until = (first + content.count).min(holes.len());
                rows::draw(&mut sheet, record, &holes[first..until], (end, kit_top))
            }
            None => end,
        };
        if content.kit.is_some() {
            kit.draw(&mut sheet, end + kit::APART);
        }
        foot(&mut sheet, record, (index + 1, pages.len()));
        sheet.finish();
        page.finish();
    }
    document.finish().expect("only text, lines and one picture were drawn")
}

/// What a page holds.
struct Content {
    /// The first of its holes, where it holds their table.
    holes: Option<usize>,
    /// How many.
    count: usize,
    /// Height of the kit, pt, where it is on this page.
    kit: Option<f32>,
}

/// Holes and kit over the pages: the kit below the last holes where there is
/// room, else on a page of its own.
fn shared_out(holes: &[&HoleRecord], head_end: f32, kit: f32) -> Vec<Content> {
    let starts: Vec<usize> = (0..holes.len().max(1)).step_by(HOLES).collect();
    let mut pages: Vec<Content> = starts
        .into_iter()
        .map(|first| Content {
            holes: Some(first),
            count: HOLES.min(holes.len() - first),
            kit: None,
        })
        .collect();
    let last = pages.last_mut().expect("there is a page");
    let room = FOOT - head_end - rows::least_height(last.count);
    if kit <= room {
        last.kit = Some(kit);
    } else {
        pages.push(Content { holes: None, count: 0, kit: Some(kit) });
    }
    pages
}

fn foot(sheet: &mut Sheet<'_>, record: &Record, page: (usize, usize)) {
    sheet.line((EDGE.0, FOOT), (EDGE.1, FOOT), 0.8, 0);
    let mut y = FOOT + 11.0;
    let words = format!(
        "{CAUTION} {} {}, page {} of {}.",
        record.tool.name,
        shortened(&record.tool.version, 20),
        page.0,
        page.1
    );
    for line in sheet.measure.wrapped(Face::Plain, FOOT_SIZE, &words, EDGE.1 - EDGE.0) {
        sheet.text(EDGE.0, y, Face::Plain, FOOT_SIZE, &line);
        y += 11.0;
    }
}
