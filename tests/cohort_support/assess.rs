//! One case, well or badly.

use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

use pilothole_study::cohort::end_with;
use serde_json::{Value, json};

use crate::args::Args;
use crate::report::report;

/// `assess SCAN PLAN --out DIR [--sleep MS] [--state DIR] [--parent PID]`
pub(crate) fn assess(args: &Args) -> ExitCode {
    if let Some(parent) = args.number("parent").and_then(|p| u32::try_from(p).ok())
        && !end_with(parent)
    {
        return ExitCode::FAILURE;
    }
    let ([scan, plan], Some(out)) = (args.words.as_slice(), args.get("out")) else {
        return ExitCode::from(2);
    };
    std::thread::sleep(Duration::from_millis(args.number("sleep").unwrap_or(0)));
    let (Ok(scan_text), Ok(plan_text)) = (read(Path::new(scan)), fs::read_to_string(plan)) else {
        return ExitCode::FAILURE;
    };
    let mut words = scan_text.split_whitespace().skip(1);
    let holes = words.next().and_then(|n| n.parse().ok()).unwrap_or(0);
    match (words.next(), words.next()) {
        (Some("refuse"), Some(code)) => return refuse(code, 3),
        (Some("refuse-plan"), Some(code)) => return refuse(code, 4),
        (Some("well"), _) => {}
        (Some(fault), _) if first_time(args, &scan_text) => return go_wrong(fault, Path::new(out)),
        _ => {}
    }
    let threshold = args.get("threshold-hu").unwrap_or("226");
    let made = report(&format!("{scan_text}\0{plan_text}\0{threshold}"), holes);
    if write(Path::new(out), &made).is_ok() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// A file, or all files of a folder in the order of their names.
fn read(scan: &Path) -> std::io::Result<String> {
    if !scan.is_dir() {
        return fs::read_to_string(scan);
    }
    let mut files: Vec<_> =
        fs::read_dir(scan)?.map(|e| e.map(|e| e.path())).collect::<Result<_, _>>()?;
    files.sort();
    files.into_iter().map(fs::read_to_string).collect()
}

fn write(out: &Path, report: &Value) -> std::io::Result<()> {
    fs::create_dir_all(out)?;
    fs::write(out.join("report.json"), report.to_string())?;
    fs::write(out.join("holes.csv"), "id\n")?;
    fs::write(out.join("bone.stl"), vec![0; 1 << 12])
}

fn refuse(code: &str, status: u8) -> ExitCode {
    let text = "Slices lie 4.0 mm apart where 1.5 mm are allowed.";
    let reason = json!({"code": code, "text": text, "measured": 4.0, "limit": 1.5, "unit": "mm"});
    let said = writeln!(std::io::stdout(), "{}", json!({"refused": [reason]}));
    if said.is_ok() { ExitCode::from(status) } else { ExitCode::FAILURE }
}

/// Whether this scan is met for the first time.
fn first_time(args: &Args, scan: &str) -> bool {
    let Some(state) = args.get("state") else { return false };
    let name = crate::report::hex(scan.as_bytes());
    let made = fs::create_dir_all(state)
        .and_then(|()| fs::File::create_new(Path::new(state).join(name)).map(|_marker| ()));
    made.is_ok()
}

fn go_wrong(fault: &str, out: &Path) -> ExitCode {
    // What goes wrong here is meant to; whether its traces can be written
    // does not matter.
    let _made = fs::create_dir_all(out);
    match fault {
        "kill" => end_self(),
        "panic" => panic!("a decoder met something"),
        "abort" => std::process::abort(),
        "garbage" => {
            let _wrote = fs::write(out.join("report.json"), [0xff_u8; 100]);
        }
        "half" => {
            let whole = report("half", 3).to_string();
            let _wrote = fs::write(out.join("report.json"), &whole[..whole.len() / 2]);
        }
        "mute" => return ExitCode::from(3),
        "hang" => std::thread::sleep(Duration::from_mins(10)),
        _ => {}
    }
    ExitCode::SUCCESS
}

/// As a system out of memory would.
fn end_self() {
    let me = std::process::id().to_string();
    let _ended = std::process::Command::new("kill").args(["-9", &me]).status();
}
