//! The tables: `holes.csv`, `kit.csv`, `spares.csv`.

use crate::record::{HoleRecord, KitRecord, Record, SpareRecord};
use crate::text::{SHORT_CAUTION, cell, harmless};
use crate::words::marks;

/// Heads of `holes.csv`: the report's field names, whose last part is the unit.
const HOLE_HEADS: [&str; 53] = [
    "order",
    "id",
    "zone",
    "region",
    "screw",
    "guide",
    "planned_length_mm",
    "near_cortex_mm",
    "near_cortex_se_mm",
    "near_rule",
    "far_cortex_mm",
    "far_cortex_se_mm",
    "far_rule",
    "bone_depth_mm",
    "length_mm",
    "purchase_mm",
    "planned_purchase_mm",
    "engaged_mm",
    "hu.core.mean",
    "hu.core.sd",
    "hu.thread.mean",
    "hu.thread.sd",
    "hu.thread.min",
    "hu.thread.p10",
    "hu.thread.p50",
    "hu.thread.p90",
    "hu.thread.max",
    "hu.thread.samples",
    "hu.axis.mean",
    "hu.axis.sd",
    "density_mg_cm3",
    "cortices",
    "side_wall_mm",
    "side_wall_at_mm",
    "beyond.bone_mm",
    "beyond.metal_mm",
    "beyond.skin_mm",
    "beyond.scan_end_mm",
    "pullout_n.estimate",
    "pullout_n.low",
    "pullout_n.high",
    "robust.keeps_margin",
    "robust.stays_inside",
    "robust.keeps_grade",
    "robust.share_se",
    "robust.purchase_p10_mm",
    "robust.purchase_p50_mm",
    "robust.forgiven_shift_mm",
    "robust.forgiven_tilt_deg",
    "purchase",
    "reasons",
    "trust",
    "findings",
];

/// `holes.csv`: one line a hole, in the plan's order; empty where unknown.
pub(crate) fn holes_csv(record: &Record) -> Vec<u8> {
    let rows = record.holes.iter().map(|hole| hole_row(record, hole));
    written(&HOLE_HEADS, rows)
}

/// `kit.csv`: what to order, and which of it has no place as planned.
pub(crate) fn kit_csv(record: &Record) -> Vec<u8> {
    let rows = record.kit.iter().flatten().map(|line| {
        vec![
            cell(&line.screw),
            number(Some(line.length_mm)),
            line.count.to_string(),
            ids(&line.holes),
            marked(record, line),
        ]
    });
    written(&["screw", "length_mm", "count", "holes", "marks"], rows)
}

/// Hole, code and words of every mark, in one cell.
fn marked(record: &Record, line: &KitRecord) -> String {
    let all: Vec<String> = marks(record, &line.holes)
        .iter()
        .map(|mark| format!("{}: {} {}", harmless(mark.hole), mark.code, mark.words))
        .collect();
    cell(&all.join("; "))
}

/// `spares.csv`: what to have at hand beside the kit.
pub(crate) fn spares_csv(spares: &[SpareRecord]) -> Vec<u8> {
    let rows = spares.iter().map(|line| {
        vec![
            cell(&line.screw),
            number(Some(line.length_mm)),
            line.count.to_string(),
            ids(&line.holes),
            line.reasons.join(" "),
        ]
    });
    written(&["screw", "length_mm", "count", "holes", "reasons"], rows)
}

fn hole_row(record: &Record, hole: &HoleRecord) -> Vec<String> {
    let mut row = identity(record, hole);
    row.extend(hounsfield(hole));
    row.extend(surroundings(hole));
    row.extend(robust(hole));
    let mut codes: Vec<&str> = record.findings_of(&hole.id).map(|f| f.code.as_str()).collect();
    codes.dedup();
    row.extend([
        hole.purchase.clone(),
        hole.reasons.join(" "),
        number(hole.trust),
        codes.join(" "),
    ]);
    row
}

fn identity(record: &Record, hole: &HoleRecord) -> Vec<String> {
    let step = record.step_of(&hole.id);
    let near = hole.near.as_ref();
    let far = hole.far.as_ref();
    vec![
        step.map(|s| s.step.to_string()).unwrap_or_default(),
        cell(&hole.id),
        hole.zone.clone(),
        hole.region.clone().unwrap_or_default(),
        cell(&hole.screw),
        step.and_then(|s| s.guide.clone()).unwrap_or_default(),
        number(hole.planned_length_mm),
        number(hole.near_cortex_mm),
        number(near.and_then(|e| e.se_mm)),
        near.map(|e| e.rule.clone()).unwrap_or_default(),
        number(hole.far_cortex_mm),
        number(far.and_then(|e| e.se_mm)),
        far.map(|e| e.rule.clone()).unwrap_or_default(),
        number(hole.bone_depth_mm),
        number(hole.length_mm),
        number(hole.purchase_mm),
        number(hole.planned_purchase_mm),
        number(hole.engaged_mm),
    ]
}

fn hounsfield(hole: &HoleRecord) -> Vec<String> {
    let hu = hole.hu.as_ref();
    let core = hu.map(|h| &h.core);
    let thread = hu.map(|h| &h.thread);
    let axis = hu.map(|h| &h.axis);
    vec![
        number(core.and_then(|s| s.mean)),
        number(core.and_then(|s| s.sd)),
        number(thread.and_then(|s| s.mean)),
        number(thread.and_then(|s| s.sd)),
        number(thread.and_then(|s| s.min)),
        number(thread.and_then(|s| s.p10)),
        number(thread.and_then(|s| s.p50)),
        number(thread.and_then(|s| s.p90)),
        number(thread.and_then(|s| s.max)),
        thread.map(|s| s.samples.to_string()).unwrap_or_default(),
        number(axis.and_then(|s| s.mean)),
        number(axis.and_then(|s| s.sd)),
        number(hole.density_mg_cm3.as_ref().and_then(|d| d.mean)),
    ]
}

fn surroundings(hole: &HoleRecord) -> Vec<String> {
    let pullout = hole.pullout_n.as_ref();
    vec![
        hole.cortices.to_string(),
        number(hole.side_wall_mm),
        number(hole.side_wall_at_mm),
        number(hole.beyond.bone_mm),
        number(hole.beyond.metal_mm),
        number(hole.beyond.skin_mm),
        number(hole.beyond.scan_end_mm),
        number(pullout.and_then(|p| p.estimate)),
        number(pullout.and_then(|p| p.low)),
        number(pullout.and_then(|p| p.high)),
    ]
}

fn robust(hole: &HoleRecord) -> Vec<String> {
    let robust = hole.robust.as_ref();
    vec![
        number(robust.and_then(|r| r.keeps_margin)),
        number(robust.and_then(|r| r.stays_inside)),
        number(robust.and_then(|r| r.keeps_grade)),
        number(robust.and_then(|r| r.share_se)),
        number(robust.and_then(|r| r.purchase_p10_mm)),
        number(robust.and_then(|r| r.purchase_p50_mm)),
        number(robust.and_then(|r| r.forgiven_shift_mm)),
        number(robust.and_then(|r| r.forgiven_tilt_deg)),
    ]
}

/// A kept number as JSON writes it; empty where unknown.
pub(crate) fn number(value: Option<f64>) -> String {
    value.filter(|v| v.is_finite()).map(|v| format!("{v}")).unwrap_or_default()
}

/// Ids of holes in one cell.
fn ids(holes: &[String]) -> String {
    cell(&holes.iter().map(|id| harmless(id)).collect::<Vec<_>>().join("; "))
}

/// Rows under heads, as CSV (RFC 4180 but for the line ends).
///
/// The last column, `caution`, says in every row what the numbers are not:
/// RFC 4180 knows no comments, and a row may be copied out of its table.
pub(crate) fn written(heads: &[&str], rows: impl Iterator<Item = Vec<String>>) -> Vec<u8> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let kept = "memory takes every write, and every row has one cell a head";
    writer.write_record(heads.iter().copied().chain(["caution"])).expect(kept);
    for row in rows {
        writer.write_record(row.iter().map(String::as_str).chain([SHORT_CAUTION])).expect(kept);
    }
    writer.into_inner().expect("memory takes every write")
}
