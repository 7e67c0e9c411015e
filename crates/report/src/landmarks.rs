//! `landmarks.html`: proposed hip centres on the scan, to be confirmed.

use maud::{Markup, html};
use pilothole_assess::set::SphereProposal;
use pilothole_plan::LandmarkName;
use pilothole_volume::{Offset, PatientPoint, Volume};
use rayon::prelude::*;

use crate::html::page;
use crate::picture::GreyImage;
use crate::text::{CAUTION, harmless, put};

/// Edge of a pixel, mm; below any CT's own, so that the scan decides.
const PIXEL_MM: f64 = 0.4;
/// Half the width of a cut, mm: the largest sphere sought and bone around it.
const HALF_MM: f64 = 48.0;
/// Points of the fit this near to a cut are drawn on it, mm.
const NEAR_CUT_MM: f64 = 1.0;

/// A plane through a sphere's centre: its name, the directions to the right
/// and down, and the words at its four edges from the left, clockwise.
struct Plane {
    name: &'static str,
    right: [f64; 3],
    down: [f64; 3],
    edges: [&'static str; 4],
}

/// The planes as radiologists look at them: from the feet, from the front,
/// from the patient's left.
const PLANES: [Plane; 3] = [
    Plane {
        name: "axial",
        right: [1.0, 0.0, 0.0],
        down: [0.0, 1.0, 0.0],
        edges: ["R", "A", "L", "P"],
    },
    Plane {
        name: "coronal",
        right: [1.0, 0.0, 0.0],
        down: [0.0, 0.0, -1.0],
        edges: ["R", "S", "L", "I"],
    },
    Plane {
        name: "sagittal",
        right: [0.0, 1.0, 0.0],
        down: [0.0, 0.0, -1.0],
        edges: ["A", "S", "P", "I"],
    },
];

/// One page with three cuts of the scan through each proposal, its circle and
/// the points that it was fitted to; needs nothing else.
///
/// - `proposals`: each with the words for the surface it was fitted to, such
///   as `femoral head`.
pub fn landmarks_html(volume: &Volume, proposals: &[(SphereProposal, String)]) -> String {
    let title = "Hip centres proposed from the scan";
    page(
        title,
        &html! {
            header .top {
                p .caution role="note" { strong { "Caution. " } (CAUTION) }
                h1 { (title) }
                p .question {
                    "Does each circle follow the round surface in all three cuts, on the side it is named for?"
                }
            }
            main #holes {
                p {
                    "The circle is the proposed sphere where the cut meets it; dots are points of the surface it \
                     was fitted to. Axial cuts are seen from the feet, coronal ones from the front, sagittal ones \
                     from the patient\u{2019}s left. R right, L left, A anterior, P posterior, S superior, I inferior. \
                     Nothing uses a proposal before a person has put it into the plan."
                }
                @for (proposal, surface) in proposals { (section(volume, proposal, surface)) }
            }
            footer { p .caution { (CAUTION) } }
        },
        false,
    )
}

fn section(volume: &Volume, proposal: &SphereProposal, surface: &str) -> Markup {
    let name = proposal.name.map_or_else(|| "not named".to_owned(), LandmarkName::word);
    let [x, y, z] = proposal.centre.0;
    let cuts: Vec<Markup> =
        PLANES.par_iter().map(|plane| cut(volume, proposal, plane, &name)).collect();
    html! {
        h2 { (name) }
        p {
            "Centre (" (format!("{x:.1}, {y:.1}, {z:.1}")) ") mm, LPS; radius "
            (format!("{:.1}", proposal.radius_mm)) " mm, on the " (harmless(surface)) ". "
            (proposal.points) " points, residual " (format!("{:.2}", proposal.rms_mm))
            " mm RMS, half-angle of the cap " (format!("{:.0}", proposal.cap_rad.to_degrees()))
            "\u{b0}; standard error of the centre in its worst direction "
            (format!("{:.2}", proposal.worst_se_mm))
            " mm. That error is the fit\u{2019}s alone: artefacts, a surface that is not round, and the \
             scan\u{2019}s own edges are not in it."
        }
        @if !proposal.findings.is_empty() {
            ul .finding {
                @for finding in &proposal.findings {
                    li { (harmless(&finding.text)) " " span .code { (finding.code) } }
                }
            }
        }
        div .figures.three {
            @for (plane, figure) in PLANES.iter().zip(&cuts) {
                figure { (figure) figcaption { (plane.name) } }
            }
        }
    }
}

fn cut(volume: &Volume, proposal: &SphereProposal, plane: &Plane, name: &str) -> Markup {
    let (right, down) = (Offset(plane.right), Offset(plane.down));
    let pixels = (2.0 * HALF_MM / PIXEL_MM).round() as usize;
    let place = |pixel: usize| (pixel as f64 + 0.5) * PIXEL_MM - HALF_MM;
    let image = GreyImage::of_hu((pixels, pixels), |x, y| {
        volume.sample_or_nan(proposal.centre + right * place(x) + down * place(y))
    });
    let [left, top, far, bottom] = plane.edges;
    let edge = HALF_MM - 2.0;
    html! {
        svg .cut viewBox=(format!("{0} {0} {1} {1}", -HALF_MM, 2.0 * HALF_MM)) role="img"
            aria-label={ (plane.name) " cut through " (name) ", circle of radius "
                (format!("{:.1}", proposal.radius_mm)) " mm" } {
            image x=(-HALF_MM) y=(-HALF_MM) width=(2.0 * HALF_MM) height=(2.0 * HALF_MM)
                href=(image.uri()) preserveAspectRatio="none" {}
            circle .under fill="none" r=(format!("{:.2}", proposal.radius_mm)) {}
            circle .over fill="none" r=(format!("{:.2}", proposal.radius_mm)) {}
            path .over d=(dots(proposal, right, down)) {}
            path .over d="M-2 0h4M0 -2v4" {}
            text .halo x=(-edge) y="1" { (left) }
            text .halo text-anchor="middle" x="0" y=(2.5 - edge) { (top) }
            text .halo text-anchor="end" x=(edge) y="1" { (far) }
            text .halo text-anchor="middle" x="0" y=(edge) { (bottom) }
            path .scale d=(format!("M{:.1} {edge:.1}v-1.2v2.4v-1.2h10v-1.2v2.4", edge - 10.0)) {}
            text .halo text-anchor="middle" x=(edge - 5.0) y=(edge - 1.8) { "10 mm" }
        }
    }
}

/// Short strokes at the points of the fit that lie near the cut.
fn dots(proposal: &SphereProposal, right: Offset, down: Offset) -> String {
    let through = |at: &PatientPoint| {
        let from = *at - proposal.centre;
        let (x, y) = (from.dot(right), from.dot(down));
        let off = (from.length_mm().powi(2) - x * x - y * y).max(0.0).sqrt();
        (off <= NEAR_CUT_MM).then_some((x, y))
    };
    let mut path = String::new();
    for (x, y) in proposal.used_points.iter().filter_map(through) {
        put(&mut path, format_args!("M{:.2} {y:.2}h0.7", x - 0.35));
    }
    path
}

#[cfg(test)]
mod tests {
    use pilothole_plan::{LandmarkKind, Side};
    use pilothole_volume::{Direction, Grid, Voxels};

    use super::*;

    #[test]
    fn three_cuts_show_the_circle_and_the_points_on_it() {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid =
            Grid::from_axes([30; 3], PatientPoint([0.0; 3]), axes, [4.0; 3]).expect("square");
        let volume = Volume::new(grid, Voxels::I16(vec![40; 27_000]), None).expect("fits");
        let centre = PatientPoint([60.0, 60.0, 60.0]);
        let proposal = SphereProposal {
            name: Some(LandmarkName { kind: LandmarkKind::HipCentre, side: Side::Right }),
            centre,
            radius_mm: 24.3,
            rms_mm: 0.31,
            points: 2,
            used: 0.5,
            cap_rad: 1.9,
            worst_se_mm: 0.12,
            worst_direction: Direction::SUPERIOR,
            radius_se_mm: 0.1,
            used_points: vec![centre + Offset([24.0, 0.0, 0.0]), centre + Offset([0.0, 0.0, 24.0])],
            findings: Vec::new(),
        };
        let page = landmarks_html(&volume, &[(proposal, "femoral head".to_owned())]);
        assert_eq!(page.matches("r=\"24.30\"").count(), 6, "two strokes a circle");
        assert_eq!(page.matches("data:image/png;base64,").count(), 3);
        // The point to the left shows at the right of the axial and the
        // coronal cut, the one on top at the top of the other two.
        assert_eq!(page.matches("M23.65 0.00h0.7").count(), 2);
        assert_eq!(page.matches("M-0.35 -24.00h0.7").count(), 2);
        assert!(page.contains("hip-centre-right") && page.contains("worst direction 0.12 mm"));
    }
}
