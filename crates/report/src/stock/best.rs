//! The directions worth looking at first.

use pilothole_assess::stock::{Stock, StockCell, StockChart, StockOrigin};
use pilothole_plan::Plan;

use crate::number::{Unit, hu, mm};
use crate::picture::direction_words;
use crate::text::{CAUTION, harmless, listed};

/// Directions named from the socket's centre at most.
const MOST_FROM_CENTRE: usize = 6;
/// Seats named at most.
const MOST_SEATS: usize = 12;
/// Directions nearer than this to a better one are not named again, rad: 15°,
/// the half-angle of a seat's cone.
const APART_RAD: f64 = 15.0 * std::f64::consts::PI / 180.0;

/// A direction, and from where it is looked at.
pub(super) struct Best<'a> {
    pub(super) origin: StockOrigin,
    pub(super) cell: &'a StockCell,
}

/// Cells that hold the screw without danger, the longest purchase first; of
/// equal ones the stronger.
fn by_purchase(chart: &StockChart) -> Vec<&StockCell> {
    let mut cells: Vec<&StockCell> = chart
        .cells
        .iter()
        .filter(|cell| {
            let is_known = cell.length_mm.is_some() && cell.side_wall_mm.is_some();
            cell.dangers.is_empty() && is_known && cell.purchase_mm > 0.0
        })
        .collect();
    cells.sort_by(|a, b| better(a, b));
    cells
}

fn better(a: &StockCell, b: &StockCell) -> std::cmp::Ordering {
    let force = |cell: &StockCell| cell.pullout_n.unwrap_or(0.0);
    b.purchase_mm.total_cmp(&a.purchase_mm).then(force(b).total_cmp(&force(a)))
}

/// The best directions from the socket's centre, 15° apart.
pub(super) fn from_centre(stock: &Stock) -> Vec<Best<'_>> {
    let mut named: Vec<Best<'_>> = Vec::new();
    let Some(chart) = stock.from_centre() else { return named };
    for cell in by_purchase(chart) {
        let far = |b: &Best<'_>| b.cell.direction.angle_rad(cell.direction) >= APART_RAD;
        if named.len() < MOST_FROM_CENTRE && named.iter().all(far) {
            named.push(Best { origin: chart.origin, cell });
        }
    }
    named
}

/// The best direction of each seat, the best seats first.
pub(super) fn from_seats(stock: &Stock) -> Vec<Best<'_>> {
    let mut named: Vec<Best<'_>> = stock
        .charts
        .iter()
        .filter(|chart| chart.origin != StockOrigin::Centre)
        .filter_map(|chart| {
            Some(Best { origin: chart.origin, cell: by_purchase(chart).first().copied()? })
        })
        .collect();
    named.sort_by(|a, b| better(a.cell, b.cell));
    named.truncate(MOST_SEATS);
    named
}

/// Where a direction leads, in words of anatomy.
pub(super) fn heading(cell: &StockCell, plan: &Plan) -> String {
    direction_words(cell.direction.components(), plan.side)
}

/// What a terminal shows of a stock: the best directions from the socket's
/// centre, at most 25 lines of 80 columns.
pub fn stock_words(stock: &Stock, plan: &Plan) -> String {
    let cells: usize = stock.charts.iter().map(|chart| chart.cells.len()).sum();
    let screw = crate::text::shortened(&stock.screw, 30);
    let best = from_centre(stock);
    let mut lines = vec![format!("{cells} directions looked at with screw {screw}")];
    if best.is_empty() {
        lines.push("no direction from the socket's centre holds it without danger".to_owned());
    } else {
        lines.push("best from the socket's centre, 15\u{b0} apart:".to_owned());
        lines.push(format!(
            "  {:<24} {:^20}  {:>8} {:>11} {:>8}",
            "towards", "L     P     S", "bone mm", "purchase mm", "HU"
        ));
    }
    for Best { cell, .. } in best {
        let [l, p, s] = cell.direction.components();
        let shown =
            |unit: Unit, kept: Option<f64>| kept.map_or("unknown".to_owned(), |v| unit.show(v));
        lines.push(format!(
            "  {:<24} {l:>+6.2} {p:>+6.2} {s:>+6.2}  {:>8} {:>11} {:>8}",
            heading(cell, plan),
            shown(Unit::Mm, cell.depth_mm().and_then(mm)),
            shown(Unit::Mm, mm(cell.purchase_mm)),
            shown(Unit::Hu, cell.thread_hu.and_then(hu)),
        ));
    }
    lines.extend(reservations(stock).iter().flat_map(|line| crate::text::wrapped(line, 80)));
    lines.extend(crate::text::wrapped(CAUTION, 80));
    lines.join("\n")
}

/// One sentence a reservation, with its code; charts without bone in one.
fn reservations(stock: &Stock) -> Vec<String> {
    let without = without_bone(stock);
    let bare = (!without.is_empty()).then(|| {
        let from = match without.len() {
            all if all == stock.charts.len() => "any seat".to_owned(),
            1..=3 => listed(&without),
            many => format!("{many} of {} seats", stock.charts.len()),
        };
        format!("{NO_BONE}: no direction meets bone from {from}")
    });
    let others = stock.findings.iter().filter(|finding| finding.code != NO_BONE);
    bare.into_iter()
        .chain(others.map(|finding| format!("{}: {}", finding.code, harmless(&finding.text))))
        .collect()
}

/// Code of a chart without bone.
pub(super) const NO_BONE: &str = "stock.no_bone";

/// Names of the charts without bone.
pub(super) fn without_bone(stock: &Stock) -> Vec<String> {
    stock
        .charts
        .iter()
        .filter(|chart| chart.cells.iter().all(|cell| cell.near_mm.is_none()))
        .map(|chart| chart.origin.name())
        .collect()
}
