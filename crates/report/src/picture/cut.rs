//! The CT cut along a screw, with the screw to scale over it.

use maud::{Markup, html};
use pilothole_volume::Direction;
use rayon::prelude::*;

use super::anatomy::direction_words;
use super::contour::Nodes;
use super::grey::GreyImage;
use super::subject::Subject;
use crate::number::Unit;
use crate::record::EdgeRecord;
use crate::text::put;

/// Edge of a pixel, mm; below any CT's own, so that the scan decides.
const PIXEL_MM: f64 = 0.4;
/// Half the height of a cut, mm.
const HALF_MM: f64 = 21.0;
/// Distance of the nodes that the envelope's outline is drawn from, mm.
const NODE_MM: f64 = 0.8;

/// A cut: its picture, and where up is.
#[derive(Clone, Debug)]
pub(crate) struct Cut {
    pub(crate) figure: Markup,
    pub(crate) up: String,
}

/// The two perpendicular cuts along a screw.
pub(crate) fn cut_planes(subject: &Subject<'_>) -> [Cut; 2] {
    let (u, v) = subject.across();
    let mut cuts: Vec<Cut> = [u, v].par_iter().map(|up| cut(subject, *up)).collect();
    let second = cuts.pop().expect("two planes give two cuts");
    let first = cuts.pop().expect("two planes give two cuts");
    [first, second]
}

fn cut(subject: &Subject<'_>, up: Direction) -> Cut {
    let (from, to) = subject.extent_mm();
    let words = direction_words(up.components(), subject.side());
    let down = direction_words((-up).components(), subject.side());
    let length = to - from;
    let view_box = format!("{from:.1} {:.1} {length:.1} {:.1}", -HALF_MM, 2.0 * HALF_MM);
    let figure = html! {
        svg .cut viewBox=(view_box) role="img" aria-label=(alt(subject, &words)) {
            image x=(from) y=(-HALF_MM) width=(format!("{length:.1}")) height=(2.0 * HALF_MM)
                href=(grey_image(subject, up).uri()) preserveAspectRatio="none" {}
            path .envelope d=(outline(subject, up)) {}
            line .axis x1=(from) y1="0" x2=(format!("{to:.1}")) y2="0" {}
            (cortex(subject, subject.record.near.as_ref(), "near"))
            (cortex(subject, subject.record.far.as_ref(), "far"))
            (margins(subject))
            (screw(subject))
            (beyond(subject, to))
            (scale_bar(to))
            text .halo x=(format!("{:.1}", from + 1.5)) y=(-HALF_MM + 3.6) { "\u{2191} " (words) }
            text .halo x=(format!("{:.1}", from + 1.5)) y=(HALF_MM - 1.6) { "\u{2193} " (down) }
        }
    };
    Cut { figure, up: words }
}

fn alt(subject: &Subject<'_>, up: &str) -> String {
    let hole = subject.record;
    let bone = match (hole.near_cortex_mm, hole.far_cortex_mm) {
        (Some(near), Some(far)) => {
            format!("bone from {} to {} mm after the seat", Unit::Mm.show(near), Unit::Mm.show(far))
        }
        (Some(near), None) => {
            format!("bone from {} mm after the seat, its end not met", Unit::Mm.show(near))
        }
        _ => "no bone on the path".to_owned(),
    };
    let screw = match (hole.length_mm, hole.planned_length_mm) {
        (Some(length), _) => format!("screw of {} mm drawn to scale", Unit::Stock.show(length)),
        (None, Some(planned)) => {
            format!("no safe length; planned {} mm drawn", Unit::Stock.show(planned))
        }
        (None, None) => "no screw drawn".to_owned(),
    };
    format!("CT cut along the screw, {up} is up, seat left, tip right: {bone}; {screw}.")
}

fn grey_image(subject: &Subject<'_>, up: Direction) -> GreyImage {
    let (from, to) = subject.extent_mm();
    let width = ((to - from) / PIXEL_MM).round().max(1.0);
    let height = (2.0 * HALF_MM / PIXEL_MM).round();
    let (step_x, step_y) = ((to - from) / width, 2.0 * HALF_MM / height);
    GreyImage::of_hu((width as usize, height as usize), |x, y| {
        let along = from + (x as f64 + 0.5) * step_x;
        let across = HALF_MM - (y as f64 + 0.5) * step_y;
        subject.scene.volume.sample_or_nan(subject.beside(along, up * across))
    })
}

fn outline(subject: &Subject<'_>, up: Direction) -> String {
    let (from, to) = subject.extent_mm();
    let columns = ((to - from) / NODE_MM).ceil() as usize + 1;
    let rows = (2.0 * HALF_MM / NODE_MM).ceil() as usize + 1;
    Nodes::of((columns, rows), [from, -HALF_MM], [NODE_MM, NODE_MM], |along, down| {
        subject.scene.depth_or_nan(subject.beside(along, up * -down))
    })
    .outline()
}

/// The cortex's outer surface, with the band it lies in.
fn cortex(subject: &Subject<'_>, edge: Option<&EdgeRecord>, name: &str) -> Markup {
    let Some((edge, at)) = edge.and_then(|e| Some((e, e.at_mm?))) else { return html! {} };
    let reach = subject.radius_mm() + 5.0;
    let band = edge.se_mm.map(|se| 1.96 * se);
    let anchor = if name == "near" { "end" } else { "start" };
    let beside = if name == "near" { at - 0.8 } else { at + 0.8 };
    html! {
        @if let Some(band) = band {
            rect .band x=(format!("{:.2}", at - band)) y=(format!("{:.2}", -reach))
                width=(format!("{:.2}", 2.0 * band)) height=(format!("{:.2}", 2.0 * reach)) {}
        }
        line .under x1=(at) y1=(format!("{:.2}", -reach)) x2=(at) y2=(format!("{reach:.2}")) {}
        line .over x1=(at) y1=(format!("{:.2}", -reach)) x2=(at) y2=(format!("{reach:.2}")) {}
        text .halo text-anchor=(anchor) x=(format!("{beside:.2}"))
            y=(format!("{:.2}", reach + 0.4)) { (name) }
    }
}

/// Room wanted at the tip and at the sides.
fn margins(subject: &Subject<'_>) -> Markup {
    let policy = &subject.plan.policy;
    let side = subject.radius_mm() + policy.side_margin_mm.value;
    let sign = if subject.engages() { 1.0 } else { -1.0 };
    let end = subject.record.far_cortex_mm.map(|far| far + sign * policy.margin_mm.value);
    let tip = subject.drawn_length_mm();
    let start = subject.record.near_cortex_mm.unwrap_or(0.0);
    html! {
        @if let Some(tip) = tip {
            @for y in [-side, side] {
                line .margin x1=(start) y1=(format!("{y:.2}")) x2=(tip) y2=(format!("{y:.2}")) {}
            }
        }
        @if let Some(end) = end {
            line .margin x1=(format!("{end:.2}")) y1=(format!("{:.2}", -side - 2.0))
                x2=(format!("{end:.2}")) y2=(format!("{:.2}", side + 2.0)) {}
        }
    }
}

fn screw(subject: &Subject<'_>) -> Markup {
    let Some((screw, tip)) = subject.screw().zip(subject.drawn_length_mm()) else {
        return html! {};
    };
    let (core, major) = (0.5 * screw.core_diameter_mm, 0.5 * screw.major_diameter_mm);
    let (start, end) = screw.thread_mm(tip);
    let mut upper = vec![(0.0, core), (start, core)];
    let mut at = start;
    while at + 1e-9 < end && screw.pitch_mm > 0.2 {
        upper.push(((at + 0.5 * screw.pitch_mm).min(end), major));
        upper.push(((at + screw.pitch_mm).min(end), core));
        at += screw.pitch_mm;
    }
    upper.push((end, core));
    let rise = (tip - core).max(end).min(tip);
    upper.push((rise, core));
    let above = upper.iter().map(|(x, y)| (*x, -*y));
    let below = upper.iter().rev().copied();
    let mut path = String::new();
    for (index, (x, y)) in above.chain([(tip, 0.0)]).chain(below).enumerate() {
        put(&mut path, format_args!("{}{x:.2} {y:.2}", if index == 0 { 'M' } else { 'L' }));
    }
    path.push('Z');
    let head =
        format!("M0 {:.2}L-2.6 {:.2}V{:.2}L0 {:.2}Z", -core, -major - 0.4, major + 0.4, core);
    let planned = subject.record.planned_length_mm.filter(|p| (p - tip).abs() > 0.05);
    let class = if subject.record.length_mm.is_some() { "screw" } else { "screw unsafe" };
    html! {
        path class={ (class) " back" } d=(format!("{head}{path}")) {}
        path class=(class) d=(format!("{head}{path}")) {}
        @if let Some(planned) = planned {
            line .planned x1=(planned) y1=(format!("{:.2}", -major - 1.5)) x2=(planned)
                y2=(format!("{:.2}", major + 1.5)) {}
            text .halo text-anchor="middle" x=(planned) y=(format!("{:.2}", -major - 2.2)) {
                "planned " (Unit::Stock.show(planned))
            }
        }
    }
}

/// What lies past the tip, where the picture still shows it.
fn beyond(subject: &Subject<'_>, to: f64) -> Markup {
    let hole = subject.record;
    let Some(from) = hole.length_mm.or(hole.far_cortex_mm) else { return html! {} };
    let met = [("bone again", hole.beyond.bone_mm), ("metal", hole.beyond.metal_mm)];
    let met = met.into_iter().filter_map(|(name, at)| Some((name, from + at?)));
    html! {
        @for (name, at) in met.filter(|(_, at)| *at < to - 1.0) {
            path .beyond d=(format!("M{at:.2} 0l-1.4 -1.8v3.6z")) {}
            @let (anchor, x) = if at > to - 18.0 { ("end", to - 1.0) } else { ("start", at + 0.6) };
            text .halo text-anchor=(anchor) x=(format!("{x:.2}")) y="-2.4" { (name) }
        }
    }
}

fn scale_bar(to: f64) -> Markup {
    let (end, y) = (to - 2.5, HALF_MM - 2.2);
    html! {
        path .scale d=(format!("M{:.1} {y:.1}v-1.2v2.4v-1.2h10v-1.2v2.4", end - 10.0)) {}
        text .halo text-anchor="middle" x=(format!("{:.1}", end - 5.0)) y=(format!("{:.1}", y - 1.8)) {
            "10 mm"
        }
    }
}
