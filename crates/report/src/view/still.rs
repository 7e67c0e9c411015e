//! Still pictures of bone and screws, for paper and for browsers that cannot
//! draw in space: a small rasteriser, and the screws as lines over it.

use maud::{Markup, html};
use pilothole_volume::PatientPoint;

use super::camera::{Camera, View};
use super::labels::{LINE, places};
use super::light::LightMesh;
use crate::html::anchor;
use crate::picture::GreyImage;
use crate::record::{HoleRecord, Record};
use crate::text::shortened;

/// Half the edge of a still picture, mm.
const HALF_MM: f64 = 90.0;
/// Pixels along an edge.
const EDGE: usize = 300;

/// A still picture's name and camera.
#[derive(Clone, Debug)]
pub(crate) struct Still {
    pub(crate) view: View,
    pub(crate) camera: Camera,
    pub(crate) image: GreyImage,
    /// Whether there is a femur that it leaves out.
    pub(crate) without_femur: bool,
}

impl Still {
    /// Bone seen from a camera, by the first `triangles` of its mesh.
    pub(crate) fn of(view: View, camera: Camera, mesh: &LightMesh, triangles: usize) -> Self {
        let without_femur = triangles < mesh.triangles.len();
        Self { view, camera, image: raster(&camera, mesh, triangles), without_femur }
    }

    /// Half the edge of the picture, mm.
    pub(crate) const HALF_MM: f64 = HALF_MM;

    fn id(&self) -> String {
        format!("still-{}", self.view.word().replace(' ', "-"))
    }

    /// Where a place in the patient lies in the picture, mm right and down.
    fn place(&self, at: PatientPoint) -> (f64, f64) {
        let [x, y, _] = self.camera.project(at);
        (x, -y)
    }

    /// Seat and tip of a hole's screw in the picture.
    pub(crate) fn screw(&self, hole: &HoleRecord) -> [(f64, f64); 2] {
        let length = hole.set_length_mm().unwrap_or(20.0);
        let tip: [f64; 3] = std::array::from_fn(|i| hole.seat_mm[i] + length * hole.direction[i]);
        [self.place(PatientPoint(hole.seat_mm)), self.place(PatientPoint(tip))]
    }
}

/// Shade of bone: Lambert with the light at the eye, darker with depth.
fn raster(camera: &Camera, mesh: &LightMesh, triangles: usize) -> GreyImage {
    let mut depth = vec![f32::NEG_INFINITY; EDGE * EDGE];
    let mut pixels = vec![255_u8; EDGE * EDGE];
    let scale = EDGE as f64 / (2.0 * HALF_MM);
    let seen: Vec<[f32; 3]> = mesh
        .vertices
        .iter()
        .map(|v| {
            let [x, y, z] = camera.project(PatientPoint(v.map(f64::from)));
            [((x + HALF_MM) * scale) as f32, ((HALF_MM - y) * scale) as f32, z as f32]
        })
        .collect();
    let toward = camera.toward.components().map(|c| c as f32);
    let facing: Vec<f32> = mesh
        .normals()
        .iter()
        .map(|n| (0..3).map(|i| n[i] * toward[i]).sum::<f32>().max(0.0))
        .collect();
    for triangle in mesh.triangles.iter().take(triangles) {
        let corners = triangle.map(|v| seen[usize::from(v)]);
        let shades = triangle.map(|v| facing[usize::from(v)]);
        fill(&corners, shades, &mut depth, &mut pixels);
    }
    GreyImage { width: EDGE, height: EDGE, pixels }
}

fn fill(corners: &[[f32; 3]; 3], shades: [f32; 3], depth: &mut [f32], pixels: &mut [u8]) {
    let [a, b, c] = corners;
    let doubled = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
    if doubled.abs() < 1e-9 {
        return;
    }
    let range = |axis: usize| {
        let low = a[axis].min(b[axis]).min(c[axis]).floor().max(0.0);
        let high = a[axis].max(b[axis]).max(c[axis]).ceil().min(EDGE as f32 - 1.0);
        (low, high)
    };
    let ((x0, x1), (y0, y1)) = (range(0), range(1));
    if x1 < x0 || y1 < y0 {
        return;
    }
    for y in y0 as usize..=y1 as usize {
        for x in x0 as usize..=x1 as usize {
            let (px, py) = (x as f32 + 0.5, y as f32 + 0.5);
            let u = ((b[0] - px) * (c[1] - py) - (b[1] - py) * (c[0] - px)) / doubled;
            let v = ((c[0] - px) * (a[1] - py) - (c[1] - py) * (a[0] - px)) / doubled;
            let w = 1.0 - u - v;
            if u < 0.0 || v < 0.0 || w < 0.0 {
                continue;
            }
            let z = u * a[2] + v * b[2] + w * c[2];
            let at = y * EDGE + x;
            if z > depth[at] {
                depth[at] = z;
                let facing = u * shades[0] + v * shades[1] + w * shades[2];
                let fog = (1.0 - (60.0 - z) / 260.0).clamp(0.45, 1.0);
                pixels[at] = (235.0 - (1.0 - facing * fog) * 170.0).clamp(40.0, 235.0) as u8;
            }
        }
    }
}

/// The pictures of bone, once a page; shown by [`still_use`].
pub(crate) fn still_defs(stills: &[Still]) -> Markup {
    html! {
        svg .defs width="0" height="0" aria-hidden="true" focusable="false" {
            defs {
                @for still in stills {
                    image #(still.id()) x=(-HALF_MM) y=(-HALF_MM) width=(2.0 * HALF_MM)
                        height=(2.0 * HALF_MM) href=(still.image.uri()) {}
                }
            }
        }
    }
}

/// One picture with screws over it.
///
/// `now` is drawn strongest, `done` plain, the rest faint; without `now` and
/// `done` every screw is plain.
pub(crate) fn still_use(
    record: &Record,
    still: &Still,
    done: Option<&[&str]>,
    now: Option<&str>,
    alt: &str,
) -> Markup {
    let view_box = format!("{} {} {} {}", -HALF_MM, -HALF_MM, 2.0 * HALF_MM, 2.0 * HALF_MM);
    let class = |hole: &HoleRecord| match (done, now) {
        (_, Some(now)) if now == hole.id => "now",
        (Some(done), _) if done.contains(&hole.id.as_str()) => "done",
        (Some(_), _) => "later",
        (None, _) => "done",
    };
    let named = record.holes.iter().filter(|h| class(h) != "later");
    let names: Vec<(String, (f64, f64))> =
        named.map(|hole| (shortened(&hole.id, 12), still.screw(hole)[1])).collect();
    let wanted: Vec<(&str, (f64, f64))> = names.iter().map(|(n, at)| (n.as_str(), *at)).collect();
    html! {
        svg .still viewBox=(view_box) role="img" aria-label=(alt) {
            use href={ "#" (still.id()) } {}
            @for hole in &record.holes {
                @let [(x1, y1), (x2, y2)] = still.screw(hole);
                g class={ "rod " (class(hole)) } data-hole=(anchor(record, &hole.id)) {
                    line .under x1=(f(x1)) y1=(f(y1)) x2=(f(x2)) y2=(f(y2)) {}
                    line .over x1=(f(x1)) y1=(f(y1)) x2=(f(x2)) y2=(f(y2)) {}
                    circle cx=(f(x1)) cy=(f(y1)) r="2.6" {}
                }
            }
            @for ((name, tip), at) in names.iter().zip(places(&wanted, HALF_MM, LINE)) {
                @if (tip.1 - at.1).abs() > 2.0 {
                    line .leader x1=(f(tip.0)) y1=(f(tip.1)) x2=(f(at.0)) y2=(f(at.1)) {}
                }
                text .tag text-anchor="middle" x=(f(at.0)) y=(f(at.1 + 2.3)) { (name) }
            }
        }
    }
}

fn f(value: f64) -> String {
    format!("{value:.1}")
}
