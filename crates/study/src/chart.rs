//! The bone-stock chart around a socket.

use std::path::Path;

use pilothole_assess::Scene;
use pilothole_assess::stock::{StockChart, StockOrigin, StockParams, stock};
use pilothole_assess::strength::StrengthParams;
use pilothole_plan::Plan;
use pilothole_report::{stock_bone_ply, stock_csv, stock_html, stock_npy, stock_ply, stock_words};

use crate::calibrate::{Calibrated, calibrate};
use crate::case::{Prepared, Stage};
use crate::error::CaseError;
use crate::folder::{Folder, Replace};
use crate::params::CaseParams;
use crate::plan_file::read_plan;
use crate::reason::Reason;
use crate::wrap::wrap;

/// Names that a chart's folder may hold.
const NAMES: [&str; 5] = ["stock.csv", "stock.npy", "stock.ply", "stock-bone.ply", "stock.html"];

/// What is asked of a chart.
#[derive(Clone, Debug)]
pub struct ChartWishes {
    /// Name of the screw; the first hole's unless said.
    pub screw: Option<String>,
    /// Angle between neighbouring directions, degrees; 1 unless said.
    pub spacing_deg: Option<f64>,
    /// Distance between seats on the socket, mm; 10 unless said.
    pub seat_spacing_mm: Option<f64>,
}

/// Chart the bone around a plan's socket; answers with what a terminal shows.
///
/// # Errors
///
/// [`CaseError`]; nothing is written then.
pub fn write_chart(
    scan: &Path,
    plan: &Path,
    out: (&Path, Replace),
    params: &CaseParams,
    wishes: &ChartWishes,
) -> Result<String, CaseError> {
    let folder = Folder::begin(out.0, &NAMES, out.1)?;
    let file = read_plan(plan)?;
    let prepared = Prepared::read(scan, &file.plan, params, &|_: Stage| ())?;
    let calibrated = calibrate(&file.plan, &prepared.intake, params)?;
    let line = calibrated.line().ok_or_else(|| {
        CaseError::Plan(vec![Reason::new(
            "plan.range",
            "no law of strength is stated in the calibration's mineral",
        )])
    })?;
    let screw = chosen_screw(&file.plan, wishes)?;
    let mut stock_params = StockParams::with(screw, StrengthParams::with(line));
    if let Some(spacing_deg) = wishes.spacing_deg {
        stock_params.spacing_rad = spacing_deg.to_radians();
    }
    if let Some(seat_spacing_mm) = wishes.seat_spacing_mm {
        stock_params.seat_spacing_mm = seat_spacing_mm;
    }
    let found = stock(&prepared.scene(), &file.plan, &stock_params)
        .map_err(|error| CaseError::Plan(vec![Reason::new(error.code(), error.to_string())]))?;
    folder.write("stock.csv", &stock_csv(&found))?;
    folder.write("stock.npy", &stock_npy(&found))?;
    if let Some(ply) = stock_ply(&found, &file.plan) {
        folder.write("stock.ply", &ply)?;
    }
    // Without a closed surface of the bone there is nothing to paint.
    let surface = wrap(&prepared.bones).ok();
    if let Some(ply) = surface.and_then(|bone| stock_bone_ply(&found, &file.plan, &bone)) {
        folder.write("stock-bone.ply", &ply)?;
    }
    let digest = crate::records::digest_words(&prepared.intake);
    folder.write("stock.html", stock_html(&found, &file.plan, &digest).as_bytes())?;
    folder.finish()?;
    Ok(stock_words(&found, &file.plan))
}

fn chosen_screw(plan: &Plan, wishes: &ChartWishes) -> Result<usize, CaseError> {
    let Some(name) = &wishes.screw else {
        return plan.holes.first().map(|hole| hole.screw).ok_or_else(|| {
            CaseError::Usage("the plan has no hole to take a screw from; add --screw".to_owned())
        });
    };
    plan.screws.iter().position(|screw| screw.name == *name).ok_or_else(|| {
        let known: Vec<&str> = plan.screws.iter().map(|screw| screw.name.as_str()).collect();
        CaseError::Usage(format!("the plan has no such screw; it has {}", known.join(", ")))
    })
}

/// The chart that a report shows: depth from the socket's centre, coarse.
///
/// `None` where it cannot be made: no hole, or no law for the calibration.
pub(crate) fn chart_of_report(
    scene: &Scene<'_>,
    plan: &Plan,
    calibrated: &Calibrated,
) -> Option<StockChart> {
    let screw = plan.holes.first()?.screw;
    let mut asked = StockParams::with(screw, StrengthParams::with(calibrated.line()?));
    asked.spacing_rad = REPORT_SPACING_RAD;
    asked.seat_spacing_mm = 200.0;
    asked.seat_half_angle_rad = 0.0;
    asked.thread = false;
    let found = stock(scene, plan, &asked).ok()?;
    found.charts.into_iter().find(|chart| chart.origin == StockOrigin::Centre)
}

/// Angle between directions of a report's chart, rad: 3°, so that a screw's
/// width at 60 mm is seen twice. `stock` makes a finer one.
const REPORT_SPACING_RAD: f64 = 3.0 * std::f64::consts::PI / 180.0;
