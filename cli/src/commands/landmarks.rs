//! `landmarks`: hip centres to be confirmed.

use pilothole_study::{CaseParams, Replace, Side, propose_landmarks};

use crate::args::Landmarks;
use crate::terminal::{self, Failure};

/// Propose hip centres near the given points, else wherever the scan shows a
/// hip.
pub(crate) fn run(args: &Landmarks) -> Result<u8, Failure> {
    let hints: Vec<(Side, [f64; 3])> = [(Side::Left, args.left), (Side::Right, args.right)]
        .into_iter()
        .filter_map(|(side, at)| Some((side, at?)))
        .collect();
    let replace = if args.replace { Replace::Anything } else { Replace::EarlierResults };
    let out = args.out.as_deref().map(|out| (out, replace));
    let params = CaseParams { series: args.series, ..CaseParams::timeless() };
    let text = propose_landmarks(&args.scan, &hints, out, &params).map_err(Failure::of(false))?;
    terminal::data(&text);
    Ok(0)
}
