//! Charts as tables: CSV for reading, NPY for computing.

use std::io::{self, Write};

use super::chart::{Stock, StockCell, StockChart};

/// Heads of the table's numbers, after the chart's number; a missing value is
/// an empty cell in CSV and not-a-number in NPY.
pub const STOCK_COLUMNS: [&str; 23] = [
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
    "thread_mean_hu",
    "pullout_n",
    "beyond_bone_mm",
    "beyond_metal_mm",
    "beyond_skin_mm",
    "beyond_scan_end_mm",
    "bone",
    "dangers",
];

fn numbers(chart: &StockChart, index: usize, cell: &StockCell) -> [Option<f64>; 23] {
    let (polar, azimuth) =
        chart.place_of(index).map_or((0.0, 0.0), |(ring, azimuth)| (ring.polar_rad, azimuth));
    let [seat_l, seat_p, seat_s] = cell.seat.0;
    let [l, p, s] = cell.direction.components();
    [
        Some(polar.to_degrees()),
        Some(azimuth.to_degrees()),
        Some(seat_l),
        Some(seat_p),
        Some(seat_s),
        Some(l),
        Some(p),
        Some(s),
        cell.near_mm,
        cell.far_mm,
        cell.depth_mm(),
        Some(cell.cortical_mm),
        Some(cell.cancellous_mm),
        cell.length_mm,
        Some(cell.purchase_mm),
        cell.thread_hu,
        cell.pullout_n,
        cell.beyond.bone_mm,
        cell.beyond.metal_mm,
        cell.beyond.skin_mm,
        cell.beyond.scan_end_mm,
        cell.bone.map(f64::from),
        Some(f64::from(cell.dangers.bits())),
    ]
}

/// Write every direction of every chart as a line.
///
/// Columns: `chart` (its origin's name), then [`STOCK_COLUMNS`]; `dangers` as
/// words joined by `+`. Numbers are as short as they can be and still read
/// back to the last digit.
///
/// # Errors
///
/// Those of the writer.
pub fn write_stock_csv(stock: &Stock, to: &mut impl Write) -> io::Result<()> {
    writeln!(to, "chart,{}", STOCK_COLUMNS.join(","))?;
    for chart in &stock.charts {
        let name = chart.origin.name();
        for (index, cell) in chart.cells.iter().enumerate() {
            write!(to, "{name}")?;
            let row = numbers(chart, index, cell);
            for value in &row[..row.len() - 1] {
                match value {
                    Some(number) => write!(to, ",{number}")?,
                    None => write!(to, ",")?,
                }
            }
            let dangers: Vec<_> = cell.dangers.words().collect();
            writeln!(to, ",{}", dangers.join("+"))?;
        }
    }
    Ok(())
}

/// Write every direction of every chart as a record of an NPY file.
///
/// A one-dimensional structured array, little-endian: `chart` (position of the
/// chart, from 0) and [`STOCK_COLUMNS`], each a 64-bit float; `dangers` one
/// bit a danger.
///
/// # Errors
///
/// Those of the writer.
///
/// # References
///
/// Enhancement Proposal 1 of `NumPy`, NPY format, version 1.0.
pub fn write_stock_npy(stock: &Stock, to: &mut impl Write) -> io::Result<()> {
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
    to.write_all(b"\x93NUMPY\x01\x00")?;
    to.write_all(&(head.len() as u16).to_le_bytes())?;
    to.write_all(head.as_bytes())?;
    for (at, chart) in stock.charts.iter().enumerate() {
        for (index, cell) in chart.cells.iter().enumerate() {
            to.write_all(&(at as f64).to_le_bytes())?;
            for value in numbers(chart, index, cell) {
                to.write_all(&value.unwrap_or(f64::NAN).to_le_bytes())?;
            }
        }
    }
    Ok(())
}
