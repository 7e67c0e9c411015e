//! Two or more reports side by side: hole by hole, each against the first, and
//! whether a difference is more than what the reports say of their own error.

mod page;
mod table;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::json::to_json;
use crate::number::kept;
use crate::record::{HoleRecord, Record, Tool, Value};
use crate::text::CAUTION;
use crate::words::verdict;

/// `compare.json`: reports side by side.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CompareRecord {
    /// Always `pilothole/compare/1`.
    pub schema: String,
    /// The program that wrote the first report.
    pub tool: Tool,
    /// What every reader has to know first.
    pub caution: String,
    /// Whether all reports are of the same scan, by digest.
    pub same_scan: bool,
    /// The reports, in the order given; called A, B, C.
    pub reports: Vec<ComparedReport>,
    /// Parameters that are not the same in all reports, in order of first
    /// mention.
    pub parameters: Vec<ComparedParameter>,
    /// The holes of all reports by id, in order of first mention.
    pub holes: Vec<ComparedHole>,
}

/// A parameter that differs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ComparedParameter {
    /// Its name.
    pub name: String,
    /// Its unit; null for words.
    pub unit: Option<String>,
    /// Its value in each report; null where the report has no such parameter.
    pub values: Vec<Option<Value>>,
}

/// A report among those compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ComparedReport {
    /// `A`, `B`, and so on.
    pub name: String,
    /// Digest of its scan.
    pub digest: String,
    /// Holes in it.
    pub holes: usize,
    /// Of these, by grade: good, fair, poor, none, unknown.
    pub grades: [usize; 5],
    /// Its verdict.
    pub verdict: String,
    /// Guides that it needs.
    pub guides: Option<usize>,
    /// Largest movement of the hip centre under load, µm.
    pub worst_um: Option<f64>,
}

/// A hole in all reports.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ComparedHole {
    /// Its id.
    pub id: String,
    /// One entry a report; null where the report has no such hole.
    pub entries: Vec<Option<ComparedEntry>>,
}

/// A hole in one report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ComparedEntry {
    /// Recommended length, mm.
    pub length_mm: Option<f64>,
    /// `good`, `fair`, `poor`, `none` or `unknown`.
    pub purchase: String,
    /// Purchase, mm.
    pub purchase_mm: Compared,
    /// Bone on the axis, mm.
    pub bone_depth_mm: Compared,
    /// Mean over the thread, HU.
    pub thread_hu: Compared,
    /// Pull-out strength, N.
    pub pullout_n: Compared,
    /// Share of wrong placements that keep the margin.
    pub keeps_margin: Compared,
    /// Angle to the direction in the first report, degrees.
    pub turned_deg: Option<f64>,
    /// Distance from the seat in the first report, mm.
    pub moved_mm: Option<f64>,
}

/// A number, and how it differs from the first report's.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Compared {
    /// The value.
    pub value: Option<f64>,
    /// This less the first report's; null in the first report.
    pub difference: Option<f64>,
    /// What a difference has to exceed, from the reports' own errors (95 %);
    /// null where they state none.
    pub uncertainty: Option<f64>,
    /// Whether it does.
    pub exceeds: Option<bool>,
}

impl CompareRecord {
    /// The value of `schema` in a comparison.
    pub const SCHEMA: &'static str = "pilothole/compare/1";
}

/// Reports side by side, in the order given.
pub fn compare(records: &[Record]) -> CompareRecord {
    let mut ids: Vec<&str> = Vec::new();
    for hole in records.iter().flat_map(|r| &r.holes) {
        if !ids.contains(&hole.id.as_str()) {
            ids.push(&hole.id);
        }
    }
    let digest = records.first().map(|r| r.scan.digest.as_str()).unwrap_or_default();
    CompareRecord {
        schema: CompareRecord::SCHEMA.to_owned(),
        tool: records.first().map_or_else(
            || Tool { name: "pilothole".to_owned(), version: String::new() },
            |r| r.tool.clone(),
        ),
        caution: CAUTION.to_owned(),
        same_scan: records.iter().all(|r| r.scan.digest == digest),
        reports: records.iter().enumerate().map(|(i, r)| report(i, r)).collect(),
        parameters: differing(records),
        holes: ids
            .into_iter()
            .map(|id| ComparedHole {
                id: id.to_owned(),
                entries: records
                    .iter()
                    .enumerate()
                    .map(|(index, record)| {
                        let first = (index > 0).then(|| records[0].hole(id)).flatten();
                        record.hole(id).map(|hole| entry(hole, first))
                    })
                    .collect(),
            })
            .collect(),
    }
}

/// The parameters that are not the same in all reports.
fn differing(records: &[Record]) -> Vec<ComparedParameter> {
    let mut found: Vec<ComparedParameter> = Vec::new();
    for parameter in records.iter().flat_map(|r| &r.parameters) {
        if found.iter().any(|known| known.name == parameter.name) {
            continue;
        }
        let value = |r: &Record| r.parameter(&parameter.name).map(|p| p.value.clone());
        let values: Vec<Option<Value>> = records.iter().map(value).collect();
        found.push(ComparedParameter {
            name: parameter.name.clone(),
            unit: parameter.unit.clone(),
            values,
        });
    }
    found.retain(|p| p.values.windows(2).any(|pair| pair[0] != pair[1]));
    found
}

/// The files of a comparison: `compare.json`, `compare.csv`, `compare.html`.
pub fn write_compare(comparison: &CompareRecord) -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("compare.json", to_json(comparison).into_bytes()),
        ("compare.csv", table::compare_csv(comparison)),
        ("compare.html", page::compare_html(comparison).into_bytes()),
    ]
}

fn report(index: usize, record: &Record) -> ComparedReport {
    let graded = |word: &str| record.holes.iter().filter(|h| h.purchase == word).count();
    let set = record.set.as_ref();
    ComparedReport {
        name: name(index),
        digest: record.scan.digest.clone(),
        holes: record.holes.len(),
        grades: ["good", "fair", "poor", "none", "unknown"].map(graded),
        verdict: verdict(record),
        guides: set.and_then(|s| s.guides.as_ref()).map(Vec::len),
        worst_um: set.and_then(|s| s.load.as_ref()).and_then(|l| l.worst_um),
    }
}

/// A to Z, then by number.
fn name(index: usize) -> String {
    if index < 26 { char::from(b'A' + index as u8).to_string() } else { format!("R{}", index + 1) }
}

fn entry(hole: &HoleRecord, first: Option<&HoleRecord>) -> ComparedEntry {
    let number = |value: fn(&HoleRecord) -> Option<f64>, error: fn(&HoleRecord) -> Option<f64>| {
        compared(value(hole), first.and_then(value), error(hole), first.and_then(error))
    };
    let turned = first.map(|f| {
        let dot: f64 = (0..3).map(|i| f.direction[i] * hole.direction[i]).sum();
        let cross: f64 = (0..3)
            .map(|i| {
                let (j, k) = ((i + 1) % 3, (i + 2) % 3);
                f.direction[j] * hole.direction[k] - f.direction[k] * hole.direction[j]
            })
            .map(|c| c * c)
            .sum();
        cross.sqrt().atan2(dot).to_degrees()
    });
    let moved =
        first.map(|f| (0..3).map(|i| (f.seat_mm[i] - hole.seat_mm[i]).powi(2)).sum::<f64>().sqrt());
    ComparedEntry {
        length_mm: hole.length_mm,
        purchase: hole.purchase.clone(),
        purchase_mm: number(|h| h.purchase_mm, near_error),
        bone_depth_mm: number(|h| h.bone_depth_mm, depth_error),
        thread_hu: number(|h| h.hu.as_ref()?.thread.mean, |_| None),
        pullout_n: number(|h| h.pullout_n.as_ref()?.estimate, pullout_error),
        keeps_margin: number(|h| h.robust.as_ref()?.keeps_margin, |h| h.robust.as_ref()?.share_se),
        turned_deg: turned.and_then(|v| kept(v, 3)),
        moved_mm: moved.and_then(|v| kept(v, 3)),
    }
}

/// Standard error of the near end, which a purchase begins at.
fn near_error(hole: &HoleRecord) -> Option<f64> {
    hole.near.as_ref()?.se_mm
}

/// Standard error of the depth, from both ends.
fn depth_error(hole: &HoleRecord) -> Option<f64> {
    Some(hole.near.as_ref()?.se_mm?.hypot(hole.far.as_ref()?.se_mm?))
}

/// A standard error that stands for the band of a strength: a 90 % band is
/// 3.29 standard errors wide.
fn pullout_error(hole: &HoleRecord) -> Option<f64> {
    let pullout = hole.pullout_n.as_ref()?;
    Some((pullout.high? - pullout.low?) / 3.29)
}

fn compared(
    value: Option<f64>,
    first: Option<f64>,
    error: Option<f64>,
    first_error: Option<f64>,
) -> Compared {
    let difference = value.zip(first).map(|(v, f)| v - f);
    let uncertainty = error.zip(first_error).map(|(a, b)| 1.96 * a.hypot(b));
    Compared {
        value,
        difference: difference.and_then(|d| kept(d, 4)),
        uncertainty: uncertainty.filter(|_| difference.is_some()).and_then(|u| kept(u, 4)),
        exceeds: difference.zip(uncertainty).map(|(d, u)| d.abs() > u),
    }
}
