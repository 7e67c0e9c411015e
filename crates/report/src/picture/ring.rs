//! How wrong the guide may sit: forgiven tilt around the direction, and the
//! purchase under wrong placements.

use maud::{Markup, html};

use super::anatomy::direction_words;
use super::subject::Subject;
use crate::number::{Unit, fixed};
use crate::record::RobustRecord;
use crate::text::put;

/// Half the edge of the ring's picture.
const HALF: f64 = 120.0;
/// Radius of its outermost circle.
const OUTER: f64 = 84.0;
/// Bars of the purchase's distribution.
const BARS: usize = 24;

/// The forgiven tilt by azimuth; nothing when no placements were tried.
pub(crate) fn ring_figure(subject: &Subject<'_>) -> Markup {
    let Some(robust) = &subject.record.robust else { return html! {} };
    // A ring with an unknown direction is not drawn; the words beside it say so.
    let known: Option<Vec<f64>> = robust.tilt_ring_deg.iter().copied().collect();
    let Some(tilts) = known.filter(|tilts| !tilts.is_empty()) else { return html! {} };
    let largest = tilts.iter().copied().fold(4.0, f64::max);
    let step = if largest > 16.0 {
        10.0
    } else if largest > 8.0 {
        4.0
    } else {
        2.0
    };
    let most = (largest / step).ceil() * step;
    let place = |azimuth: f64, tilt: f64| {
        let (sin, cos) = azimuth.sin_cos();
        (OUTER * tilt / most * sin, -OUTER * tilt / most * cos)
    };
    let mut path = String::new();
    for (index, tilt) in tilts.iter().enumerate() {
        let (x, y) = place(index as f64 / tilts.len() as f64 * std::f64::consts::TAU, *tilt);
        put(&mut path, format_args!("{}{x:.1} {y:.1}", if index == 0 { 'M' } else { 'L' }));
    }
    path.push('Z');
    let (u, v) = subject.across();
    let [up, right, down, left] = [u, v, -u, -v]
        .map(|d| direction_words(d.components(), subject.side()).replace(" and ", "-"));
    let circles = (1..).map(|i| f64::from(i) * step).take_while(|tilt| *tilt <= most + 1e-9);
    let view_box = format!("{} {} {} {}", -HALF, -HALF, 2.0 * HALF, 2.0 * HALF);
    html! {
        svg .ring viewBox=(view_box) role="img" aria-label=(alt(robust)) {
            @for tilt in circles {
                circle .grid r=(format!("{:.1}", OUTER * tilt / most)) {}
                text .small x="2" y=(format!("{:.1}", -OUTER * tilt / most - 1.5)) {
                    (fixed(tilt, 0)) "°"
                }
            }
            path .grid d=(format!("M{} 0H{OUTER}M0 {}V{OUTER}", -OUTER, -OUTER)) {}
            path .forgiven d=(path) {}
            circle .here r="2.5" {}
            text text-anchor="middle" y=(-OUTER - 18.0) { (up) }
            text text-anchor="middle" y=(OUTER + 22.0) { (down) }
            text text-anchor="middle" transform=(format!("translate({} 0) rotate(90)", OUTER + 14.0)) {
                (right)
            }
            text text-anchor="middle" transform=(format!("translate({} 0) rotate(-90)", -OUTER - 14.0)) {
                (left)
            }
        }
    }
}

fn alt(robust: &RobustRecord) -> String {
    format!(
        "Ring of forgiven tilt around the planned direction: at least {} in the worst direction.",
        Unit::Deg.with_unit(robust.forgiven_tilt_deg)
    )
}

/// The purchase of every wrong placement as a row of bars.
pub(crate) fn purchase_figure(subject: &Subject<'_>) -> Markup {
    let (Some(robust), Some(record)) = (&subject.result.robust, &subject.record.robust) else {
        return html! {};
    };
    let finite = || robust.purchases_mm.iter().copied().filter(|p| p.is_finite());
    let most = finite().fold(10.0, f64::max).ceil();
    let mut bars = [0_usize; BARS];
    for purchase in finite() {
        let bar = (purchase / most * BARS as f64) as usize;
        bars[bar.min(BARS - 1)] += 1;
    }
    let tallest = bars.iter().copied().max().unwrap_or(0).max(1) as f64;
    let x = |mm: f64| 10.0 + mm / most * 220.0;
    let width = 220.0 / BARS as f64;
    let half = (most / 2.0).round();
    html! {
        svg .spread viewBox="0 0 240 116" role="img" aria-label=(format!(
            "Purchase over {} wrong placements: a tenth below {}, half below {}.",
            record.samples, Unit::Mm.with_unit(record.purchase_p10_mm),
            Unit::Mm.with_unit(record.purchase_p50_mm)
        )) {
            @for (index, count) in bars.iter().enumerate().filter(|(_, c)| **c > 0) {
                @let height = 68.0 * *count as f64 / tallest;
                rect .bar x=(format!("{:.1}", 10.0 + index as f64 * width + 0.5))
                    y=(format!("{:.1}", 80.0 - height)) width=(format!("{:.1}", width - 1.0))
                    height=(format!("{height:.1}")) {}
            }
            line .tick x1="10" x2="230" y1="80" y2="80" {}
            @if let Some(p10) = record.purchase_p10_mm {
                line .edge x1=(format!("{:.1}", x(p10))) x2=(format!("{:.1}", x(p10))) y1="6" y2="80" {}
                @let (anchor, side) = if p10 > 0.5 * most { ("end", -3.0) } else { ("start", 3.0) };
                text .small text-anchor=(anchor) x=(format!("{:.1}", x(p10) + side)) y="13" {
                    "a tenth below"
                }
            }
            text text-anchor="start" x="8" y="95" { "0" }
            text text-anchor="middle" x=(format!("{:.1}", x(half))) y="95" { (fixed(half, 0)) }
            text text-anchor="end" x="232" y="95" { (fixed(most, 0)) }
            text text-anchor="middle" x="120" y="111" { "purchase, mm" }
        }
    }
}
