//! What a run says when it ends: counts, which cases and why, what to do next.

use std::collections::BTreeMap;

use pilothole_study::cohort::{Named, RunSummary, Shard};

use crate::terminal::{COLUMNS, wrapped};

/// Cases of one group that are named.
const NAMED: usize = 5;

/// Columns of a group's count.
const COUNT: usize = 8;

/// The end message, at most [`COLUMNS`] wide. It names cases by their ids.
pub(super) fn told(summary: &RunSummary, shard: Shard) -> Vec<String> {
    let counts = format!(
        "{}: {} done, {} refused, {} unfinished; {} skipped as recorded, {} redone",
        counted(summary.cases, "case", "cases"),
        summary.done,
        summary.refused.len(),
        summary.unfinished.len(),
        summary.skipped,
        summary.redone.len()
    );
    let mut lines = wrapped(&counts, COLUMNS, 0);
    lines.extend(grouped("refused, by first reason", &summary.refused, Clone::clone));
    lines.extend(grouped("redone", &summary.redone, |why| why.word().to_owned()));
    lines.extend(grouped("unfinished", &summary.unfinished, ToString::to_string));
    lines.extend(grouped("larger than --memory; ran alone", &summary.too_large, |bytes| {
        format!("about {} MiB", bytes >> 20)
    }));
    let notes = [
        (summary.manifest_changed, "the manifest changed under the run"),
        (summary.part_missing, "this shard's part could not be written"),
        (summary.without_locks, "this file system cannot lock; do not start two runs on it"),
    ];
    lines.extend(notes.iter().filter(|(is_so, _)| *is_so).map(|(_, text)| (*text).to_owned()));
    lines.extend(wrapped(next(summary, shard), COLUMNS, 0));
    lines
}

/// What to run now.
fn next(summary: &RunSummary, shard: Shard) -> &'static str {
    let incomplete =
        !summary.unfinished.is_empty() || summary.manifest_changed || summary.part_missing;
    match (incomplete, shard == Shard::WHOLE) {
        (true, _) if summary.unfinished.is_empty() => "next: the same command again",
        (true, _) => {
            "next: the same command again; what cannot be read or fails each time needs \
             mending first, its last words are in .private/logs of the output folder"
        }
        (false, true) => "next: the same command with --gather, for the tables",
        (false, false) => {
            "next: once every shard has ended, the same command with --gather in place of \
             --shard, for the tables"
        }
    }
}

/// A heading and one entry for each thing said, most cases first.
fn grouped<T>(heading: &str, cases: &[Named<T>], said: impl Fn(&T) -> String) -> Vec<String> {
    if cases.is_empty() {
        return Vec::new();
    }
    let mut groups: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for case in cases {
        groups.entry(said(&case.what)).or_default().push(&case.case);
    }
    let mut groups: Vec<_> = groups.into_iter().collect();
    groups.sort_by_key(|(_, ids)| std::cmp::Reverse(ids.len()));
    let mut lines = vec![heading.to_owned()];
    lines.extend(groups.iter().flat_map(|(what, ids)| group(what, ids)));
    lines
}

/// `   3  geometry.gap: a b c`, broken where it is too wide.
fn group(what: &str, ids: &[&str]) -> Vec<String> {
    let named = ids[..ids.len().min(NAMED)].join(" ");
    let more = match ids.len() - ids.len().min(NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let mut lines = wrapped(&format!("{what}: {named}{more}"), COLUMNS, COUNT);
    if let Some(first) = lines.first_mut() {
        *first = format!("{:>width$}  {}", ids.len(), first.trim_start(), width = COUNT - 2);
    }
    lines
}

/// `1 case`, `2 cases`.
pub(super) fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use pilothole_study::cohort::{Failure, Redo};

    use super::*;

    fn named<T>(ids: impl IntoIterator<Item = usize>, what: impl Fn() -> T) -> Vec<Named<T>> {
        ids.into_iter().map(|row| Named { row, case: format!("p{row:03}"), what: what() }).collect()
    }

    #[test]
    fn a_run_says_which_cases_and_why_and_what_comes_next() {
        let mut refused = named([4, 9], || "geometry.gap".to_owned());
        refused.extend(named(10..17, || "plan.side".to_owned()));
        let summary = RunSummary {
            cases: 40,
            done: 28,
            refused,
            skipped: 12,
            redone: named([1], || Redo::Damaged),
            unfinished: named([2, 3, 5], || Failure::Signal { signal: 9 }),
            ..RunSummary::default()
        };
        let expected = "\
40 cases: 28 done, 9 refused, 3 unfinished; 12 skipped as recorded, 1 redone
refused, by first reason
     7  plan.side: p010 p011 p012 p013 p014 and 2 more
     2  geometry.gap: p004 p009
redone
     1  its record is damaged: p001
unfinished
     3  its process was ended by signal 9: p002 p003 p005
next: the same command again; what cannot be read or fails each time needs
mending first, its last words are in .private/logs of the output folder";
        assert_eq!(told(&summary, Shard::WHOLE).join("\n"), expected);
    }

    #[test]
    fn a_run_without_trouble_says_two_lines() {
        let summary = RunSummary { cases: 1, done: 1, ..RunSummary::default() };
        let expected = "\
1 case: 1 done, 0 refused, 0 unfinished; 0 skipped as recorded, 0 redone
next: the same command with --gather, for the tables";
        assert_eq!(told(&summary, Shard::WHOLE).join("\n"), expected);
        let shard = "1/4".parse().expect("a shard");
        let last = told(&summary, shard).pop().expect("a line");
        assert!(last.contains("--shard, for the tables"), "{last}");
    }

    #[test]
    fn no_line_is_wider_than_a_terminal() {
        let long = |row: usize| format!("{}{row}", "x".repeat(62));
        let cases: Vec<Named<u64>> =
            (10..90).map(|row| Named { row, case: long(row), what: 1 << 40 }).collect();
        let summary = RunSummary {
            cases: 123_456_789,
            done: 123_456_789,
            too_large: cases,
            unfinished: named(0..90_000, || Failure::OddReport {
                at: "/reconstruction/orientation",
            }),
            manifest_changed: true,
            part_missing: true,
            without_locks: true,
            ..RunSummary::default()
        };
        let lines = told(&summary, Shard::WHOLE);
        assert!(lines.iter().all(|line| line.chars().count() <= COLUMNS), "{lines:#?}");
        assert!(lines.len() < 24, "{}", lines.len());
    }
}
