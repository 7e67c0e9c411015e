//! The view that turns: data and controls for the page's own script.

use maud::{Markup, PreEscaped, html};
use serde_json::json;

use super::Drawn;
use super::camera::{Camera, View};
use super::sleeves::{Sleeve, sleeves};
use super::still::still_use;
use crate::html::anchor;
use crate::picture::base64;
use crate::record::{HoleRecord, Record};
use crate::text::shortened;
use pilothole_plan::Plan;

/// Reach of a drill's way drawn behind a seat, mm.
const CORRIDOR_MM: f64 = 70.0;

/// The view, its buttons, and the still pictures that stand in for it.
pub(crate) fn turning_view(record: &Record, plan: &Plan, drawn: &Drawn) -> Markup {
    html! {
        section #view aria-labelledby="view-title" {
            h2 #view-title { "The whole set" }
            div .turning data-state="still" {
                div .stage hidden {
                    canvas #turning tabindex="0" role="application"
                        aria-label="Bone, socket and screws in space. Arrow keys turn, plus and minus zoom; the buttons below give standard views; the table above names the screws." {}
                    div .tags aria-hidden="true" {}
                }
                p .help hidden {
                    "Drag or arrow keys turn, wheel, pinch or + and \u{2212} zoom. Click a screw, or a row of \
                     the table, to pick it."
                }
                div .controls hidden role="group" aria-label="View" {
                    @for view in View::ALL {
                        button type="button" data-view=(view.word()) { (view.title()) }
                    }
                    button type="button" data-toggle="bone" aria-pressed="true" { "Bone" }
                    @if drawn.has_femur() {
                        button type="button" data-toggle="femur" aria-pressed="false" { "Femur" }
                    }
                    button type="button" data-toggle="corridors" aria-pressed="false" { "Drill ways" }
                    @if record.set.as_ref().is_some_and(|s| s.guides.is_some()) {
                        button type="button" data-toggle="guides" aria-pressed="false" { "Guide sleeves" }
                    }
                }
                p .picked role="status" {}
            }
            div .stills {
                @for still in &drawn.stills {
                    figure {
                        (still_use(record, still, None, None, &format!(
                            "Bone and screws, {} view; every screw as a line from its seat, a dot.",
                            still.view.word()
                        )))
                        figcaption { (still.view.title()) @if still.without_femur { ", without the femur" } }
                    }
                }
            }
            script #turning-data type="application/json" { (PreEscaped(data(record, plan, drawn))) }
        }
    }
}

fn data(record: &Record, plan: &Plan, drawn: &Drawn) -> String {
    let mesh = &drawn.mesh;
    let [low, high] = mesh.bounds();
    let extent: [f32; 3] = std::array::from_fn(|i| (high[i] - low[i]).max(1e-3));
    let positions: Vec<u8> = mesh
        .vertices
        .iter()
        .flat_map(|v| (0..3).map(move |i| ((v[i] - low[i]) / extent[i] * 65_535.0).round() as u16))
        .flat_map(u16::to_le_bytes)
        .collect();
    let corners: Vec<u8> = mesh.triangles.iter().flatten().flat_map(|c| c.to_le_bytes()).collect();
    let views: serde_json::Map<String, serde_json::Value> = View::ALL
        .iter()
        .map(|view| {
            let c = Camera::of(*view, plan);
            let rows = [c.right, c.up, c.toward].map(|d| d.components().map(|v| rounded(v, 1e6)));
            (view.word().to_owned(), json!(rows))
        })
        .collect();
    let sleeves: Vec<serde_json::Value> = sleeves(record, plan)
        .iter()
        .flat_map(|(guide, sleeves)| sleeves.iter().map(|s| sleeve(&guide.name, s)))
        .collect();
    let empty = mesh.vertices.is_empty();
    let data = json!({
        "low": if empty { [0.0; 3] } else { low },
        "extent": if empty { [1.0; 3] } else { extent },
        "positions": base64(&positions),
        "corners": base64(&corners),
        "before_femur": 3 * drawn.before_femur,
        "centre": plan.socket.centre.0,
        "axis": plan.socket.axis.components(),
        "radius": 0.5 * plan.socket.outer_diameter_mm,
        "views": views,
        "screws": record.holes.iter().map(|h| screw(record, h)).collect::<Vec<_>>(),
        "sleeves": sleeves,
    });
    // The script element ends at the first `</`, so none may stand in it.
    data.to_string().replace('<', "\\u003c")
}

fn sleeve(guide: &str, sleeve: &Sleeve<'_>) -> serde_json::Value {
    json!({
        "guide": guide,
        "foot": sleeve.foot.0.map(|c| rounded(c, 1e3)),
        "out": sleeve.out.components().map(|c| rounded(c, 1e6)),
        "radius": sleeve.radius_mm,
        "length": sleeve.length_mm,
    })
}

fn screw(record: &Record, hole: &HoleRecord) -> serde_json::Value {
    let access = record.set.as_ref().and_then(|s| s.access.iter().find(|a| a.hole == hole.id));
    json!({
        "hole": anchor(record, &hole.id),
        "name": shortened(&hole.id, 16),
        "seat": hole.seat_mm,
        "direction": hole.direction,
        "length": hole.set_length_mm().unwrap_or(0.0),
        "radius": 0.5 * hole.major_diameter_mm,
        "grade": hole.purchase,
        "safe": hole.length_mm.is_some(),
        "corridor": access.and_then(|a| a.skin_mm).map_or(CORRIDOR_MM, |s| s.min(CORRIDOR_MM)),
        "clear": access.is_none_or(|a| a.clear),
    })
}

fn rounded(value: f64, scale: f64) -> f64 {
    (value * scale).round() / scale
}
