//! The few lines that a surgeon wants first.

use crate::number::Unit;
use crate::record::Record;
use crate::text::{shortened, wrapped};
use crate::words::verdict;

/// Few lines of at most `width` characters: the verdict, in as many as it
/// takes, then what to order, what to fill first, which holes
/// not to count on, which holes no drill reaches. None takes more than four.
pub fn brief(record: &Record, width: usize) -> String {
    let width = width.max(40);
    let lines = [
        format!("to order, mm: {}", orders(record)),
        format!("fill first, of those a drill reaches: {}", first(record)),
        format!("do not count on: {}", listed(&of_weak(record))),
        format!("no drill reaches: {}", blocked(record)),
    ];
    let verdict = wrapped(&verdict(record), width);
    let rest = lines.iter().flat_map(|line| wrapped(&shortened(line, 3 * width), width));
    verdict.into_iter().chain(rest).map(|line| line + "\n").collect()
}

fn listed(names: &[String]) -> String {
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}

/// Each screw once, with its lengths in mm as often as they are needed.
fn orders(record: &Record) -> String {
    let Some(kit) = &record.kit else { return "unknown".to_owned() };
    let mut by_screw: Vec<(&str, Vec<String>)> = Vec::new();
    for line in kit {
        let length = Unit::Stock.show(line.length_mm);
        let lengths = std::iter::repeat_n(length, line.count);
        match by_screw.iter_mut().find(|(screw, _)| *screw == line.screw) {
            Some((_, all)) => all.extend(lengths),
            None => by_screw.push((&line.screw, lengths.collect())),
        }
    }
    let words = by_screw.iter().map(|(screw, all)| format!("{screw}: {}", all.join(" ")));
    let text = words.collect::<Vec<_>>().join("; ");
    if text.is_empty() { "none".to_owned() } else { text }
}

fn first(record: &Record) -> String {
    match &record.order {
        Some(order) => {
            // Those that a drill reaches and that can be counted on.
            let left_out = [of_weak(record), of_blocked(record)].concat();
            let holes = order.iter().map(|step| step.hole.clone());
            listed(&holes.filter(|hole| !left_out.contains(hole)).take(4).collect::<Vec<_>>())
        }
        None => "unknown".to_owned(),
    }
}

fn of_weak(record: &Record) -> Vec<String> {
    let weak = |grade: &str| !matches!(grade, "good" | "fair");
    record.holes.iter().filter(|h| weak(&h.purchase)).map(|h| h.id.clone()).collect()
}

fn of_blocked(record: &Record) -> Vec<String> {
    let access = record.set.iter().flat_map(|set| &set.access);
    access.filter(|a| !a.clear).map(|a| a.hole.clone()).collect()
}

fn blocked(record: &Record) -> String {
    if record.set.is_some() { listed(&of_blocked(record)) } else { "unknown".to_owned() }
}
