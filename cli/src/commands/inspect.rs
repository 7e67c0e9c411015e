//! `inspect`: which series are there, and what each is good for.

use pilothole_study::{CaseError, Limits, Purpose, Scan, SeriesSummary, Verdict, open};
use serde_json::{Value, json};

use crate::args::Inspect;
use crate::terminal::{self, Failure};

/// List the series of a scan.
pub(crate) fn run(args: &Inspect) -> Result<u8, Failure> {
    let limits = Limits::default();
    let scan =
        open(&args.scan, &limits).map_err(CaseError::from).map_err(Failure::of(args.json))?;
    let series = scan.surveyed(&limits);
    if args.json {
        terminal::data(&as_json(&scan, &series, args.identity).to_string());
    } else {
        terminal::data(&as_text(&scan, &series, args.identity));
    }
    Ok(0)
}

fn as_text(scan: &Scan, series: &[SeriesSummary], identity: bool) -> String {
    let mut lines = vec![
        "no slices   matrix voxel mm       body  kV kernel   contrast metal   origin".to_owned(),
    ];
    for one in series {
        lines.push(line(one));
        for purpose in Purpose::ALL {
            lines.extend(verdict_lines(purpose, one.verdicts.of(purpose)));
        }
        lines.extend(other_findings(one));
        if identity {
            lines.extend(identity_lines(scan, one.ordinal));
        }
    }
    if scan.passed_over() > 0 {
        lines.push(format!("{} files are no images and were passed over", scan.passed_over()));
    }
    if scan.damaged() > 0 {
        lines.push(format!("{} files are damaged and cannot be read", scan.damaged()));
    }
    lines.extend(terminal::caution());
    lines.join("\n")
}

fn line(one: &SeriesSummary) -> String {
    let voxel = one
        .voxel_mm
        .map_or_else(|| "unknown".to_owned(), |mm| mm.map(|edge| format!("{edge:.2}")).join("x"));
    let number = |value: Option<f64>| value.map_or_else(|| "?".to_owned(), |v| format!("{v:.0}"));
    let known = |value: Option<bool>| match value {
        Some(true) => "yes",
        Some(false) => "no",
        None => "unknown",
    };
    let origin = if one.original { "original" } else { "derived" };
    let apart = one.told_apart_by.map(|by| format!("\n   told apart by {by}")).unwrap_or_default();
    let matrix = format!("{}x{}", one.matrix[0], one.matrix[1]);
    format!(
        "{:>2} {:>6} {matrix:>8} {voxel:<14} {:>4} {:>3} {:<8} {:<8} {:<7} {origin}{apart}",
        one.ordinal,
        one.slices,
        number(one.body_extent_mm),
        one.kvp.map_or_else(|| "?".to_owned(), |kvp| format!("{kvp:.0}")),
        one.kernel_class.word(),
        known(one.contrast),
        known(one.metal),
    )
}

fn verdict_lines(purpose: Purpose, verdict: &Verdict) -> Vec<String> {
    let (word, reasons) = match verdict {
        Verdict::Usable => ("usable", &[][..]),
        Verdict::Reserved(reasons) => ("usable with care", &reasons[..]),
        Verdict::Refused(reasons) => ("refused", &reasons[..]),
    };
    let codes: Vec<&str> = reasons.iter().map(|reason| reason.code).collect();
    let why = if codes.is_empty() { String::new() } else { format!(": {}", codes.join(", ")) };
    let mut lines = vec![format!("    {:<16} {word}{why}", purpose.words())];
    if purpose == Purpose::HuAlongPath {
        for reason in reasons {
            lines.extend(terminal::wrapped(&format!("{}: {}", reason.code, reason.text), 80, 6));
            for next in &reason.next {
                lines.extend(terminal::wrapped(&format!("next: {next}"), 80, 8));
            }
        }
    }
    lines
}

/// Findings that reserve no purpose.
fn other_findings(one: &SeriesSummary) -> Vec<String> {
    let told: Vec<&str> = Purpose::ALL
        .iter()
        .flat_map(|purpose| match one.verdicts.of(*purpose) {
            Verdict::Usable => &[][..],
            Verdict::Reserved(reasons) | Verdict::Refused(reasons) => &reasons[..],
        })
        .map(|reason| reason.code)
        .collect();
    one.findings
        .iter()
        .filter(|finding| !told.contains(&finding.code))
        .flat_map(|f| terminal::wrapped(&format!("{}: {}", f.code, f.text), 80, 4))
        .collect()
}

fn identity_lines(scan: &Scan, ordinal: usize) -> Vec<String> {
    let tags = scan.identity_tags(ordinal);
    if tags.is_empty() {
        return vec!["    identity         none found".to_owned()];
    }
    let mut lines = vec!["    identity         keyword, what PS3.15 asks for, files".to_owned()];
    lines.extend(
        tags.iter()
            .map(|tag| format!("      {:<44} {:<6} {}", tag.keyword, tag.action, tag.file_count)),
    );
    lines
}

fn as_json(scan: &Scan, series: &[SeriesSummary], identity: bool) -> Value {
    let rows: Vec<Value> = series
        .iter()
        .map(|one| {
            let verdicts: Vec<Value> = Purpose::ALL
                .iter()
                .map(|purpose| verdict_json(*purpose, one.verdicts.of(*purpose)))
                .collect();
            let mut row = json!({
                "ordinal": one.ordinal,
                "slices": one.slices,
                "matrix": one.matrix,
                "voxel_mm": one.voxel_mm,
                "extent_mm": one.extent_mm,
                "body_extent_mm": one.body_extent_mm,
                "kvp": one.kvp,
                "kernel": one.kernel_class.word(),
                "original": one.original,
                "contrast": one.contrast,
                "metal": one.metal,
                "told_apart_by": one.told_apart_by,
                "syntax": one.syntax,
                "lossy": one.lossy,
                "verdicts": verdicts,
                "findings": one
                    .findings
                    .iter()
                    .map(|f| json!({"code": f.code, "text": f.text, "measured": f.measured, "limit": f.limit, "unit": f.unit}))
                    .collect::<Vec<_>>(),
            });
            if identity {
                row["identity"] = scan
                    .identity_tags(one.ordinal)
                    .iter()
                    .map(|tag| json!({"keyword": tag.keyword, "action": tag.action, "files": tag.file_count}))
                    .collect();
            }
            row
        })
        .collect();
    json!({
        "series": rows,
        "passed_over": scan.passed_over(),
        "damaged": scan.damaged(),
    })
}

fn verdict_json(purpose: Purpose, verdict: &Verdict) -> Value {
    let (word, reasons) = match verdict {
        Verdict::Usable => ("usable", &[][..]),
        Verdict::Reserved(reasons) => ("reserved", &reasons[..]),
        Verdict::Refused(reasons) => ("refused", &reasons[..]),
    };
    let reasons: Vec<Value> = reasons
        .iter()
        .map(|r| json!({"code": r.code, "text": r.text, "measured": r.measured, "limit": r.limit, "unit": r.unit, "next": r.next}))
        .collect();
    json!({"purpose": purpose.words(), "verdict": word, "reasons": reasons})
}
