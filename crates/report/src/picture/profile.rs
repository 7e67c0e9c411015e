//! Hounsfield units along the path, with what it runs through.

use maud::{Markup, html};

use super::pattern::tissue_fill;
use super::subject::Subject;
use crate::number::{Unit, fixed};
use crate::record::SegmentRecord;
use crate::text::put;

const WIDTH: f64 = 460.0;
const LEFT: f64 = 52.0;
const RIGHT: f64 = 16.0;
const TOP: f64 = 14.0;
const PLOT: f64 = 150.0;
/// Where the bar of tissues begins, below the plot.
const BAR: f64 = TOP + PLOT + 8.0;
const HEIGHT: f64 = BAR + 74.0;

/// Positions of the plot.
struct Axes {
    from: f64,
    to: f64,
    top_hu: f64,
    bottom_hu: f64,
}

impl Axes {
    fn x(&self, along_mm: f64) -> f64 {
        LEFT + (along_mm - self.from) / (self.to - self.from) * (WIDTH - LEFT - RIGHT)
    }

    fn y(&self, hu: f64) -> f64 {
        let part = (self.top_hu - hu) / (self.top_hu - self.bottom_hu);
        TOP + part.clamp(0.0, 1.0) * PLOT
    }
}

/// The profile of a hole.
pub(crate) fn profile_figure(subject: &Subject<'_>) -> Markup {
    let (from, to) = subject.extent_mm();
    let highest = subject.record.profile.hu.iter().flatten().copied().fold(600.0, f64::max);
    let step = if highest > 1600.0 { 500.0 } else { 200.0 };
    let top_hu = (highest.min(3200.0) / step).ceil() * step;
    let axes = Axes { from, to, top_hu, bottom_hu: -200.0 };
    let levels = (0..).map(|n| f64::from(n) * step).take_while(|hu| *hu <= top_hu);
    let marks = (0..).map(|n| f64::from(n) * 10.0).take_while(|mm| *mm <= to);
    html! {
        svg .profile viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img"
            aria-label=(alt(subject)) {
            @for hu in levels {
                line .grid x1=(LEFT) x2=(WIDTH - RIGHT) y1=(n(axes.y(hu))) y2=(n(axes.y(hu))) {}
                text text-anchor="end" x=(LEFT - 5.0) y=(n(axes.y(hu) + 4.0)) { (fixed(hu, 0)) }
            }
            text transform=(format!("translate(12 {:.0}) rotate(-90)", TOP + PLOT / 2.0))
                text-anchor="middle" { "HU" }
            (threshold(subject, &axes))
            (ends(subject, &axes))
            path .curve d=(curve(subject, &axes)) {}
            @for segment in &subject.record.segments { (bar(segment, &axes)) }
            (screw_bar(subject, &axes))
            @for mark in marks {
                text text-anchor="middle" x=(n(axes.x(mark))) y=(BAR + 48.0) { (fixed(mark, 0)) }
            }
            text text-anchor="middle" x=(n(f64::midpoint(LEFT, WIDTH - RIGHT))) y=(BAR + 67.0) {
                "mm from the seat"
            }
        }
    }
}

fn n(value: f64) -> String {
    format!("{value:.1}")
}

fn alt(subject: &Subject<'_>) -> String {
    let parts: Vec<String> = subject
        .record
        .segments
        .iter()
        .map(|s| {
            format!("{} to {} mm {}", Unit::Mm.show(s.from_mm), Unit::Mm.show(s.to_mm), s.tissue)
        })
        .collect();
    if parts.is_empty() {
        return "Hounsfield units along the path; no bone is met.".to_owned();
    }
    format!("Hounsfield units along the path. From the seat: {}.", parts.join(", "))
}

fn curve(subject: &Subject<'_>, axes: &Axes) -> String {
    let profile = &subject.record.profile;
    let mut path = String::new();
    let mut pen_up = true;
    for (index, hu) in profile.hu.iter().enumerate() {
        let along = profile.from_mm + index as f64 * profile.step_mm;
        let shown = (axes.from..=axes.to).contains(&along);
        if let (Some(hu), true) = (hu, shown) {
            let letter = if pen_up { 'M' } else { 'L' };
            put(&mut path, format_args!("{letter}{:.1} {:.1}", axes.x(along), axes.y(*hu)));
            pen_up = false;
        } else {
            pen_up = true;
        }
    }
    path
}

fn threshold(subject: &Subject<'_>, axes: &Axes) -> Markup {
    let hu = subject.scene.threshold_hu;
    html! {
        line .threshold x1=(LEFT) x2=(WIDTH - RIGHT) y1=(n(axes.y(hu))) y2=(n(axes.y(hu))) {}
    }
}

fn ends(subject: &Subject<'_>, axes: &Axes) -> Markup {
    let edges = [("near", subject.record.near.as_ref()), ("far", subject.record.far.as_ref())];
    html! {
        @for (name, edge, at) in edges.into_iter().filter_map(|(n, e)| Some((n, e?, e?.at_mm?))) {
            @if let Some(se) = edge.se_mm {
                rect .band x=(n(axes.x(at - 1.96 * se))) y=(TOP)
                    width=(n(axes.x(at + 1.96 * se) - axes.x(at - 1.96 * se))) height=(PLOT) {}
            }
            line .edge x1=(n(axes.x(at))) x2=(n(axes.x(at))) y1=(TOP) y2=(BAR) {}
            @let is_near = name == "near";
            @let (anchor, beside) = label_side(is_near, axes.x(at));
            text .small text-anchor=(anchor) x=(n(axes.x(at) + beside)) y=(TOP + if is_near { 10.0 } else { 23.0 }) {
                (name) " " (Unit::Mm.show(at))
            }
        }
    }
}

/// How an end's words are anchored and how far from its line: outward of the
/// bone, inward where the plot ends.
fn label_side(is_near: bool, x: f64) -> (&'static str, f64) {
    /// Room for the longest words.
    const WORDS: f64 = 62.0;
    let left = if is_near { x - WORDS >= LEFT } else { x + WORDS > WIDTH };
    if left { ("end", -3.0) } else { ("start", 3.0) }
}

fn bar(segment: &SegmentRecord, axes: &Axes) -> Markup {
    let (x, end) = (axes.x(segment.from_mm.max(axes.from)), axes.x(segment.to_mm.min(axes.to)));
    let width = (end - x).max(0.0);
    let fits = width > 6.0 * segment.tissue.len() as f64 + 4.0;
    html! {
        rect .segment x=(n(x)) y=(BAR) width=(n(width)) height="14"
            fill=(tissue_fill(&segment.tissue)) { title { (segment.tissue) } }
        @if fits {
            text .small text-anchor="middle" x=(n(f64::midpoint(x, end))) y=(BAR + 26.0) {
                (segment.tissue)
            }
        }
    }
}

fn screw_bar(subject: &Subject<'_>, axes: &Axes) -> Markup {
    let Some(tip) = subject.drawn_length_mm() else { return html! {} };
    let (x, end) = (axes.x(0.0), axes.x(tip));
    html! {
        path .screwbar d=(format!("M{x:.1} {:.1}H{:.1}l6 3.5l-6 3.5H{x:.1}z", BAR + 29.0, end - 6.0)) {}
    }
}
