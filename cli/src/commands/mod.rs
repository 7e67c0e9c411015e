//! One file a command.

mod assess;
mod demo;
mod inspect;
mod measure;
mod screws;

use crate::args::{Args, Command, SchemaOf};
use crate::terminal::{self, Failure};

/// Run what was typed; the exit status.
pub(crate) fn run(args: Args) -> Result<u8, Failure> {
    match args.command {
        Command::Demo(args) => demo::run(&args),
        Command::Inspect(args) => inspect::run(&args),
        Command::Bone(_) => Ok(1),
        Command::Assess(args) => assess::run(&args),
        Command::Screws => screws::run(),
        Command::Schema(args) => {
            terminal::data(&match args.of {
                SchemaOf::Plan => pilothole_study::plan_schema(),
                SchemaOf::Report => pilothole_study::report_schema(),
            });
            Ok(0)
        }
    }
}
