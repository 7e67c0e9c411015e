//! Greys and lines of depth in a chart: one scale, wide enough for all that is
//! shown.

use maud::{Markup, html};
use pilothole_assess::stock::{StockCell, StockChart};

use super::chart::{HALF, RADIUS, f};
use super::room::{Room, is_free};
use crate::number::fixed;
use crate::picture::Nodes;

/// Steps that a scale may have, mm, and how many of them it may have at most.
const STEPS_MM: [f64; 6] = [5.0, 10.0, 15.0, 20.0, 30.0, 50.0];
const MOST_STEPS: f64 = 5.0;
/// Share of the directions with bone that a scale tells apart; the few that are
/// deeper are drawn darkest, and the scale's end says so. Our own choice: a
/// single long way along a column would leave all others pale.
const TOLD_APART: f64 = 0.98;
/// Greys between two lines.
const GREYS: usize = 3;
/// Room that a line's number takes, half its width and height.
const NUMBER: [f64; 2] = [8.0, 5.5];
/// Numbers of one line stand at least this far apart.
const NUMBERS_APART: f64 = 80.0;
/// Numbers a line has at most.
const MOST_NUMBERS: usize = 3;

/// What depths the greys stand for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Depths {
    step_mm: f64,
    steps: usize,
    /// Whether some depth lies beyond the scale.
    beyond: bool,
}

impl Depths {
    /// A scale for the depths of some charts.
    pub(super) fn of<'a>(charts: impl IntoIterator<Item = &'a StockChart>) -> Self {
        let cells = charts.into_iter().flat_map(|c| &c.cells);
        Self::telling(cells.filter_map(StockCell::depth_mm).collect())
    }

    fn telling(mut depths: Vec<f64>) -> Self {
        depths.sort_unstable_by(f64::total_cmp);
        let last = depths.len().saturating_sub(1);
        let at = (TOLD_APART * last as f64).round() as usize;
        let deepest_mm = depths.get(at).copied().unwrap_or(0.0);
        let enough = |step: &f64| deepest_mm <= MOST_STEPS * step;
        let largest = STEPS_MM[STEPS_MM.len() - 1];
        let step_mm = STEPS_MM.into_iter().find(enough).unwrap_or(largest);
        let steps = ((deepest_mm / step_mm).ceil() as usize).max(2);
        let beyond = depths.last().is_some_and(|most| *most > step_mm * steps as f64);
        Self { step_mm, steps, beyond }
    }

    fn deepest_mm(self) -> f64 {
        self.step_mm * self.steps as f64
    }

    /// Depths that get a line, mm.
    fn levels(self) -> impl Iterator<Item = f64> {
        (1..self.steps).map(move |at| at as f64 * self.step_mm)
    }

    /// The grey of a depth; the darkest beyond the scale.
    pub(super) fn grey(self, depth_mm: f64) -> u8 {
        (240.0 - (depth_mm / self.deepest_mm()).clamp(0.0, 1.0) * 170.0).round() as u8
    }

    /// The lines of equal depth with their numbers.
    ///
    /// - `depth`: mm at a place of the chart, up positive.
    /// - `taken`: left, top, right and bottom of what no number may cover.
    pub(super) fn lines(
        self,
        depth: impl Fn(f64, f64) -> Option<f64>,
        mut taken: Vec<Room>,
    ) -> Markup {
        let drawn: Vec<(f64, Nodes)> = self
            .levels()
            .map(|level| {
                let above = |x: f64, y: f64| depth(x, -y).map_or(-level, |depth| depth - level);
                let step = RADIUS / 50.0;
                (level, Nodes::of((101, 101), [-RADIUS, -RADIUS], [step, step], above))
            })
            .collect();
        let numbers: Vec<(f64, Vec<[f64; 2]>)> = drawn
            .iter()
            .map(|(level, nodes)| (*level, numbered(&nodes.vertices(), &mut taken)))
            .collect();
        html! {
            @for (_, nodes) in &drawn { path .contour d=(nodes.outline()) {} }
            @for (level, places) in &numbers {
                @for [x, y] in places {
                    text .tiny .level text-anchor="middle" x=(f(*x)) y=(f(y + 3.3)) { (fixed(*level, 0)) }
                }
            }
        }
    }

    /// What the greys stand for, below a chart, with the lines of equal depth
    /// where there are any.
    pub(super) fn scale(self, with_lines: bool) -> Markup {
        let x = |mm: f64| -RADIUS + mm / self.deepest_mm() * 1.6 * RADIUS;
        let shades = GREYS * self.steps;
        let part = self.deepest_mm() / shades as f64;
        html! {
            @for at in 0..shades {
                @let mm = at as f64 * part;
                @let shade = self.grey(mm + 0.5 * part);
                rect x=(f(x(mm))) y=(f(HALF + 4.0)) width=(f(x(part) - x(0.0) + 0.5)) height="12"
                    fill=(format!("rgb({shade},{shade},{shade})")) {}
            }
            @for level in self.levels() {
                @if with_lines { line .contour x1=(f(x(level))) x2=(f(x(level))) y1=(f(HALF + 2.0)) y2=(f(HALF + 18.0)) {} }
            }
            @for at in 0..=self.steps {
                @let mm = at as f64 * self.step_mm;
                text .small text-anchor="middle" x=(f(x(mm))) y=(f(HALF + 31.0)) { (fixed(mm, 0)) }
            }
            @if self.beyond {
                text .small x=(f(x(self.deepest_mm()) + 12.0)) y=(f(HALF + 31.0)) { "and more" }
            }
            text .small x=(f(x(self.deepest_mm()) + 8.0)) y=(f(HALF + 14.0)) { "mm" }
        }
    }
}

/// Places for a line's number: on the line, clear of what is taken, spread.
fn numbered(vertices: &[[f64; 2]], taken: &mut Vec<Room>) -> Vec<[f64; 2]> {
    let mut places: Vec<[f64; 2]> = Vec::new();
    for [x, y] in vertices {
        if places.len() == MOST_NUMBERS {
            break;
        }
        let own = [x - NUMBER[0], y - NUMBER[1], x + NUMBER[0], y + NUMBER[1]];
        let inside = x.hypot(*y) < RADIUS - 1.5 * NUMBER[0];
        let apart = places.iter().all(|p| (p[0] - x).hypot(p[1] - y) >= NUMBERS_APART);
        let free = is_free(own, taken);
        if inside && apart && free {
            taken.push(own);
            places.push([*x, *y]);
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_has_few_lines_and_says_what_is_beyond_it() {
        for deepest in [0.0, 3.0, 26.0, 69.9, 70.1, 118.4, 250.0] {
            let depths = Depths::telling(vec![0.5 * deepest, deepest]);
            assert!(depths.deepest_mm() >= deepest && !depths.beyond, "{deepest}");
            assert!((1..=5).contains(&depths.levels().count()), "{deepest}");
        }
        let mut many: Vec<f64> = (0..1000).map(|i| 0.05 * f64::from(i)).collect();
        many.push(140.0);
        let depths = Depths::telling(many);
        assert!(depths.beyond && depths.deepest_mm() <= 60.0, "{depths:?}");
        assert_eq!(depths.grey(140.0), depths.grey(depths.deepest_mm()));
        assert!(depths.grey(10.0) > depths.grey(40.0));
        assert!(depths.scale(true).into_string().contains("and more"));
    }

    #[test]
    fn numbers_stand_on_their_line_clear_of_each_other() {
        let depths = Depths::telling(vec![60.0]);
        let drawn = depths.lines(|x, y| Some(60.0 - 0.5 * x.hypot(y)), Vec::new()).into_string();
        let place = |tag: &str, name: &str| {
            let from = tag.find(&format!(" {name}=\"")).expect("there") + name.len() + 3;
            tag[from..].split('"').next().expect("ends").parse::<f64>().expect("a number")
        };
        let numbers: Vec<(f64, [f64; 2])> = drawn
            .split("<text")
            .skip(1)
            .map(|tag| {
                let level = tag.split('>').nth(1).and_then(|t| t.split('<').next()).expect("text");
                (level.parse().expect("a number"), [place(tag, "x"), place(tag, "y") - 3.3])
            })
            .collect();
        assert!(numbers.len() >= 3, "{drawn}");
        for (at, (level, [x, y])) in numbers.iter().enumerate() {
            assert!((60.0 - 0.5 * x.hypot(*y) - level).abs() < 1.0, "{level} at {x} {y}");
            let apart = |other: &[f64; 2]| {
                (other[0] - x).abs() >= 2.0 * NUMBER[0] - 0.2
                    || (other[1] - y).abs() >= 2.0 * NUMBER[1] - 0.2
            };
            assert!(numbers[..at].iter().all(|(_, other)| apart(other)));
        }
    }
}
