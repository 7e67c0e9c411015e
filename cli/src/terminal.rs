//! What a person sees: progress, refusals, results.

#![expect(clippy::print_stderr, reason = "the one file that prints")]

use std::io::{IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;

use indicatif::{ProgressBar, ProgressStyle};
use pilothole_study::{CaseError, Reason, SHORT_CAUTION, Stage};

/// Columns of a terminal that nobody measured.
pub(crate) const COLUMNS: usize = 80;

/// Why a command ended without its result, and whether JSON was asked for.
#[derive(Debug)]
pub(crate) struct Failure {
    pub(crate) error: CaseError,
    pub(crate) json: bool,
}

impl Failure {
    pub(crate) fn of(json: bool) -> impl Fn(CaseError) -> Self {
        move |error| Self { error, json }
    }
}

/// Say how it ended and turn it into an exit status.
pub(crate) fn exit(result: Result<u8, Failure>) -> ExitCode {
    match result {
        Ok(status) => ExitCode::from(status),
        Err(failure) => {
            complain(&failure.error);
            if failure.json {
                data(&refused_json(failure.error.reasons()));
            }
            ExitCode::from(failure.error.exit_status())
        }
    }
}

/// Say that the fault is ours.
pub(crate) fn faulty(place: Option<String>) -> ExitCode {
    let place = place.unwrap_or_else(|| "an unknown place".to_owned());
    eprintln!("error: a fault in pilothole itself, at {place}; the results were not written");
    eprintln!("next: report this place and the version, without the scan");
    ExitCode::from(1)
}

/// Print data on stdout; a closed pipe is not an error.
pub(crate) fn data(text: &str) {
    let mut out = std::io::stdout().lock();
    let end = if text.ends_with('\n') { "" } else { "\n" };
    if write!(out, "{text}{end}").and_then(|()| out.flush()).is_err() {
        // Nobody reads on.
    }
}

/// Print talk on stderr.
pub(crate) fn say(text: &str) {
    eprintln!("{text}");
}

fn complain(error: &CaseError) {
    let reasons = error.reasons();
    if reasons.is_empty() {
        talk(&format!("error: {error}"));
        return;
    }
    let mut next: Vec<&str> = Vec::new();
    for reason in reasons {
        talk(&refusal(reason));
        next.extend(reason.next.iter().map(String::as_str));
    }
    let mut said: Vec<&str> = Vec::new();
    for sentence in next {
        if !said.contains(&sentence) {
            talk(&format!("next: {sentence}"));
            said.push(sentence);
        }
    }
}

/// One sentence on stderr: in lines of 80 columns on a terminal, else
/// in one line, so that a log has a line a sentence.
fn talk(sentence: &str) {
    if std::io::stderr().is_terminal() {
        eprintln!("{}", hanging(sentence, COLUMNS).join("\n"));
    } else {
        eprintln!("{}", plain(sentence));
    }
}

/// A long line broken at blanks, all but the first part set in.
fn hanging(sentence: &str, columns: usize) -> Vec<String> {
    let mut lines = wrapped(sentence, columns, 2);
    if let Some(first) = lines.first_mut() {
        *first = first.trim_start().to_owned();
    }
    lines
}

fn refusal(reason: &Reason) -> String {
    let unit = reason.unit.filter(|unit| *unit != "1").map(|unit| format!(" {unit}"));
    let unit = unit.unwrap_or_default();
    let shown = |value: f64| (value * 1000.0).round() / 1000.0;
    let numbers = match (reason.measured.map(shown), reason.limit.map(shown)) {
        (Some(measured), Some(limit)) => {
            format!(" (measured {measured}{unit}, limit {limit}{unit})")
        }
        (Some(measured), None) => format!(" (measured {measured}{unit})"),
        _ => String::new(),
    };
    format!("refused: {}: {}{numbers}", reason.code, reason.text)
}

/// Without control characters, which a hostile file could use on a terminal.
pub(crate) fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// A long line broken at blanks, every part set in.
pub(crate) fn wrapped(text: &str, columns: usize, inset: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in plain(text).split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= columns => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(format!("{}{word}", " ".repeat(inset))),
        }
    }
    lines
}

/// What every screen of results ends with.
pub(crate) fn caution() -> Vec<String> {
    wrapped(SHORT_CAUTION, COLUMNS, 0)
}

/// Where a result lies, as the user named its folder.
pub(crate) fn place(what: &str, path: &Path) -> String {
    format!("{what}: {}", plain(&path.display().to_string()))
}

/// Many lines, each without control characters.
pub(crate) fn lines(text: &str) -> String {
    text.lines().map(plain).collect::<Vec<_>>().join("\n")
}

fn refused_json(reasons: &[Reason]) -> String {
    let rows: Vec<serde_json::Value> = reasons
        .iter()
        .map(|reason| {
            serde_json::json!({
                "code": reason.code,
                "text": reason.text,
                "measured": reason.measured,
                "limit": reason.limit,
                "unit": reason.unit,
            })
        })
        .collect();
    serde_json::json!({ "refused": rows }).to_string()
}

/// Progress on stderr when it is a terminal, else nothing.
pub(crate) struct Progress(Option<ProgressBar>);

impl Progress {
    pub(crate) fn begin() -> Self {
        if !std::io::stderr().is_terminal() {
            return Self(None);
        }
        let bar = ProgressBar::new(Stage::ALL.len() as u64);
        if let Ok(style) = ProgressStyle::with_template("{bar:20} {pos}/{len} {msg}, {eta} left") {
            bar.set_style(style);
        }
        Self(Some(bar))
    }

    pub(crate) fn told(&self, stage: Stage) {
        if let Some(bar) = &self.0 {
            let done = Stage::ALL.iter().position(|s| *s == stage).unwrap_or_default();
            bar.set_position(done as u64);
            bar.set_message(stage.words());
        }
    }

    pub(crate) fn end(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_sentence_hangs_in_eighty_columns() {
        let sentence = format!("refused: plan.range: {}", "a limit that is not kept ".repeat(9));
        let lines = hanging(&sentence, COLUMNS);
        assert!(lines.len() > 2 && lines[0].starts_with("refused: plan.range: a limit"));
        assert!(lines.iter().all(|line| line.chars().count() <= COLUMNS), "{lines:?}");
        assert!(lines[1..].iter().all(|line| line.starts_with("  ")));
        let words = lines.iter().flat_map(|line| line.split_whitespace());
        assert!(words.eq(sentence.split_whitespace()), "{lines:?}");
    }
}
