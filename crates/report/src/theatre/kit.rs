//! What to have on the table, and the spares: a line a screw, a box a piece.

use super::sheet::{Face, Sheet};
use super::{EDGE, FOOT};
use crate::number::{UNKNOWN, Unit};
use crate::record::{KitRecord, Record};
use crate::text::{counted, harmless, shortened};
use crate::words::{marking, marks, short};

/// From a table of holes to the kit's heading, pt.
pub(super) const APART: f32 = 10.0;
/// Left edge of the pieces, pt.
const PIECES: f32 = 110.0;
/// From a piece to the next, and the pieces of a line.
const PIECE: f32 = 41.0;
const A_LINE: usize = 11;
/// Height of a heading and of a line, pt.
const HEADING: f32 = 19.0;
const LINE: f32 = 18.0;
/// The most lines under a heading: two such lists fill a page of their own.
const MOST: usize = 16;

/// The kit and its spares, ready to be drawn.
pub(super) struct Kit {
    lists: [(&'static str, Vec<Line>); 2],
}

/// A line: a screw and lengths of it, or words.
struct Line {
    screw: String,
    /// How a length is shown; one entry a piece.
    lengths: Vec<String>,
}

impl Kit {
    pub(super) fn of(record: &Record) -> Self {
        let kit = record.kit.as_deref();
        let spares = record.spares.as_deref().map(|lines| {
            lines.iter().flat_map(|k| pieces(&k.screw, k.length_mm, k.count, &[])).collect()
        });
        let ordered =
            kit.map(|lines| lines.iter().flat_map(|line| of_plan(record, line)).collect());
        let mut table = lines(ordered);
        table.extend(kit.map(|kit| beware(record, kit)).unwrap_or_default());
        Self { lists: [("On the table", table), ("Spares at hand", lines(spares))] }
    }

    /// Height with the space above it, pt.
    pub(super) fn height(&self) -> f32 {
        let list = |(_, lines): &(_, Vec<Line>)| HEADING + LINE * lines.len() as f32;
        APART + self.lists.iter().map(list).sum::<f32>() + 6.0
    }

    pub(super) fn draw(&self, sheet: &mut Sheet<'_>, top: f32) {
        let mut y = top.min(FOOT - self.height() + APART);
        for (heading, lines) in &self.lists {
            y += HEADING;
            sheet.text(EDGE.0, y - 3.0, Face::Bold, 13.0, heading);
            for line in lines {
                y += LINE;
                let base = y - 4.5;
                let face = (Face::Bold, (8.0, 12.0));
                let until = if line.lengths.is_empty() { EDGE.1 } else { PIECES - 6.0 };
                sheet.text_within((EDGE.0, base), face, &line.screw, until - EDGE.0);
                for (index, length) in line.lengths.iter().enumerate() {
                    let x = PIECES + PIECE * index as f32;
                    sheet.frame(x, base - 10.0, 11.0, 11.0, 0.9);
                    let face = (Face::Plain, (8.0, 13.0));
                    sheet.text_within((x + 14.0, base), face, length, PIECE - 17.0);
                }
            }
        }
    }
}

/// What stands behind the length of a piece that has no place as planned.
const MARK: &str = " !";

/// A piece of a list: a screw's name, and how its length is shown.
type Piece<'a> = (&'a str, String);

/// The pieces of one line; behind those at the given places stands the mark.
fn pieces<'a>(screw: &'a str, length_mm: f64, count: usize, marked: &[usize]) -> Vec<Piece<'a>> {
    let length = Unit::Stock.show(length_mm);
    let shown = |index| if marked.contains(&index) { MARK } else { "" };
    (0..count).map(|index| (screw, format!("{length}{}", shown(index)))).collect()
}

/// The pieces of a line of the kit, one a hole.
fn of_plan<'a>(record: &Record, line: &'a KitRecord) -> Vec<Piece<'a>> {
    let marks = marks(record, &line.holes);
    let is_marked = |hole: &String| marks.iter().any(|mark| mark.hole == hole);
    let marked: Vec<usize> =
        (0..line.holes.len()).filter(|index| is_marked(&line.holes[*index])).collect();
    pieces(&line.screw, line.length_mm, line.count, &marked)
}

/// What the mark behind a piece means: a line a code, with the holes.
fn beware(record: &Record, kit: &[KitRecord]) -> Vec<Line> {
    let all: Vec<_> = kit.iter().flat_map(|line| marks(record, &line.holes)).collect();
    let of_code = |code: &str| {
        let holes: Vec<String> =
            all.iter().filter(|m| m.code == code).map(|m| harmless(m.hole)).collect();
        let words = short(code).unwrap_or(code);
        let screw = format!("! {words} ({code}): {}", holes.join(", "));
        (!holes.is_empty()).then(|| Line { screw, lengths: Vec::new() })
    };
    marking().filter_map(of_code).collect()
}

/// A list's lines: unknown and none are words, and what is too much is counted.
fn lines(pieces: Option<Vec<Piece<'_>>>) -> Vec<Line> {
    let word = |screw: &str| vec![Line { screw: screw.to_owned(), lengths: Vec::new() }];
    let Some(pieces) = pieces else { return word(UNKNOWN) };
    if pieces.is_empty() {
        return word("none");
    }
    let mut lines = Vec::new();
    for same in pieces.chunk_by(|a, b| a.0 == b.0) {
        let lengths: Vec<String> = same.iter().map(|(_, length)| length.clone()).collect();
        for lengths in lengths.chunks(A_LINE) {
            lines.push(Line { screw: shortened(same[0].0, 16), lengths: lengths.to_vec() });
        }
    }
    if lines.len() > MOST {
        let rest = counted(lines.len() - (MOST - 1), "more line", "more lines");
        lines.truncate(MOST - 1);
        lines.extend(word(&format!("and {rest} in the tables")));
    }
    lines
}
