//! Every file of a report, in memory.

use pilothole_plan::Side;
use pilothole_surface::{ClosedSurface, MeshLabel};

use crate::case::Case;
use crate::html::report_html;
use crate::json::to_json;
use crate::record::{Record, record};
use crate::table::{holes_csv, kit_csv, spares_csv};
use crate::text::CAUTION;
use crate::theatre::theatre_pdf;
use crate::view::{Drawn, scene_glb};

/// Every file of a report: name and bytes, always in the same order.
///
/// The same case gives the same bytes, for any number of threads. `bone.stl`
/// is among them when the case has a surface.
pub fn write_all(case: &Case<'_>) -> Vec<(&'static str, Vec<u8>)> {
    write_record(case, &record(case))
}

/// As [`write_all`], of a record already made from the same case.
pub fn write_record(case: &Case<'_>, record: &Record) -> Vec<(&'static str, Vec<u8>)> {
    let kit = record.kit.as_deref().unwrap_or_default();
    let spares = record.spares.as_deref().unwrap_or_default();
    let drawn = Drawn::of(case);
    let page = || report_html(case, record, &drawn).into_bytes();
    let bone = || case.surface.map(|surface| stl(case, surface));
    let theatre = || theatre_pdf(record, drawn.stills.first());
    let scene = || scene_glb(record, case.plan, &drawn);
    let tables = || (to_json(record).into_bytes(), holes_csv(record));
    let ((page, bone), (theatre, (scene, (json, holes)))) = rayon::join(
        || rayon::join(page, bone),
        || rayon::join(theatre, || rayon::join(scene, tables)),
    );
    let mut files = vec![
        ("report.json", json),
        ("holes.csv", holes),
        ("kit.csv", kit_csv(kit)),
        ("spares.csv", spares_csv(spares)),
        ("report.html", page),
        ("theatre.pdf", theatre),
        ("plan.resolved.toml", resolved(case)),
        ("scene.glb", scene),
    ];
    files.extend(bone.map(|bytes| ("bone.stl", bytes)));
    files
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
