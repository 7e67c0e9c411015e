//! `compare.csv`: one line a hole and report.

use super::{CompareRecord, Compared};
use crate::table::{number, written};
use crate::text::cell;

const NUMBERS: [&str; 5] =
    ["purchase_mm", "bone_depth_mm", "thread_hu", "pullout_n", "keeps_margin"];

/// One line a hole and report; empty where unknown.
pub(super) fn compare_csv(comparison: &CompareRecord) -> Vec<u8> {
    let mut heads: Vec<String> =
        ["hole", "report", "purchase", "length_mm"].map(str::to_owned).to_vec();
    for name in NUMBERS {
        heads.push(name.to_owned());
        for part in ["difference", "uncertainty", "exceeds"] {
            heads.push(format!("{name}.{part}"));
        }
    }
    heads.extend(["turned_deg".to_owned(), "moved_mm".to_owned()]);
    let rows = comparison.holes.iter().flat_map(|hole| {
        hole.entries.iter().zip(&comparison.reports).filter_map(|(entry, report)| {
            let entry = entry.as_ref()?;
            let mut row = vec![
                cell(&hole.id),
                report.name.clone(),
                entry.purchase.clone(),
                number(entry.length_mm),
            ];
            for compared in [
                &entry.purchase_mm,
                &entry.bone_depth_mm,
                &entry.thread_hu,
                &entry.pullout_n,
                &entry.keeps_margin,
            ] {
                row.extend(cells(compared));
            }
            row.extend([number(entry.turned_deg), number(entry.moved_mm)]);
            Some(row)
        })
    });
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    written(&heads, rows)
}

fn cells(compared: &Compared) -> [String; 4] {
    [
        number(compared.value),
        number(compared.difference),
        number(compared.uncertainty),
        compared.exceeds.map(|e| if e { "yes" } else { "no" }.to_owned()).unwrap_or_default(),
    ]
}
