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

/// Bones that a terminal shows; the largest come first.
const MOST_ROWS: usize = 22;

/// One line a bone.
fn rows(text: &str) -> String {
    let all: serde_json::Value = serde_json::from_str(text).unwrap_or_default();
    let mut lines = vec![format!(
        "{:>5}  {:<12}  {:>11}  {:>11}  {:>9}  {:<7}",
        "label", "bone", "volume cm3", "area cm2", "triangles", "surface"
    )];
    let bones: Vec<&serde_json::Value> = all["bones"].as_array().into_iter().flatten().collect();
    for bone in bones.iter().take(MOST_ROWS) {
        let number = |value: &serde_json::Value, scale: f64| {
            value.as_f64().map_or_else(|| "unknown".to_owned(), |v| format!("{:.1}", v * scale))
        };
        lines.push(format!(
            "{:>5}  {:<12}  {:>11}  {:>11}  {:>9}  {:<7}",
            bone["label"].to_string(),
            bone["name"].as_str().unwrap_or("not named"),
            number(&bone["volume_mm3"], 1e-3),
            number(&bone["surface"]["area_mm2"], 1e-2),
            bone["surface"]["triangles"].as_u64().map_or_else(|| "-".to_owned(), |n| n.to_string()),
            if bone["surface"].is_null() { "open" } else { "closed" },
        ));
    }
    if bones.len() > MOST_ROWS {
        lines.push(format!("and {} more in bones.json", bones.len() - MOST_ROWS));
    }
    lines.push("Decision support for research and planning, not a medical device.".to_owned());
    lines.join("\n")
}
