//! Every file of a report.

use std::io::{self, Write};

use pilothole_plan::Side;
use pilothole_surface::{ClosedSurface, MeshFileError, MeshLabel};
use rayon::prelude::*;

use crate::case::Case;
use crate::html::report_html;
use crate::json::to_json;
use crate::record::{Record, record};
use crate::table::{holes_csv, kit_csv, spares_csv};
use crate::text::CAUTION;
use crate::theatre::theatre_pdf;
use crate::view::{Drawn, scene_glb};

/// Names of a report's files, in the order in which they are written.
pub const FILE_NAMES: [&str; 9] = [
    "report.json",
    "holes.csv",
    "kit.csv",
    "spares.csv",
    "report.html",
    "theatre.pdf",
    "plan.resolved.toml",
    "scene.glb",
    "bone.stl",
];

/// The one that shows [`Case::chart`].
pub const CHARTED: &str = "report.html";

/// Those that show the set in space.
const DRAWN: [&str; 3] = ["report.html", "theatre.pdf", "scene.glb"];

/// What a file of a report holds.
#[derive(Debug)]
pub struct Content<'a>(Made<'a>);

#[derive(Debug)]
enum Made<'a> {
    Bytes(Vec<u8>),
    /// Many times the bytes of all others: made while it is written.
    Stl(&'a ClosedSurface, MeshLabel),
}

impl Content<'_> {
    /// Write all of it; the same bytes every time.
    ///
    /// # Errors
    ///
    /// What the destination says.
    pub fn write_to(&self, to: &mut impl Write) -> io::Result<()> {
        match &self.0 {
            Made::Bytes(bytes) => to.write_all(bytes),
            Made::Stl(surface, label) => pilothole_surface::write_stl(to, surface.mesh(), *label)
                .map_err(|error| match error {
                    MeshFileError::Write(error) => error,
                    other => io::Error::other(other),
                }),
        }
    }

    fn into_bytes(self) -> Vec<u8> {
        if let Made::Bytes(bytes) = self.0 {
            return bytes;
        }
        let mut bytes = Vec::new();
        self.write_to(&mut bytes).expect("a closed surface has its corners, memory takes all");
        bytes
    }
}

/// Every file of a report in memory: name and bytes, always in the same order.
///
/// The same case gives the same bytes, for any number of threads. `bone.stl`
/// is among them when the case has a surface.
pub fn write_all(case: &Case<'_>) -> Vec<(&'static str, Vec<u8>)> {
    each(case, &record(case), &FILE_NAMES, |name, content| (name, content.into_bytes()))
}

/// Hand over the files of [`write_all`] one by one, of a record already made
/// from the same case; several threads do so at once, and no file outlives its
/// turn.
///
/// - `only`: names out of [`FILE_NAMES`]; no other file is made, and each has
///   the bytes that it has among all.
/// - `put`: keeps a file.
///
/// # Errors
///
/// That of the first file, in order, that could not be kept.
pub fn write_record<E: Send>(
    case: &Case<'_>,
    record: &Record,
    only: &[&str],
    put: impl Fn(&'static str, &Content<'_>) -> Result<(), E> + Sync,
) -> Result<(), E> {
    each(case, record, only, |name, content| put(name, &content)).into_iter().collect()
}

/// What is done with each file, in the order of [`FILE_NAMES`].
fn each<T: Send>(
    case: &Case<'_>,
    record: &Record,
    only: &[&str],
    done: impl Fn(&'static str, Content<'_>) -> T + Sync,
) -> Vec<T> {
    let in_space = only.iter().any(|name| DRAWN.contains(name));
    let drawn = if in_space { Drawn::of(case) } else { Drawn::default() };
    FILE_NAMES
        .par_iter()
        .with_max_len(1)
        .filter(|name| only.contains(name))
        .filter_map(|name| Some(done(name, Content(made(name, case, record, &drawn)?))))
        .collect()
}

/// One file; `None` where the case has nothing to put into it.
fn made<'a>(name: &str, case: &Case<'a>, record: &Record, drawn: &Drawn) -> Option<Made<'a>> {
    let bytes = match name {
        "report.json" => to_json(record).into_bytes(),
        "holes.csv" => holes_csv(record),
        "kit.csv" => kit_csv(record),
        "spares.csv" => spares_csv(record.spares.as_deref().unwrap_or_default()),
        "report.html" => report_html(case, record, drawn).into_bytes(),
        "theatre.pdf" => theatre_pdf(record, drawn.stills.first()),
        "plan.resolved.toml" => resolved(case),
        "scene.glb" => scene_glb(record, case.plan, drawn),
        "bone.stl" => return Some(Made::Stl(case.surface?, MeshLabel { side: side_of(case) })),
        _ => return None,
    };
    Some(Made::Bytes(bytes))
}

/// The plan with every default written out, under the caution as a comment.
fn resolved(case: &Case<'_>) -> Vec<u8> {
    format!("# {CAUTION}\n\n{}", case.plan.resolved_toml()).into_bytes()
}

fn side_of(case: &Case<'_>) -> pilothole_surface::Side {
    match case.plan.side {
        Side::Left => pilothole_surface::Side::Left,
        Side::Right => pilothole_surface::Side::Right,
    }
}
