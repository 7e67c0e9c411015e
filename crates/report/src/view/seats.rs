//! Charts of many seats in one picture: each seat's cone as a small disc where
//! the seat lies.

use maud::{Markup, html};
use pilothole_assess::stock::{StockCell, StockChart, StockOrigin};
use pilothole_plan::Plan;
use pilothole_volume::{Direction, Offset};

use super::chart::{RADIUS, Sky, f, picture, rim, view_box};
use super::depths::Depths;

/// Pixels along an edge.
const EDGE: usize = 480;
/// Share of the chart's radius at which the mouth's plane stands, so that its
/// seats have room.
const INSET: f64 = 0.88;
/// Share of the way to the nearest other seat that a disc takes.
const FILL: f64 = 0.47;
/// Largest disc, in units of the picture: two seats still look like seats.
const LARGEST: f64 = 30.0;
/// Discs smaller than this are not numbered; the table names them.
const LEAST_NUMBERED: f64 = 9.0;

/// A seat's disc: its chart, where it stands (up positive), right and up there.
struct Disc<'a> {
    chart: &'a StockChart,
    number: usize,
    at: [f64; 2],
    axes: [Offset; 2],
}

/// The seats on the socket, seen from its mouth; `None` without any.
pub(crate) fn socket_figure(charts: &[StockChart], plan: &Plan) -> Option<Markup> {
    let sky = Sky::of(plan);
    let discs: Vec<Disc<'_>> = charts
        .iter()
        .filter_map(|chart| {
            let StockOrigin::Socket(index) = chart.origin else { return None };
            let (x, y) = sky.place(chart.pole);
            Some(Disc {
                chart,
                number: index + 1,
                at: [x, y].map(|c| c * INSET),
                axes: axes(&sky, chart.pole),
            })
        })
        .collect();
    let title = "Seats on the socket, seen from its mouth, each with the directions around its own";
    (!discs.is_empty()).then(|| figure(&discs, &sky.words(plan), title))
}

/// The seats on one patch of the plan, seen from outside the bone; `None`
/// without any.
pub(crate) fn patch_figure(charts: &[StockChart], plan: &Plan, patch: usize) -> Option<Markup> {
    let sky = Sky::of(plan);
    let place = plan.patches.get(patch)?;
    let [right, up] = axes(&sky, place.direction);
    let reach_mm = place.radius_mm.max(1.0);
    let discs: Vec<Disc<'_>> = charts
        .iter()
        .filter_map(|chart| {
            let StockOrigin::Patch(at, index) = chart.origin else { return None };
            let offset = chart.cells.first()?.seat - place.centre;
            let [x, y] = [right, up].map(|axis| axis.dot(offset) / reach_mm * INSET * RADIUS);
            let disc = Disc { chart, number: index + 1, at: [x, y], axes: [right, up] };
            (at == patch).then_some(disc)
        })
        .collect();
    let words = [up, right, -up, -right]
        .map(|axis| crate::picture::direction_words(axis.0, plan.side).replace(" and ", "-"));
    let title =
        "Seats on the patch, seen from outside the bone, each with the directions around its own";
    (!discs.is_empty()).then(|| figure(&discs, &words, title))
}

/// Right and up of the picture, carried to a pole by the least turn.
fn axes(sky: &Sky, pole: Direction) -> [Offset; 2] {
    let between = sky.pole.offset() + pole.offset();
    [sky.camera.right, sky.camera.up].map(|axis| {
        axis.offset() - between * (axis.dot(pole) / (1.0 + sky.pole.dot(pole)).max(1e-9))
    })
}

/// Radius of every disc, so that none meets another.
fn radius(discs: &[Disc<'_>]) -> f64 {
    let apart = |a: &Disc<'_>, b: &Disc<'_>| (a.at[0] - b.at[0]).hypot(a.at[1] - b.at[1]);
    discs
        .iter()
        .enumerate()
        .flat_map(|(at, a)| discs[..at].iter().map(move |b| apart(a, b) * FILL))
        .fold(LARGEST, f64::min)
}

/// What a disc shows at a place of it, in its radii; up positive.
fn cell<'a>(disc: &Disc<'a>, x: f64, y: f64) -> Option<&'a StockCell> {
    let edge_rad = disc.chart.rings.last()?.polar_rad;
    let tilt = x.hypot(y) * edge_rad;
    let azimuth = y.atan2(x);
    let across = disc.axes[0] * azimuth.cos() + disc.axes[1] * azimuth.sin();
    let direction = Direction::along(disc.chart.pole * tilt.cos() + across * tilt.sin())?;
    disc.chart.nearest(direction)
}

fn figure(discs: &[Disc<'_>], words: &[String; 4], title: &str) -> Markup {
    let radius = radius(discs);
    let shown = |x: f64, y: f64| {
        let near = discs.iter().find(|d| (x - d.at[0]).hypot(y - d.at[1]) <= radius)?;
        cell(near, (x - near.at[0]) / radius, (y - near.at[1]) / radius)
    };
    let depths = Depths::of(discs.iter().map(|disc| disc.chart));
    let image = picture(EDGE, &depths, &shown);
    html! {
        svg .chart viewBox=(view_box()) role="img"
            aria-label=(format!("{title}; {} is up. Darker is deeper, hatched is to be kept away from.", words[0])) {
            image .sky x=(-RADIUS) y=(-RADIUS) width=(2.0 * RADIUS) height=(2.0 * RADIUS) href=(image.uri()) {}
            (rim(words))
            @for disc in discs {
                @let [x, y] = [disc.at[0], -disc.at[1]];
                circle .seat cx=(f(x)) cy=(f(y)) r=(f(radius)) { title { (disc.chart.origin.name()) } }
                @if radius >= LEAST_NUMBERED {
                    text .tiny .quadrantname text-anchor="middle" x=(f(x)) y=(f(y + 3.5)) { (disc.number) }
                }
            }
            (depths.scale(false))
        }
    }
}
