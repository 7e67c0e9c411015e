//! `bone`: labels and surfaces.

use pilothole_study::write_bones;

use super::measure::{replace, resolve};
use crate::args::Bone;
use crate::terminal::{self, Failure};

/// Find the bones of a scan and write them.
pub(crate) fn run(args: &Bone) -> Result<u8, Failure> {
    let json = args.measure.json;
    let params = resolve(&args.measure)?;
    let out = (args.out.out.as_path(), replace(&args.out));
    let text = write_bones(&args.scan, args.plan.as_deref(), out, &params, args.within_mm)
        .map_err(Failure::of(json))?;
    if json {
        terminal::data(&text);
    } else {
        terminal::data(&rows(&text));
    }
    Ok(0)
}

/// Bones and findings that a terminal shows, lines; the largest bones come first.
const MOST_ROWS: usize = 22;
/// Lines of findings among them.
const MOST_FINDING_ROWS: usize = 14;

/// One line a bone, and what was found with a reservation.
fn rows(text: &str) -> String {
    let all: serde_json::Value = serde_json::from_str(text).unwrap_or_default();
    let mut findings = finding_rows(&all);
    if findings.len() > MOST_FINDING_ROWS {
        findings.truncate(MOST_FINDING_ROWS - 1);
        findings.push("more findings in bones.json".to_owned());
    }
    let most = MOST_ROWS - findings.len();
    let mut lines = vec![format!(
        "{:>5}  {:<12}  {:>11}  {:>11}  {:>9}  {}",
        "label", "bone", "volume cm3", "area cm2", "triangles", "surface"
    )];
    let bones: Vec<&serde_json::Value> = all["bones"].as_array().into_iter().flatten().collect();
    for bone in bones.iter().take(most) {
        let number = |value: &serde_json::Value, scale: f64| {
            value.as_f64().map_or_else(|| "unknown".to_owned(), |v| format!("{:.1}", v * scale))
        };
        lines.push(format!(
            "{:>5}  {:<12}  {:>11}  {:>11}  {:>9}  {}",
            bone["label"].to_string(),
            bone["name"].as_str().unwrap_or("not named"),
            number(&bone["volume_mm3"], 1e-3),
            number(&bone["surface"]["area_mm2"], 1e-2),
            bone["surface"]["triangles"].as_u64().map_or_else(|| "-".to_owned(), |n| n.to_string()),
            surface_word(bone),
        ));
    }
    if bones.len() > most {
        lines.push(format!("and {} more in bones.json", bones.len() - most));
    }
    lines.extend(findings);
    lines.extend(terminal::caution());
    lines.join("\n")
}

/// The sentence of the first finding of each code, and how many there are.
fn finding_rows(all: &serde_json::Value) -> Vec<String> {
    let mut by_code: Vec<(&str, &str, usize)> = Vec::new();
    for finding in all["findings"].as_array().into_iter().flatten() {
        let [code, text] = ["code", "text"].map(|part| finding[part].as_str().unwrap_or("?"));
        match by_code.iter_mut().find(|(known, ..)| *known == code) {
            Some((.., count)) => *count += 1,
            None => by_code.push((code, text, 1)),
        }
    }
    let said = |(code, text, count): (&str, &str, usize)| match count {
        1 => format!("{code}: {text}"),
        _ => format!("{code}: {text} ({} more in bones.json)", count - 1),
    };
    by_code
        .into_iter()
        .flat_map(|finding| terminal::wrapped(&said(finding), terminal::COLUMNS, 0))
        .collect()
}

/// Whether a bone's surface closes, and whether the scan's end cuts the bone.
fn surface_word(bone: &serde_json::Value) -> &'static str {
    match (bone["surface"].is_null(), bone["cut"] == true) {
        (true, _) => "open",
        (false, true) => "closed, cut by the end",
        (false, false) => "closed",
    }
}
