//! One file a command.

mod assess;
mod bone;
mod cohort;
mod compare;
mod demo;
mod inspect;
mod landmarks;
mod measure;
mod phantom;
mod plan;
mod refine;
mod screws;
mod stock;

use crate::args::{Args, Command, SchemaOf};
use crate::interrupt::{Search, listen};
use crate::terminal::{self, Failure};

/// Run what was typed; the exit status.
pub(crate) fn run(args: Args) -> Result<u8, Failure> {
    let search = Search::default();
    listen(&search);
    let result = run_one(args, &search);
    search.wait_if_ending();
    result
}

fn run_one(args: Args, search: &Search) -> Result<u8, Failure> {
    match args.command {
        Command::Demo(args) => demo::run(&args),
        Command::Inspect(args) => inspect::run(&args),
        Command::Bone(args) => bone::run(&args),
        Command::Assess(args) => assess::run(&args),
        Command::Stock(args) => stock::run(&args),
        Command::Refine(args) => refine::run(&args, search),
        Command::Compare(args) => compare::run(&args),
        Command::Cohort(args) => Ok(cohort::run(&args)),
        Command::Phantom(args) => phantom::run(&args),
        Command::Plan(args) => plan::run(&args.command),
        Command::Landmarks(args) => landmarks::run(&args),
        Command::Screws => {
            screws::run();
            Ok(0)
        }
        Command::Schema(args) => {
            terminal::data(&match args.of {
                SchemaOf::Plan => pilothole_study::plan_schema(),
                SchemaOf::Report => pilothole_study::report_schema(),
            });
            Ok(0)
        }
    }
}
