//! `landmarks`: hip centres to be confirmed.

use pilothole_study::{CaseError, CaseParams, Side, propose_landmarks};

use crate::args::Landmarks;
use crate::terminal::{self, Failure};

/// Propose hip centres near the given points.
pub(crate) fn run(args: &Landmarks) -> Result<u8, Failure> {
    let hints: Vec<(Side, [f64; 3])> = [(Side::Left, args.left), (Side::Right, args.right)]
        .into_iter()
        .filter_map(|(side, at)| Some((side, at?)))
        .collect();
    if hints.is_empty() {
        let error = CaseError::Usage(
            "say where to look: --left X,Y,Z or --right X,Y,Z, a point inside a femoral head"
                .to_owned(),
        );
        return Err(Failure { error, json: false });
    }
    let params = CaseParams { series: args.series, ..CaseParams::timeless() };
    let text = propose_landmarks(&args.scan, &hints, &params).map_err(Failure::of(false))?;
    terminal::data(&text);
    Ok(0)
}
