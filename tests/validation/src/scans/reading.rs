//! What `inspect` says of a scan.

use std::fmt::Write;
use std::path::Path;

use pilothole_study::{Limits, Purpose, SeriesSummary, Verdict, open};

/// Every series of a scan in a table, with its reservations below.
pub(super) fn table(scan: &Path) -> String {
    let limits = Limits::default();
    let series = match open(scan, &limits) {
        Ok(scan) => scan.surveyed(&limits),
        Err(refusal) => {
            let reasons: Vec<String> = refusal
                .0
                .iter()
                .map(|r| format!("- refused: `{}`: {}\n", r.code, r.text))
                .collect();
            return reasons.concat();
        }
    };
    let mut text = String::from(
        "| series | images | matrix | voxel, mm | kVp | HU along a path | surface | screening |\n\
         |---|---|---|---|---|---|---|---|\n",
    );
    for one in &series {
        text.push_str(&row(one));
    }
    text.push('\n');
    for one in &series {
        for reason in reasons(one) {
            // A string takes any text.
            let _written = writeln!(text, "- {}: {reason}", one.ordinal);
        }
    }
    text
}

fn row(one: &SeriesSummary) -> String {
    let voxel = one
        .voxel_mm
        .map_or_else(|| "unknown".to_owned(), |mm| mm.map(|edge| format!("{edge:.3}")).join(" × "));
    let kvp = one.kvp.map_or_else(|| "unknown".to_owned(), |kvp| format!("{kvp:.0}"));
    let verdicts = Purpose::ALL.map(|purpose| word(verdict(one, purpose)));
    format!(
        "| {} | {} | {} × {} | {voxel} | {kvp} | {} |\n",
        one.ordinal,
        one.slices,
        one.matrix[0],
        one.matrix[1],
        verdicts.join(" | ")
    )
}

fn verdict(one: &SeriesSummary, purpose: Purpose) -> &Verdict {
    match purpose {
        Purpose::HuAlongPath => &one.verdicts.hu_along_path,
        Purpose::Surface => &one.verdicts.surface,
        Purpose::Screening => &one.verdicts.screening,
    }
}

fn word(verdict: &Verdict) -> &'static str {
    match verdict {
        Verdict::Usable => "usable",
        Verdict::Reserved(_) => "reserved",
        Verdict::Refused(_) => "refused",
    }
}

/// Codes and sentences of a series, each once.
fn reasons(one: &SeriesSummary) -> Vec<String> {
    let mut all = Vec::new();
    for purpose in Purpose::ALL {
        let (word, reasons) = match verdict(one, purpose) {
            Verdict::Usable => continue,
            Verdict::Reserved(reasons) => ("reserved", reasons),
            Verdict::Refused(reasons) => ("refused", reasons),
        };
        for reason in reasons {
            let said = format!("{word}: `{}`: {}", reason.code, reason.text);
            if !all.contains(&said) {
                all.push(said);
            }
        }
    }
    all
}
