//! `cohort`: many cases, each in a process of its own.

mod ended;

use std::path::Path;
use std::time::Duration;

use pilothole_study::cohort::{
    CaseRunner, CheckHooks, CohortError, Event, Freshness, GatherParams, GatherSummary, Hooks,
    Keep, RunParams, Shard, Verdict, check, gather, run as run_cases,
};
use pilothole_study::{CAUTION, CaseError, memory_estimate, plan_problems};

use self::ended::counted;
use crate::args::{Cohort, CohortCommand, Measure};
use crate::terminal::{self, Failure};

/// Run, gather or check a cohort.
pub(crate) fn run(args: &Cohort) -> u8 {
    let result = match &args.command {
        Some(CohortCommand::Check { manifest }) => checked(manifest),
        None => worked(args),
    };
    match result {
        Ok(status) => status,
        Err(error) => {
            terminal::say(&format!("error: {}", terminal::plain(&error.to_string())));
            error.exit_status()
        }
    }
}

fn checked(manifest: &Path) -> Result<u8, CohortError> {
    let hooks = CheckHooks { plan: &plan_problems, estimate: &memory_estimate };
    let summary = check(manifest, &hooks)?;
    let mut lines = vec![format!(
        "{}, {}",
        counted(summary.cases, "case", "cases"),
        counted(summary.problems.len(), "problem", "problems")
    )];
    if !summary.own_columns.is_empty() {
        lines.push(format!("columns of your own: {}", summary.own_columns.join(", ")));
    }
    if let Some((row, bytes)) = summary.largest {
        lines.push(format!("row {row} needs most memory, about {} MiB", bytes >> 20));
    }
    if summary.without_estimate > 0 {
        lines.push(format!(
            "{} whose memory cannot be told",
            counted(summary.without_estimate, "case", "cases")
        ));
    }
    lines.extend(
        summary.problems.iter().map(|p| format!("row {}: case {}: {}", p.row, p.case, p.text)),
    );
    terminal::data(&terminal::lines(&lines.join("\n")));
    Ok(summary.exit_status())
}

fn worked(args: &Cohort) -> Result<u8, CohortError> {
    // Both are required by the argument parser unless a subcommand is there.
    let (Some(manifest), Some(out)) = (args.manifest.clone(), args.out.clone()) else {
        return Ok(2);
    };
    if args.gather {
        let summary = gather(&GatherParams { manifest, out, caution: CAUTION.to_owned() })?;
        terminal::data(&terminal::lines(&gathered(&summary)));
        return Ok(summary.exit().status());
    }
    let params = RunParams {
        manifest,
        out,
        shard: args.shard.as_deref().map_or(Ok(Shard::WHOLE), str::parse)?,
        jobs: args.jobs.unwrap_or_else(rayon::current_num_threads).max(1),
        memory: args.memory,
        case_limit: args.case_limit.map(Duration::from_secs),
        keep: kept(args),
        freshness: if args.bytes { Freshness::Bytes } else { Freshness::FileTimes },
    };
    let runner = CaseRunner {
        program: std::env::current_exe().unwrap_or_default(),
        first: vec!["assess".into()],
        flags: flags(&args.measure),
        unkeyed: vec![
            "--threads".to_owned(),
            args.measure.threads.unwrap_or(1).to_string(),
            "--parent".to_owned(),
            std::process::id().to_string(),
        ],
        version: env!("CARGO_PKG_VERSION").to_owned(),
    };
    let hooks = Hooks { estimate: &memory_estimate, observe: &observe };
    let summary = run_cases(&params, &runner, &hooks)?;
    terminal::data(&terminal::lines(&ended::told(&summary, params.shard).join("\n")));
    Ok(summary.exit().status())
}

fn kept(args: &Cohort) -> Keep {
    if args.keep_all { Keep::Everything } else { Keep::named(&args.keep) }
}

/// The flags that a result depends on, for each case.
fn flags(measure: &Measure) -> Vec<String> {
    let mut flags = Vec::new();
    let mut push = |name: &str, value: Option<String>| {
        if let Some(value) = value {
            flags.push(format!("--{name}={value}"));
        }
    };
    push("series", measure.series.map(|n| n.to_string()));
    push("threshold-hu", measure.threshold_hu.map(|hu| hu.to_string()));
    push("calibration", measure.calibration.map(|[slope, base]| format!("{slope},{base}")));
    push("samples", measure.samples.map(|n| n.to_string()));
    push("seed", measure.seed.map(|n| n.to_string()));
    flags
}

fn observe(event: &Event<'_>) {
    if let Verdict::Unfinished(failure) = event.verdict {
        let text = format!("row {}: case {}: {failure}", event.row, event.case);
        terminal::say(&terminal::plain(&text));
    }
}

fn gathered(summary: &GatherSummary) -> String {
    let mut lines = vec![format!(
        "gathered {}: {} done, {} refused, {} without a final record; {}",
        counted(summary.cases, "case", "cases"),
        summary.done,
        summary.refused,
        summary.unfinished_count,
        counted(summary.holes, "hole", "holes")
    )];
    if summary.truths_unread > 0 {
        lines.push(format!(
            "known answers of {} cannot be read; their error columns are empty",
            counted(summary.truths_unread, "case", "cases")
        ));
    }
    if summary.left_by_the_dead > 0 {
        lines.push(format!(
            "{} left by runs that were killed",
            counted(summary.left_by_the_dead, "folder", "folders")
        ));
    }
    if summary.still_at_work > 0 {
        lines.push(counted(
            summary.still_at_work,
            "run is still at work",
            "runs are still at work",
        ));
    }
    lines.join("\n")
}

/// Let this case end with the run that started it.
pub(crate) fn follow(parent: Option<u32>) -> Result<(), Failure> {
    match parent {
        Some(parent) if !pilothole_study::cohort::end_with(parent) => Err(Failure {
            error: CaseError::Failed("the run that started this case has ended".to_owned()),
            json: false,
        }),
        _ => Ok(()),
    }
}
