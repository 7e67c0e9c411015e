//! The hemisphere of directions from the socket's centre, seen from its mouth.
//!
//! Lambert's equal-area chart: equal patches of sky are equal patches of
//! paper. The middle is straight into the socket, the rim lies in the plane of
//! its mouth.

use maud::{Markup, html};
use pilothole_assess::stock::{StockCell, StockChart};
use pilothole_plan::Plan;
use pilothole_volume::Direction;

use super::camera::{Camera, View};
use super::depths::Depths;
use super::quadrants::quadrants;
use super::room::{Room, is_free};
use crate::picture::{GreyImage, direction_words};
use crate::text::shortened;

/// Radius of the chart, in units of its picture.
pub(super) const RADIUS: f64 = 150.0;
/// Pixels along an edge.
const EDGE: usize = 240;
/// The frame of a chart.
pub(super) struct Sky {
    pub(super) pole: Direction,
    pub(super) camera: Camera,
}

impl Sky {
    /// The hemisphere into which a plan's socket is set.
    pub(super) fn of(plan: &Plan) -> Self {
        Self { pole: -plan.socket.axis, camera: Camera::of(View::Mouth, plan) }
    }

    /// What lies up, right, down and left, in words.
    pub(super) fn words(&self, plan: &Plan) -> [String; 4] {
        let c = &self.camera;
        [c.up, c.right, -c.up, -c.right]
            .map(|d| direction_words(d.components(), plan.side).replace(" and ", "-"))
    }

    /// The direction at a place of the chart; `None` outside it.
    fn direction(&self, x: f64, y: f64) -> Option<Direction> {
        let r = x.hypot(y) / RADIUS;
        if r > 1.0 {
            return None;
        }
        let tilt = 2.0 * (r * std::f64::consts::FRAC_1_SQRT_2).asin();
        let azimuth = y.atan2(x);
        let across = self.camera.right * azimuth.cos() + self.camera.up * azimuth.sin();
        Direction::along(self.pole * tilt.cos() + across * tilt.sin())
    }

    /// The place of a direction, up positive; at the rim when beyond it.
    pub(super) fn place(&self, direction: Direction) -> (f64, f64) {
        let tilt = self.pole.angle_rad(direction);
        let r = ((0.5 * tilt).sin() / std::f64::consts::FRAC_1_SQRT_2).min(1.0) * RADIUS;
        let (x, y) = (self.camera.right.dot(direction), self.camera.up.dot(direction));
        let length = x.hypot(y);
        if length < 1e-9 { (0.0, 0.0) } else { (x / length * r, y / length * r) }
    }
}

/// The chart from the socket's centre with the holes of a plan, by their
/// directions.
pub(crate) fn chart_figure(chart: &StockChart, plan: &Plan) -> Markup {
    let sky = Sky::of(plan);
    let cell = |x: f64, y: f64| sky.direction(x, y).and_then(|d| chart.nearest(d));
    let depths = Depths::of([chart]);
    let image = picture(EDGE, &depths, &cell);
    let words = sky.words(plan);
    let dots = dots(&sky, plan);
    let mut taken: Vec<Room> =
        dots.iter().map(|[x, y]| [x - DOT, y - DOT, x + DOT, y + DOT]).collect();
    let quadrants = quadrants(plan, &sky.camera, RADIUS, &mut taken);
    let holes = labels(plan, &dots, &mut taken);
    let depth = |x: f64, y: f64| cell(x, y).and_then(StockCell::depth_mm);
    html! {
        svg .chart viewBox=(view_box()) role="img"
            aria-label=(format!(
                "Depth of bone in every direction from the socket, seen from its mouth; {} is up. Darker is \
                 deeper, hatched is to be kept away from, rings are holes.", words[0]
            )) {
            image .sky x=(-RADIUS) y=(-RADIUS) width=(2.0 * RADIUS) height=(2.0 * RADIUS) href=(image.uri()) {}
            (depths.lines(depth, taken))
            (quadrants)
            (rim(&words))
            @for (hole, (dot, label)) in plan.holes.iter().zip(holes) {
                circle .holedot cx=(f(dot[0])) cy=(f(dot[1])) r="4" { title { (shortened(&hole.id, 64)) } }
                @if let Some([x, y]) = label {
                    @if (y - 4.0 - dot[1]).abs() > 1.0 {
                        line .leader x1=(f(dot[0])) y1=(f(dot[1])) x2=(f(x + if x < dot[0] { width(&hole.id) } else { 0.0 })) y2=(f(y - 4.0)) {}
                    }
                    text .small .holename x=(f(x)) y=(f(y)) { (shortened(&hole.id, MOST_LETTERS)) }
                }
            }
            (depths.scale(true))
        }
    }
}

/// Half the width of a chart's picture.
pub(super) const HALF: f64 = RADIUS + 34.0;

/// The picture of a chart, its scale below it.
pub(super) fn view_box() -> String {
    format!("{} {} {} {}", -HALF, -HALF, 2.0 * HALF, 2.0 * HALF + 44.0)
}

/// The chart's edge, and what lies up, right, down and left of it.
pub(super) fn rim(words: &[String; 4]) -> Markup {
    let aside = |x: f64, turn: f64| format!("translate({x} 0) rotate({turn})");
    html! {
        circle .frame r=(RADIUS) {}
        text text-anchor="middle" y=(-RADIUS - 12.0) { (words[0]) }
        text text-anchor="middle" y=(RADIUS + 24.0) { (words[2]) }
        text text-anchor="middle" transform=(aside(RADIUS + 14.0, 90.0)) { (words[1]) }
        text text-anchor="middle" transform=(aside(-RADIUS - 14.0, -90.0)) { (words[3]) }
    }
}

/// Width of a hole's name in the chart.
fn width(id: &str) -> f64 {
    shortened(id, MOST_LETTERS).chars().count() as f64 * LETTER[0]
}

/// Half the room that a hole's dot takes.
const DOT: f64 = 5.0;
/// Letters of a hole's name in the chart.
const MOST_LETTERS: usize = 14;
/// Width of a letter and height of a line in the chart, generous.
const LETTER: [f64; 2] = [8.2, 14.0];

/// Where each hole's dot stands.
fn dots(sky: &Sky, plan: &Plan) -> Vec<[f64; 2]> {
    let place = |direction| {
        let (x, y) = sky.place(direction);
        [x, -y]
    };
    plan.holes.iter().map(|hole| place(hole.direction)).collect()
}

/// Dots with where their names stand, without names over each other or over
/// what is `taken`, to which they are added; a name for which there is no room
/// is left to the dot's title.
fn labels(
    plan: &Plan,
    dots: &[[f64; 2]],
    taken: &mut Vec<Room>,
) -> Vec<([f64; 2], Option<[f64; 2]>)> {
    plan.holes
        .iter()
        .zip(dots.iter().copied())
        .map(|(hole, dot)| {
            let width = width(&hole.id);
            let spots = [0.0, -15.0, 15.0, -30.0, 30.0, -45.0, 45.0]
                .into_iter()
                .flat_map(|dy| [[7.0, dy], [-7.0 - width, dy]]);
            let label = spots.into_iter().find_map(|[dx, dy]| {
                let (x, y) = (dot[0] + dx, dot[1] + 4.0 + dy);
                let own = [x, y - LETTER[1], x + width, y + 3.0];
                let inside =
                    own[0] > -RADIUS && own[2] < RADIUS && own[1] > -RADIUS && own[3] < RADIUS;
                (inside && is_free(own, taken)).then(|| {
                    taken.push(own);
                    [x, y]
                })
            });
            (dot, label)
        })
        .collect()
}

pub(super) fn f(value: f64) -> String {
    format!("{value:.1}")
}

/// Greys of depth; diagonal lines where to keep away; white where there is no
/// cell.
///
/// - `cell`: what lies at a place of the chart, up positive.
pub(super) fn picture<'a>(
    edge: usize,
    depths: &Depths,
    cell: &impl Fn(f64, f64) -> Option<&'a StockCell>,
) -> GreyImage {
    let mut pixels = Vec::with_capacity(edge * edge);
    for row in 0..edge {
        for column in 0..edge {
            let place = |i: usize| (i as f64 + 0.5) / edge as f64 * 2.0 * RADIUS - RADIUS;
            pixels.push(match cell(place(column), -place(row)) {
                None => 255,
                Some(cell) if !cell.dangers.is_empty() && (row + column) % 8 < 2 => 20,
                Some(cell) => cell.depth_mm().map_or(250, |depth| depths.grey(depth)),
            });
        }
    }
    GreyImage { width: edge, height: edge, pixels }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pilothole_plan::Format;

    #[test]
    fn a_place_and_its_direction_belong_together() {
        let text = "schema = \"pilothole/plan/1\"\nside = \"right\"\ncoordinates = \"LPS\"\n[socket]\n\
                    centre_mm = [0.0, 0.0, 0.0]\naxis = [-0.6, 0.0, -0.8]\nouter_diameter_mm = 54.0\n";
        let plan = Plan::parse(text, Format::Toml).expect("sound");
        let sky = Sky::of(&plan);
        for (x, y) in [(0.0, 0.0), (40.0, -30.0), (-100.0, 90.0)] {
            let direction = sky.direction(x, y).expect("inside");
            let back = sky.place(direction);
            assert!((back.0 - x).abs() < 1e-6 && (back.1 - y).abs() < 1e-6, "{back:?}");
        }
        assert!(sky.direction(RADIUS, RADIUS).is_none());
    }
}
