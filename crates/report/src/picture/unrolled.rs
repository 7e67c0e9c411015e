//! The thread unrolled: on which side the screw has bone.

use maud::{Markup, html};

use super::anatomy::direction_words;
use super::contour::Nodes;
use super::grey::GreyImage;
use super::subject::Subject;
use crate::number::{Unit, fixed};

/// Directions around the screw.
const AZIMUTHS: usize = 72;
/// Edge of a pixel along the screw, mm.
const PIXEL_MM: f64 = 0.5;
const WIDTH: f64 = 460.0;
const LEFT: f64 = 162.0;
const TOP: f64 = 10.0;
const PLOT: f64 = 118.0;

/// Hounsfield units on the thread, halfway between core and outer diameter:
/// along the screw to the right, around it downwards.
pub(crate) fn unrolled_figure(subject: &Subject<'_>) -> Markup {
    let Some(tip) = subject.drawn_length_mm().filter(|tip| *tip > 1.0) else { return html! {} };
    let hole = subject.record;
    let radius = 0.25 * (hole.major_diameter_mm + hole.core_diameter_mm);
    let (u, v) = subject.across();
    let place = |along: f64, azimuth: f64| {
        let (sin, cos) = azimuth.to_radians().sin_cos();
        subject.beside(along, u * (radius * cos) + v * (radius * sin))
    };
    let columns = (tip / PIXEL_MM).round().max(1.0);
    let image = GreyImage::of_hu((columns as usize, AZIMUTHS), |x, y| {
        let azimuth = (y as f64 + 0.5) * 360.0 / AZIMUTHS as f64;
        subject.scene.volume.sample_or_nan(place((x as f64 + 0.5) * tip / columns, azimuth))
    });
    let nodes =
        Nodes::of(((tip / 0.8) as usize + 2, 37), [0.0, 0.0], [0.8, 10.0], |along, azimuth| {
            subject.scene.depth_or_nan(place(along.min(tip), azimuth))
        });
    let wide = WIDTH - LEFT - 10.0;
    let sides = [u, v, -u, -v].map(|d| direction_words(d.components(), subject.side()));
    let scale = format!("translate({LEFT} {TOP}) scale({:.5} {:.5})", wide / tip, PLOT / 360.0);
    let marks = (0..).map(|n| f64::from(n) * 10.0).take_while(|mm| *mm <= tip);
    html! {
        svg .unrolled viewBox=(format!("0 0 {WIDTH} {}", TOP + PLOT + 36.0)) role="img"
            aria-label=(format!(
                "Thread unrolled over {} mm: grey is Hounsfield units, rows run around the screw \
                 from {} through {} and {} to {} and back; the line bounds the bone.",
                Unit::Stock.show(tip), sides[0], sides[1], sides[2], sides[3]
            )) {
            image x=(LEFT) y=(TOP) width=(wide) height=(PLOT) href=(image.uri())
                preserveAspectRatio="none" {}
            g transform=(scale) {
                path .envelope vector-effect="non-scaling-stroke" d=(nodes.outline()) {}
            }
            rect .frame x=(LEFT) y=(TOP) width=(wide) height=(PLOT) {}
            @for (index, side) in sides.iter().enumerate() {
                @let y = TOP + PLOT * index as f64 / 4.0;
                text .small text-anchor="end" x=(LEFT - 7.0) y=(format!("{:.1}", y + 4.0)) { (side) }
                line .tick x1=(LEFT - 4.0) x2=(LEFT) y1=(format!("{y:.1}")) y2=(format!("{y:.1}")) {}
            }
            @for mark in marks {
                text text-anchor="middle" x=(format!("{:.1}", LEFT + wide * mark / tip))
                    y=(TOP + PLOT + 15.0) { (fixed(mark, 0)) }
            }
            text text-anchor="middle" x=(format!("{:.1}", LEFT + wide / 2.0)) y=(TOP + PLOT + 32.0) {
                "mm from the seat"
            }
        }
    }
}
