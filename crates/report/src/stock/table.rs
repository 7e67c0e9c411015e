//! Charts as tables: CSV for reading, NPY for computing. Both hold the same
//! numbers, rounded as `report.json` rounds them.

use pilothole_assess::stock::{Stock, StockCell, StockChart};

use crate::number::{deg, hu, kept, mm, newton};
use crate::table::{number, written};

/// Heads of the table's numbers, after the chart's; a missing value is an
/// empty cell in CSV and not-a-number in NPY.
pub const STOCK_COLUMNS: [&str; 24] = [
    "polar_deg",
    "azimuth_deg",
    "seat_l_mm",
    "seat_p_mm",
    "seat_s_mm",
    "direction_l",
    "direction_p",
    "direction_s",
    "near_cortex_mm",
    "far_cortex_mm",
    "bone_depth_mm",
    "cortical_mm",
    "cancellous_mm",
    "length_mm",
    "purchase_mm",
    "side_wall_mm",
    "thread_mean_hu",
    "pullout_n",
    "beyond_bone_mm",
    "beyond_metal_mm",
    "beyond_skin_mm",
    "beyond_scan_end_mm",
    "bone",
    "dangers",
];

fn numbers(chart: &StockChart, index: usize, cell: &StockCell) -> [Option<f64>; 24] {
    let (polar_rad, azimuth_rad) =
        chart.place_of(index).map_or((0.0, 0.0), |(ring, azimuth)| (ring.polar_rad, azimuth));
    let [seat_l, seat_p, seat_s] = cell.seat.0.map(mm);
    let [l, p, s] = cell.direction.components().map(|c| kept(c, 6));
    [
        deg(polar_rad),
        deg(azimuth_rad),
        seat_l,
        seat_p,
        seat_s,
        l,
        p,
        s,
        cell.near_mm.and_then(mm),
        cell.far_mm.and_then(mm),
        cell.depth_mm().and_then(mm),
        cell.cortical_mm.and_then(mm),
        cell.cancellous_mm.and_then(mm),
        cell.length_mm.and_then(mm),
        mm(cell.purchase_mm),
        cell.side_wall_mm.and_then(mm),
        cell.thread_hu.and_then(hu),
        cell.pullout_n.and_then(newton),
        cell.beyond.bone_mm.and_then(mm),
        cell.beyond.metal_mm.and_then(mm),
        cell.beyond.skin_mm.and_then(mm),
        cell.beyond.scan_end_mm.and_then(mm),
        cell.bone.map(f64::from),
        Some(f64::from(cell.dangers.bits())),
    ]
}

/// Every direction of every chart as a line.
///
/// Columns: `chart` (its origin's name), then [`STOCK_COLUMNS`]; `dangers` as
/// words joined by `+`.
pub fn stock_csv(stock: &Stock) -> Vec<u8> {
    let heads: Vec<&str> = std::iter::once("chart").chain(STOCK_COLUMNS).collect();
    let rows = stock.charts.iter().flat_map(|chart| {
        let name = chart.origin.name();
        chart.cells.iter().enumerate().map(move |(index, cell)| {
            let row = numbers(chart, index, cell);
            let values = row[..row.len() - 1].iter().map(|value| number(*value));
            let dangers = cell.dangers.words().collect::<Vec<_>>().join("+");
            std::iter::once(name.clone()).chain(values).chain([dangers]).collect()
        })
    });
    written(&heads, rows)
}

/// Every direction of every chart as a record of an NPY file.
///
/// A one-dimensional structured array, little-endian: `chart` (position of the
/// chart, from 0) and [`STOCK_COLUMNS`], each a 64-bit float; `dangers` one
/// bit a danger.
///
/// # References
///
/// Enhancement Proposal 1 of `NumPy`, NPY format, version 1.0.
pub fn stock_npy(stock: &Stock) -> Vec<u8> {
    let count: usize = stock.charts.iter().map(|chart| chart.cells.len()).sum();
    let fields: Vec<String> = std::iter::once("chart")
        .chain(STOCK_COLUMNS)
        .map(|name| format!("('{name}', '<f8')"))
        .collect();
    let mut head = format!(
        "{{'descr': [{}], 'fortran_order': False, 'shape': ({count},), }}",
        fields.join(", ")
    );
    // Magic, version and length take 10 bytes; all together a multiple of 64,
    // the last of them a line feed.
    while (10 + head.len() + 1) % 64 != 0 {
        head.push(' ');
    }
    head.push('\n');
    let mut bytes = b"\x93NUMPY\x01\x00".to_vec();
    bytes.extend((head.len() as u16).to_le_bytes());
    bytes.extend(head.as_bytes());
    for (at, chart) in stock.charts.iter().enumerate() {
        for (index, cell) in chart.cells.iter().enumerate() {
            bytes.extend((at as f64).to_le_bytes());
            for value in numbers(chart, index, cell) {
                bytes.extend(value.unwrap_or(f64::NAN).to_le_bytes());
            }
        }
    }
    bytes
}
