//! Charts as files: the same numbers in each, and none without bone drawn.

use pilothole_assess::Beyond;
use pilothole_assess::stock::{Dangers, Ring, Stock, StockCell, StockChart, StockOrigin};
use pilothole_plan::{Format, Plan};
use pilothole_report::{
    STOCK_COLUMNS, stock_bone_ply, stock_csv, stock_html, stock_npy, stock_ply, stock_words,
};
use pilothole_surface::{Extract, SurfaceNets};
use pilothole_volume::{Direction, Field, Grid, PatientPoint};

fn plan() -> Plan {
    let text = "schema = \"pilothole/plan/1\"\nside = \"right\"\ncoordinates = \"LPS\"\n[socket]\n\
                centre_mm = [0.0, 0.0, 0.0]\naxis = [0.0, 0.0, -1.0]\nouter_diameter_mm = 50.0\n";
    Plan::parse(text, Format::Toml).expect("sound")
}

/// A chart of rings 10° apart; bone as deep as `depth_mm` says of the cell.
fn chart(origin: StockOrigin, bands: usize, depth_mm: impl Fn(usize) -> Option<f64>) -> StockChart {
    let pole = Direction::SUPERIOR;
    let mut first = 0;
    let rings: Vec<Ring> = (0..=bands)
        .map(|band| {
            let ring = Ring { polar_rad: 0.174 * band as f64, first, count: (6 * band).max(1) };
            first += ring.count;
            ring
        })
        .collect();
    let cells = rings
        .iter()
        .flat_map(|ring| {
            (0..ring.count).map(move |at| pole.tilted(ring.polar_rad, ring.azimuth_rad(at)))
        })
        .enumerate()
        .map(|(at, direction)| {
            let depth = depth_mm(at);
            StockCell {
                seat: PatientPoint([0.0; 3]) + direction * 25.0,
                direction,
                bone: depth.map(|_| 1),
                near_mm: depth.map(|_| 0.123_456_7),
                far_mm: depth.map(|mm| mm + 0.123_456_7),
                cortical_mm: Some(0.1 + 0.2),
                cancellous_mm: None,
                length_mm: depth.filter(|mm| *mm > 20.0).map(|_| 20.0),
                purchase_mm: depth.unwrap_or(0.0).min(20.0),
                side_wall_mm: depth.map(|mm| mm / 9.0),
                thread_hu: depth.map(|mm| 300.0 + mm / 3.0),
                pullout_n: depth.map(|mm| 100.0 * mm),
                beyond: Beyond::default(),
                dangers: if depth.is_none() { Dangers::NO_BONE } else { Dangers::default() },
            }
        })
        .collect();
    StockChart { origin, pole, rings, cells }
}

fn stock() -> Stock {
    let deep = |at: usize| (!at.is_multiple_of(3)).then(|| 10.0 + at as f64 / 7.0);
    let charts = vec![
        chart(StockOrigin::Centre, 9, deep),
        chart(StockOrigin::Socket(0), 2, |_| Some(30.0)),
        chart(StockOrigin::Socket(1), 2, |_| None),
        chart(StockOrigin::Patch(0, 2), 2, |at| (at == 0).then_some(8.0)),
    ];
    Stock { screw: "HB 6.5".to_owned(), charts, findings: Vec::new() }
}

#[test]
fn csv_and_npy_hold_the_same_rounded_numbers() {
    let stock = stock();
    let count: usize = stock.charts.iter().map(|chart| chart.cells.len()).sum();
    let csv = stock_csv(&stock);
    let mut table = csv::Reader::from_reader(&csv[..]);
    let lines: Vec<csv::StringRecord> =
        table.records().collect::<Result<_, _>>().expect("a sound table");
    let npy = stock_npy(&stock);
    let head = 10 + usize::from(u16::from_le_bytes([npy[8], npy[9]]));
    assert!(npy.starts_with(b"\x93NUMPY\x01\x00") && head % 64 == 0);
    assert!(npy[10..].starts_with(b"{'descr': [('chart', '<f8'), ('polar_deg'"));
    let width = STOCK_COLUMNS.len() + 1;
    assert_eq!(npy.len(), head + count * 8 * width);
    assert_eq!(lines.len(), count);
    let rows = npy[head..].chunks_exact(8 * width);
    for (line, row) in lines.iter().zip(rows) {
        let cells: Vec<&str> = line.iter().collect();
        assert_eq!(cells.len(), width + 1, "the last column is the caution");
        for (text, bytes) in cells.iter().zip(row.chunks_exact(8)).take(width - 1).skip(1) {
            let number = f64::from_le_bytes(bytes.try_into().expect("eight bytes"));
            assert!(text.len() <= 10, "{text} has more digits than can be known");
            if text.is_empty() {
                assert!(number.is_nan());
            } else {
                assert_eq!(text.parse::<f64>().expect("a number").to_bits(), number.to_bits());
            }
        }
    }
    assert_eq!(&lines[0][width - 1], "no-bone");
}

#[test]
fn the_surface_has_a_vertex_a_direction_and_looks_into_bone() {
    let stock = stock();
    let ply = stock_ply(&stock, &plan()).expect("a surface");
    let end = b"end_header\n";
    let head = ply.windows(end.len()).position(|w| w == end).expect("a header") + end.len();
    let header = std::str::from_utf8(&ply[..head]).expect("text");
    let names: Vec<&str> =
        header.lines().filter_map(|line| line.strip_prefix("property float ")).collect();
    let want = [
        "x",
        "y",
        "z",
        "depth_mm",
        "purchase_mm",
        "side_wall_mm",
        "thread_mean_hu",
        "pullout_n",
        "hatched",
        "dangers",
    ];
    assert_eq!(names, want);
    let cells = &stock.charts[0].cells;
    assert!(header.contains(&format!("element vertex {}\n", cells.len())));
    let float = |at: usize| f32::from_le_bytes(ply[at..at + 4].try_into().expect("four bytes"));
    let (row, mut at) = (4 * want.len(), head);
    for cell in cells {
        let values: Vec<f32> = (0..want.len()).map(|i| float(at + 4 * i)).collect();
        assert!((f64::from(values[2]) - cell.seat.0[2]).abs() < 1e-5);
        assert_eq!(values[3].is_nan(), cell.near_mm.is_none());
        assert_eq!(values[8] > 0.5, !cell.dangers.is_empty());
        at += row;
    }
    let faces: Vec<[usize; 3]> = ply[at..]
        .chunks_exact(13)
        .map(|face| {
            std::array::from_fn(|i| {
                let bytes = face[1 + 4 * i..5 + 4 * i].try_into().expect("four bytes");
                u32::from_le_bytes(bytes) as usize
            })
        })
        .collect();
    let mut edges = std::collections::BTreeMap::new();
    for [a, b, c] in faces {
        let corner = |i: usize| cells[i].seat;
        let out = (corner(b) - corner(a)).cross(corner(c) - corner(a));
        assert!(out.dot(corner(a) - PatientPoint([0.0; 3])) > 0.0, "faces look out");
        for (from, to) in [(a, b), (b, c), (c, a)] {
            *edges.entry((from.min(to), from.max(to))).or_insert(0) += 1;
        }
    }
    // A disc: every edge has two faces but those of the rim.
    let rim = stock.charts[0].rings.last().map_or(0, |ring| ring.count);
    assert_eq!(edges.values().filter(|count| **count == 1).count(), rim);
    assert!(edges.values().all(|count| *count <= 2));
}

#[test]
fn one_picture_shows_all_seats_and_a_table_names_the_best() {
    let page = stock_html(&stock(), &plan(), "0123456789abcdef");
    assert_eq!(page.matches("<figure").count(), 2, "the centre and the socket");
    assert_eq!(page.matches("class=\"seat\"").count(), 2, "a seat without bone is a disc too");
    assert!(page.contains(">socket-1</th>") && !page.contains(">socket-2</th>"));
}

#[test]
fn every_number_of_the_page_is_in_the_table() {
    let stock = stock();
    let page = stock_html(&stock, &plan(), "0123456789abcdef");
    let csv = stock_csv(&stock);
    let table = std::str::from_utf8(&csv).expect("text");
    let mut walked = 0;
    for row in page.split("<tr><th scope=\"row\">").skip(1) {
        let (origin, cells) = row.split_once("</th>").expect("a head");
        let numbers: Vec<&str> = cells
            .split("</tr>")
            .next()
            .expect("a row ends")
            .split("<data value=\"")
            .skip(1)
            .filter_map(|rest| rest.split_once('"'))
            .map(|(number, _)| number)
            .collect();
        assert_eq!(numbers.len(), 6, "{row:.400}");
        let holds = |line: &&str| {
            let of_csv: Vec<&str> = line.split(',').collect();
            of_csv[0] == origin && numbers.iter().all(|n| of_csv.contains(n))
        };
        assert!(table.lines().any(|line| holds(&line)), "{origin}: {numbers:?}");
        walked += numbers.len();
    }
    assert!(walked >= 20, "{walked}");
}

#[test]
fn the_terminal_gets_few_short_lines_of_the_best_directions() {
    let words = stock_words(&stock(), &plan());
    assert!(
        words.lines().count() <= 25 && words.lines().all(|l| l.chars().count() <= 80),
        "{words}"
    );
    assert!(
        words.contains("not a medical device") && words.contains("  posterior and medial "),
        "{words}"
    );
}

#[test]
fn the_bone_has_values_where_a_direction_meets_it_first() {
    // A ball about the socket's centre, its surface 25.123 mm away, sampled as a
    // distance within: the chart's bone begins 0.123 mm outside a socket of 50 mm.
    let grid = Grid::from_axes(
        [60; 3],
        PatientPoint([-29.5; 3]),
        [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR],
        [1.0; 3],
    )
    .expect("square");
    let inside_mm =
        |at| (25.123 - (grid.centre_of(at) - PatientPoint([0.0; 3])).length_mm()) as f32;
    let places = (0..60).flat_map(|z| (0..60).flat_map(move |y| (0..60).map(move |x| [x, y, z])));
    let field = Field::new(grid.clone(), places.map(inside_mm).collect()).expect("as many");
    let bone = SurfaceNets.extract_field(&field).expect("a surface").closed().expect("closed");
    let ply = stock_bone_ply(&stock(), &plan(), &bone).expect("a chart");
    let end = b"end_header\n";
    let head = ply.windows(end.len()).position(|w| w == end).expect("a header") + end.len();
    let float = |at: usize| f32::from_le_bytes(ply[at..at + 4].try_into().expect("four bytes"));
    let (mut valued, mut below) = (0, 0);
    for corner in 0..bone.mesh().vertices.len() {
        let at = head + corner * 40;
        let (z, depth, hatched) = (float(at + 8), float(at + 12), float(at + 32));
        below += usize::from(z < -5.0);
        assert!(z > -5.0 || (depth.is_nan() && hatched.is_nan()), "outside the hemisphere");
        valued += usize::from(depth.is_finite());
    }
    assert!(valued > 500 && below > 500, "{valued} {below}");
}
