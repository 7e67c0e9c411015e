//! What everything rests on: scan, bone, calibration, parameters.

use maud::{Markup, html};

use super::number::{measure, text};
use crate::number::{Unit, trimmed};
use crate::record::{Record, Value};
use crate::text::{CAUTION, counted, harmless};

/// The last part of the page.
pub(crate) fn foot(record: &Record) -> Markup {
    html! {
        section #basis aria-labelledby="basis-title" {
            h2 #basis-title { "What this rests on" }
            div .columns {
                (scan(record))
                (bone(record))
            }
            (parameters(record))
            footer {
                p {
                    (record.tool.name) " " (harmless(&record.tool.version))
                    @if let Some(at) = &record.written_at { ", written " (harmless(at)) }
                    ". Numbers on this page are those of report.json, rounded: lengths to 0.1 mm, \
                     Hounsfield units to 1, angles to 0.1\u{b0}, forces to 10 N, shares to 1 %. An error is one standard error."
                }
                p .caution { (CAUTION) }
            }
        }
    }
}

fn words(value: Option<bool>) -> &'static str {
    match value {
        Some(true) => "yes",
        Some(false) => "no",
        None => "unknown",
    }
}

fn or_unknown(value: Option<&str>) -> Markup {
    value.map_or_else(|| html! { span .unknown { "unknown" } }, text)
}

fn scan(record: &Record) -> Markup {
    let scan = &record.scan;
    let triple = |v: &[f64; 3]| v.map(trimmed).join(" \u{d7} ");
    let kv = |v: Option<f64>, unit: &str| {
        v.map_or("unknown".to_owned(), |v| format!("{}{unit}", trimmed(v)))
    };
    html! {
        div {
            h3 { "Scan" }
            dl .measures {
                dt { "Digest" } dd .digest { (harmless(&scan.digest)) }
                dt { "Voxels" } dd { (scan.size[0]) " \u{d7} " (scan.size[1]) " \u{d7} " (scan.size[2]) }
                dt { "Voxel" } dd { (triple(&scan.voxel_mm)) " mm" }
                dt { "Orientation" } dd { (or_unknown(scan.orientation.as_deref())) }
                dt { "Tube voltage" } dd { (kv(scan.kvp, " kV")) }
                dt { "Kernel" } dd { (or_unknown(scan.kernel.as_deref())) }
                dt { "Slice thickness" } dd { (kv(scan.slice_thickness_mm, " mm")) }
                dt { "Gantry tilt" } dd { (measure(Unit::Deg, scan.tilt_deg)) }
                dt { "Slices uneven" } dd { (words(scan.uneven)) }
                dt { "Lossy compression" } dd { (words(scan.lossy)) }
                dt { "Stored as" } dd { (or_unknown(scan.syntax.as_deref())) }
                dt { "Contrast agent" } dd { (words(scan.contrast)) }
                dt { "Saturated voxels" } dd { (scan.saturated_voxels.map_or("unknown".to_owned(), |n| n.to_string())) }
            }
        }
    }
}

fn bone(record: &Record) -> Markup {
    let bone = &record.bone;
    html! {
        div {
            h3 { "Bone and density" }
            dl .measures {
                dt { "Bone from" }
                dd { (measure(Unit::Hu, Some(bone.threshold_hu))) ". " (threshold_words(record)) }
                dt { "Envelope" } dd { (harmless(&bone.method)) }
                dt { "Bones" }
                dd {
                    @for (index, one) in bone.bones.iter().enumerate() {
                        @if index > 0 { ", " }
                        (one.label) @if let Some(name) = &one.name { " " (text(name)) }
                        @if let Some(volume) = one.volume_mm3 { " (" (measure(Unit::Mm3, Some(volume))) ")" }
                    }
                }
                dt { "In metal's artefacts" } dd { (measure(Unit::Percent, bone.untrusted_share)) }
                dt { "Calibration" }
                dd {
                    @match &record.calibration {
                        Some(line) => {
                            "mg/cm\u{b3} = " (trimmed(line.slope)) " \u{d7} HU + " (trimmed(line.intercept))
                            " of " (text(&line.material)) " (" (line.from) "): " (harmless(&line.source))
                        }
                        None => span .unknown { "unknown" },
                    }
                }
            }
        }
    }
}

/// What another threshold would change, by how the cortices were placed.
fn threshold_words(record: &Record) -> String {
    let ends = record.holes.iter().flat_map(|h| [&h.near, &h.far]).flatten();
    let hanging = ends.filter(|end| matches!(end.rule.as_str(), "threshold" | "envelope")).count();
    let found = match hanging {
        0 => "No end of a path was placed by it".to_owned(),
        n => format!(
            "{} placed by it or by the outline and would move with it",
            counted(n, "end of a path was", "ends of paths were")
        ),
    };
    format!(
        "{found}; ends placed by a fitted plate or halfway up a cortex's peak do not. The bones' \
         outline, and the bone beside a screw that is measured to it, start from this threshold."
    )
}

fn parameters(record: &Record) -> Markup {
    html! {
        details {
            summary { "Every parameter, and who chose it (" (record.parameters.len()) ")" }
            div .scroll tabindex="0" role="region" aria-label="Parameters" {
                table {
                    thead { tr {
                        th scope="col" { "Parameter" } th scope="col" .n { "Value" } th scope="col" { "Unit" }
                        th scope="col" { "From" } th scope="col" { "Source" }
                    } }
                    tbody {
                        @for p in &record.parameters {
                            tr {
                                th scope="row" { (text(&p.name)) }
                                td .n {
                                    @match &p.value {
                                        Value::Number(n) => (measure(Unit::Plain, Some(*n))),
                                        Value::Text(word) => (text(word)),
                                    }
                                }
                                td { (p.unit.as_deref().unwrap_or("\u{2013}")) }
                                td { (p.from.word()) }
                                td { (harmless(&p.source)) }
                            }
                        }
                    }
                }
            }
        }
    }
}
