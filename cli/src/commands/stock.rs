//! `stock`: the bone-stock chart.

use pilothole_study::{ChartWishes, write_chart};

use super::measure::{replace, resolve};
use crate::args::Stock;
use crate::terminal::{self, Failure};

/// Chart the bone around a socket.
pub(crate) fn run(args: &Stock) -> Result<u8, Failure> {
    let json = args.measure.json;
    let params = resolve(&args.measure)?;
    let wishes = ChartWishes {
        screw: args.screw.clone(),
        spacing_deg: args.spacing_deg,
        seat_spacing_mm: args.seat_spacing_mm,
    };
    let out = (args.out.out.as_path(), replace(&args.out));
    let text =
        write_chart(&args.scan, &args.plan, out, &params, &wishes).map_err(Failure::of(json))?;
    if json {
        terminal::data(&serde_json::json!({ "text": text }).to_string());
    } else {
        terminal::data(&text);
        terminal::data(&terminal::place("chart", &args.out.out.join("stock.html")));
    }
    Ok(0)
}
