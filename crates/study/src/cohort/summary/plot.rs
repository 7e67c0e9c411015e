//! Small SVG pictures.

use maud::{Markup, html};

use super::errors::quantile;
use super::histogram::Histogram;

/// Bars of a distribution.
const BARS: usize = 40;

/// Points drawn of a scatter: more would only hide each other.
const POINTS: usize = 800;

/// Distinct values of what varied up to which each has a median of its own.
const GROUPS: usize = 16;

const WIDE: f64 = 300.0;
const HIGH: f64 = 120.0;
const LEFT: f64 = 34.0;
const BOTTOM: f64 = 20.0;

/// A number in a picture or table: at most two decimals, none when large.
pub(super) fn shown(value: f64) -> String {
    let decimals = if value.abs() >= 100.0 { 0 } else { 2 };
    let text = format!("{value:.decimals$}");
    let text =
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.replace('-', "\u{2212}") }
}

/// Distribution of one measure in one region, with 10th, 50th and 90th
/// percentiles marked.
pub(super) fn distribution(histogram: &Histogram, range: (f64, f64), label: &str) -> Markup {
    let bars = histogram.bars(range, BARS);
    let tallest = bars.iter().copied().max().unwrap_or(0).max(1) as f64;
    let bar_width = (WIDE - LEFT) / BARS as f64;
    let across = |value: f64| {
        LEFT + (WIDE - LEFT) * ((value - range.0) / (range.1 - range.0)).clamp(0.0, 1.0)
    };
    let marks = [0.1, 0.5, 0.9].map(|share| histogram.quantile(share).map(across));
    html! {
        svg viewBox=(format!("0 0 {WIDE} {}", HIGH + BOTTOM)) role="img" aria-label=(label) {
            @for (at, count) in bars.iter().enumerate().filter(|(_, c)| **c > 0) {
                @let height = *count as f64 / tallest * (HIGH - 12.0);
                rect .bar x=(px(LEFT + at as f64 * bar_width)) y=(px(HIGH - height))
                    width=(px(bar_width - 0.8)) height=(px(height)) {}
            }
            @for (at, mark) in marks.iter().enumerate() {
                @if let Some(x) = mark {
                    line class=(if at == 1 { "mark middle" } else { "mark" })
                        x1=(px(*x)) x2=(px(*x)) y1="6" y2=(px(HIGH)) {}
                }
            }
            (frame(range, (0.0, tallest)))
        }
    }
}

/// Errors against what varied: points, a line through the medians, zero.
pub(super) fn scatter(points: &[(f64, f64)], label: &str) -> Option<Markup> {
    let xs = bounds(points.iter().map(|p| p.0))?;
    let (low, high) = bounds(points.iter().map(|p| p.1))?;
    let ys = padded(low.min(0.0), high.max(0.0));
    let xs = padded(xs.0, xs.1);
    let place = |(x, y): (f64, f64)| {
        let across = LEFT + (WIDE - LEFT) * (x - xs.0) / (xs.1 - xs.0);
        (px(across), px(HIGH - (HIGH - 6.0) * (y - ys.0) / (ys.1 - ys.0)))
    };
    let step = points.len().div_ceil(POINTS).max(1);
    let (_, zero) = place((xs.0, 0.0));
    let line: Vec<String> = medians(points)
        .into_iter()
        .map(|point| {
            let (x, y) = place(point);
            format!("{x},{y}")
        })
        .collect();
    Some(html! {
        svg viewBox=(format!("0 0 {WIDE} {}", HIGH + BOTTOM)) role="img" aria-label=(label) {
            line .zero x1=(px(LEFT)) x2=(px(WIDE)) y1=(zero) y2=(zero) {}
            @for point in points.iter().step_by(step) {
                @let (x, y) = place(*point);
                circle .point cx=(x) cy=(y) r="1.6" {}
            }
            polyline .median points=(line.join(" ")) {}
            (frame(xs, ys))
        }
    })
}

/// Axes with their ends written.
fn frame(across: (f64, f64), up: (f64, f64)) -> Markup {
    html! {
        path .axis d=(format!("M{LEFT} 6V{HIGH}H{WIDE}")) {}
        text x=(px(LEFT)) y=(px(HIGH + 13.0)) { (shown(across.0)) }
        text x=(px(WIDE)) y=(px(HIGH + 13.0)) text-anchor="end" { (shown(across.1)) }
        text x=(px(LEFT - 4.0)) y=(px(HIGH)) text-anchor="end" { (shown(up.0)) }
        text x=(px(LEFT - 4.0)) y="14" text-anchor="end" { (shown(up.1)) }
    }
}

/// Medians of the errors by value of what varied, or by sixteenths of its
/// range.
fn medians(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut sorted = points.to_vec();
    sorted.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let distinct = sorted.chunk_by(|a, b| a.0.total_cmp(&b.0).is_eq()).count();
    let middle = |group: &[(f64, f64)]| {
        let mut errors: Vec<f64> = group.iter().map(|p| p.1).collect();
        errors.sort_unstable_by(f64::total_cmp);
        let mean = group.iter().map(|p| p.0).sum::<f64>() / group.len() as f64;
        (mean, quantile(&errors, 0.5))
    };
    if distinct <= GROUPS {
        return sorted.chunk_by(|a, b| a.0.total_cmp(&b.0).is_eq()).map(middle).collect();
    }
    sorted.chunks(sorted.len().div_ceil(GROUPS)).map(middle).collect()
}

fn bounds(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.fold(None, |range, value| {
        let (low, high) = range.unwrap_or((value, value));
        Some((f64::min(low, value), f64::max(high, value)))
    })
}

/// Never of no extent.
fn padded(low: f64, high: f64) -> (f64, f64) {
    if high - low > 1e-9 * high.abs().max(1.0) { (low, high) } else { (low - 0.5, high + 0.5) }
}

/// A coordinate in a picture, to a tenth.
fn px(value: f64) -> String {
    format!("{value:.1}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_shown_short() {
        for (value, text) in [
            (0.0, "0"),
            (-0.001, "0"),
            (1.5, "1.5"),
            (-2.25, "\u{2212}2.25"),
            (1234.5, "1234"),
            (300.0, "300"),
        ] {
            assert_eq!(shown(value), text);
        }
    }

    #[test]
    fn a_scatter_of_one_point_is_drawn() {
        assert!(scatter(&[(1.0, 0.0)], "one").is_some());
        assert!(scatter(&[], "none").is_none());
    }
}
