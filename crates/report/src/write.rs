//! Every file of a report, in memory.

use pilothole_plan::Side;
use pilothole_surface::{ClosedSurface, MeshLabel};
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

/// Every file of a report: name and bytes, always in the same order.
///
/// The same case gives the same bytes, for any number of threads. `bone.stl`
/// is among them when the case has a surface.
pub fn write_all(case: &Case<'_>) -> Vec<(&'static str, Vec<u8>)> {
    write_record(case, &record(case), &FILE_NAMES)
}

/// As [`write_all`], of a record already made from the same case.
///
/// - `only`: names out of [`FILE_NAMES`]; no other file is made, and each has
///   the bytes that it has among all.
pub fn write_record(
    case: &Case<'_>,
    record: &Record,
    only: &[&str],
) -> Vec<(&'static str, Vec<u8>)> {
    let in_space = only.iter().any(|name| DRAWN.contains(name));
    let drawn = if in_space { Drawn::of(case) } else { Drawn::default() };
    FILE_NAMES
        .par_iter()
        .with_max_len(1)
        .filter(|name| only.contains(name))
        .filter_map(|name| Some((*name, file(name, case, record, &drawn)?)))
        .collect()
}

/// The bytes of one file; `None` where the case has nothing to put into it.
fn file(name: &str, case: &Case<'_>, record: &Record, drawn: &Drawn) -> Option<Vec<u8>> {
    let bytes = match name {
        "report.json" => to_json(record).into_bytes(),
        "holes.csv" => holes_csv(record),
        "kit.csv" => kit_csv(record.kit.as_deref().unwrap_or_default()),
        "spares.csv" => spares_csv(record.spares.as_deref().unwrap_or_default()),
        "report.html" => report_html(case, record, drawn).into_bytes(),
        "theatre.pdf" => theatre_pdf(record, drawn.stills.first()),
        "plan.resolved.toml" => resolved(case),
        "scene.glb" => scene_glb(record, case.plan, drawn),
        "bone.stl" => stl(case, case.surface?),
        _ => return None,
    };
    Some(bytes)
}

/// The plan with every default written out, under the caution as a comment.
fn resolved(case: &Case<'_>) -> Vec<u8> {
    format!("# {CAUTION}\n\n{}", case.plan.resolved_toml()).into_bytes()
}

fn stl(case: &Case<'_>, surface: &ClosedSurface) -> Vec<u8> {
    let side = match case.plan.side {
        Side::Left => pilothole_surface::Side::Left,
        Side::Right => pilothole_surface::Side::Right,
    };
    let mut bytes = Vec::with_capacity(84 + 50 * surface.mesh().triangles.len());
    pilothole_surface::write_stl(&mut bytes, surface.mesh(), MeshLabel { side })
        .expect("a closed surface has finite corners, and memory takes every write");
    bytes
}
