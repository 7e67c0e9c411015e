//! `plan`: getting a plan, and looking whether it is sound.

use pilothole_study::{CaseParams, Side, check_plan, first_plan, imported_plan, read_frame};

use crate::args::{PlanCommand, SideOf};
use crate::terminal::{self, Failure};

/// Run one of the plan commands.
pub(crate) fn run(command: &PlanCommand) -> Result<u8, Failure> {
    let params = CaseParams::timeless();
    match command {
        PlanCommand::New { scan, side, centre, axis, diameter } => {
            let side = match side {
                SideOf::Left => Side::Left,
                SideOf::Right => Side::Right,
            };
            let text = first_plan(scan, side, [*centre, *axis], *diameter, &params)
                .map_err(Failure::of(false))?;
            terminal::data(&text);
        }
        PlanCommand::Import { table, base, frame } => {
            let frame = frame
                .as_deref()
                .map(read_frame)
                .transpose()
                .map_err(Failure::of(false))?
                .unwrap_or(pilothole_study::Frame::Same);
            let imported = imported_plan(table, base, &frame).map_err(Failure::of(false))?;
            if let Some([worst, rms]) = imported.residuals_mm {
                terminal::say(&format!(
                    "paired points fit to {rms:.3} mm rms, {worst:.3} mm at worst"
                ));
            }
            terminal::data(&imported.toml);
        }
        PlanCommand::Check { plan, scan, json } => {
            let sound = check_plan(plan, scan.as_deref(), &params).map_err(Failure::of(*json))?;
            terminal::data(&if *json { sound.json() } else { sound.words() });
        }
    }
    Ok(0)
}
