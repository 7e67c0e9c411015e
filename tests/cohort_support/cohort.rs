//! `cohort` as the program has it, and makers of cases.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

use pilothole_study::cohort::{
    CaseRunner, CohortError, Freshness, GatherParams, Hooks, Keep, RunParams, RunSummary, Shard,
    gather, run,
};

use crate::args::Args;
use crate::report::{hex, report};

/// Bytes that every made-up case is said to need.
const ESTIMATE: u64 = 1000;

/// `cohort MANIFEST --out DIR [--shard I/N] [--jobs N] [--memory BYTES]
/// [--gather] [--threshold-hu X] [--case-limit S] [--keep NAME] [--bytes]`,
/// and `--sleep`, `--state` for the cases.
pub(crate) fn cohort(args: &Args) -> ExitCode {
    let ([manifest], Some(out)) = (args.words.as_slice(), args.get("out")) else {
        return ExitCode::from(2);
    };
    let places = (PathBuf::from(manifest), PathBuf::from(out));
    let ended = if args.has("gather") { gathered(places) } else { ran(args, places) };
    match ended {
        Ok(status) => ExitCode::from(status),
        Err(error) => {
            say(&format!("error: {error}"));
            ExitCode::from(error.exit_status())
        }
    }
}

fn gathered((manifest, out): (PathBuf, PathBuf)) -> Result<u8, CohortError> {
    let caution = "Decision support for research and planning; not a medical device. A licensed \
                   surgeon decides; local codes prevail.";
    let summary = gather(&GatherParams { manifest, out, caution: caution.to_owned() })?;
    say(&format!(
        "gathered {} cases: {} done, {} refused, {} unfinished, {} holes",
        summary.cases, summary.done, summary.refused, summary.unfinished_count, summary.holes
    ));
    Ok(summary.exit().status())
}

fn ran(args: &Args, (manifest, out): (PathBuf, PathBuf)) -> Result<u8, CohortError> {
    let mut unkeyed = vec!["--parent".to_owned(), std::process::id().to_string()];
    for flag in ["sleep", "state"] {
        unkeyed.extend(args.get(flag).iter().flat_map(|v| [format!("--{flag}"), (*v).to_owned()]));
    }
    let threshold = args.get("threshold-hu");
    let runner = CaseRunner {
        program: std::env::current_exe().unwrap_or_default(),
        first: vec!["assess".into()],
        flags: threshold
            .iter()
            .flat_map(|v| ["--threshold-hu".to_owned(), (*v).to_owned()])
            .collect(),
        unkeyed,
        version: "stand-in 1".to_owned(),
    };
    let params = RunParams {
        manifest,
        out,
        shard: args.get("shard").map_or(Ok(Shard::WHOLE), str::parse)?,
        jobs: args.number("jobs").unwrap_or(1) as usize,
        memory: args.number("memory"),
        case_limit: args.number("case-limit").map(Duration::from_secs),
        keep: args.get("keep").map_or(Keep::ReportOnly, |name| Keep::Named(vec![name.to_owned()])),
        freshness: if args.has("bytes") { Freshness::Bytes } else { Freshness::FileTimes },
    };
    let hooks = Hooks { estimate: &|_scan| Some(ESTIMATE), observe: &|_event| {} };
    let summary = run(&params, &runner, &hooks)?;
    tell(&summary);
    Ok(summary.exit().status())
}

fn tell(summary: &RunSummary) {
    say(&format!(
        "{} cases: {} done, {} refused, {} skipped, {} redone, {} unfinished, most memory {}",
        summary.cases,
        summary.done,
        summary.refused.len(),
        summary.skipped,
        summary.redone.len(),
        summary.unfinished.len(),
        summary.most_memory,
    ));
    for redone in &summary.redone {
        say(&format!("redone: case {}: {}", redone.case, redone.what.word()));
    }
    for unfinished in &summary.unfinished {
        say(&format!("unfinished: case {}: {}", unfinished.case, unfinished.what));
    }
    if summary.manifest_changed {
        say("the manifest changed under the run");
    }
    if summary.part_missing {
        say("the part could not be written");
    }
}

fn say(text: &str) {
    // A closed standard error is no reason to end.
    let _said = writeln!(io::stderr(), "{text}");
}

/// `scans COUNT --out DIR [--faults N]`: a manifest of small cases, one in
/// twenty refused; with `--faults N` one in N of the rest ends badly once.
pub(crate) fn scans(args: &Args) -> ExitCode {
    let count = args.words.first().and_then(|n| n.parse().ok()).unwrap_or(0_usize);
    let Some(out) = args.get("out") else { return ExitCode::from(2) };
    let made = make_scans(Path::new(out), count, args.number("faults").unwrap_or(0) as usize);
    if made.is_ok() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn make_scans(out: &Path, count: usize, faults: usize) -> io::Result<()> {
    use std::fmt::Write as _;
    const FAULTS: [&str; 7] = ["kill", "panic", "abort", "silent", "garbage", "half", "mute"];
    fs::create_dir_all(out)?;
    fs::write(out.join("plan.toml"), "schema = \"pilothole/plan/1\"\n")?;
    let mut manifest = "case,scan,plan,site\n".to_owned();
    for at in 0..count {
        let name = format!("{at:06}");
        let behaviour = match at % 20 {
            7 => "refuse geometry.gap".to_owned(),
            13 if at % 40 == 13 => "refuse-plan plan.outside_scan".to_owned(),
            _ if faults > 0 && at % faults == 3 => FAULTS[at / faults % FAULTS.len()].to_owned(),
            _ => "well".to_owned(),
        };
        let text = format!("holes {} {behaviour}\n{name}\n", 2 + at % 5);
        fs::write(out.join(format!("scan-{name}")), text)?;
        let _written = writeln!(manifest, "{name},scan-{name},plan.toml,site {}", at % 3);
    }
    fs::write(out.join("manifest.csv"), manifest)
}

/// `parts COUNT --out DIR --shards N [--holes N]`: parts of COUNT made-up
/// cases without the cases themselves, and their manifest `DIR/manifest.csv`;
/// for measuring a gathering. DIR must have seen a run.
pub(crate) fn parts(args: &Args) -> ExitCode {
    let count = args.words.first().and_then(|n| n.parse().ok()).unwrap_or(0_usize);
    let Some(out) = args.get("out") else { return ExitCode::from(2) };
    let shards = args.number("shards").unwrap_or(100) as usize;
    let holes = args.number("holes").unwrap_or(8) as usize;
    let made = make_parts(Path::new(out), count, shards, holes);
    if made.is_ok() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn make_parts(out: &Path, count: usize, shards: usize, holes: usize) -> io::Result<()> {
    use std::fmt::Write as _;
    let recipe = fs::read_to_string(out.join(".private/recipe"))?;
    let key = fs::read(out.join(".private/key"))?;
    let root = out.parent().unwrap_or(out);
    let lines: Vec<String> = (0..400).map(|seed| template(seed, holes)).collect();
    let mut manifest = "case,scan,plan,site\n".to_owned();
    for row in 0..count {
        let _written = writeln!(manifest, "{row:06},scan,plan.toml,site {}", row % 3);
    }
    fs::write(root.join("many.csv"), manifest)?;
    let places = places(&key);
    for shard in 0..shards {
        let mut text = String::new();
        for row in (shard..count).step_by(shards) {
            let head = format!(
                "{{\"row\":{},\"case\":\"{row:06}\",\"outcome\":\"done\",\"recipe\":\"{}\",\"places\":\"{places}\",",
                row + 1,
                recipe.trim()
            );
            text += &head;
            text += &lines[row % lines.len()];
            text.push('\n');
        }
        fs::write(out.join(format!("parts/{shard:05}-of-{shards:05}.ndjson")), text)?;
    }
    Ok(())
}

/// The rest of a line: what the tables take of a report.
fn template(seed: usize, holes: usize) -> String {
    let made = report(&seed.to_string(), holes);
    let empty = Vec::new();
    let list = made["holes"].as_array().unwrap_or(&empty);
    let flat: Vec<serde_json::Value> =
        list.iter().enumerate().map(|(at, hole)| flattened(at, hole)).collect();
    serde_json::json!({"values": {"outcome": "done", "holes": holes}, "holes": flat, "findings": []})
        .to_string()
        .trim_start_matches('{')
        .to_owned()
}

fn flattened(at: usize, hole: &serde_json::Value) -> serde_json::Value {
    let mut values = serde_json::Map::new();
    values.insert("hole".to_owned(), (at + 1).into());
    for (name, value) in hole.as_object().into_iter().flatten() {
        if value.is_number() || value.is_string() {
            values.insert(name.clone(), value.clone());
        }
    }
    for set in ["core", "thread", "axis"] {
        for (name, value) in hole["hu"][set].as_object().into_iter().flatten() {
            values.insert(format!("hu.{set}.{name}"), value.clone());
        }
    }
    values.into()
}

/// The seal of `scan` and `plan.toml`, as the library makes it.
fn places(key: &[u8]) -> String {
    use sha2::{Digest as _, Sha256};
    let mut inner = Sha256::new();
    for part in [key, b"scan", b"plan.toml"] {
        inner.update((part.len() as u64).to_le_bytes());
        inner.update(part);
    }
    let inner = inner.finalize();
    let parts = [key, &inner[..]];
    let joined: Vec<u8> = parts
        .iter()
        .flat_map(|part| [&(part.len() as u64).to_le_bytes()[..], part].concat())
        .collect();
    hex(&joined)
}
