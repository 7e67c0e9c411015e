//! Sentences: the verdict of the set, what to look at, why a grade.

use crate::number::Unit;
use crate::record::{FindingRecord, HoleRecord, Record};
use crate::text::{counted, label, listed, shortened};

/// Longest remark made from a finding's own sentence, in characters.
const REMARK: usize = 48;

/// Said where there is nothing to look at.
pub(crate) const NOTHING: &str = "nothing in particular";

/// Codes that lead to a grade: the sentence for each, in which `{}` stands for
/// the number it is about.
const REASONS: [(&str, &str); 13] = [
    ("path.no_bone", "The path meets no bone."),
    ("path.leaves_scan", "The path leaves the scan before the bone ends, so its depth is unknown."),
    ("path.unmeasured", "The scan holds no value where the thread would be."),
    ("length.none_stocked", "No stocked length is safe here."),
    ("grade.low_trust", "Too much of the purchase lies where the numbers cannot be trusted."),
    ("grade.long_purchase", "The purchase is long."),
    ("grade.medium_purchase", "The purchase is of middling length."),
    ("grade.short_purchase", "The purchase is short."),
    ("grade.two_cortices", "The screw holds two cortices."),
    ("grade.dense", "The bone around the thread is dense."),
    ("grade.medium_density", "The bone around the thread is of middling density."),
    ("grade.soft", "The bone around the thread is soft."),
    ("side.breach", "The screw breaks out sideways, which costs one step."),
];

/// What to look at, in few words, by code, heaviest first; the rest show their
/// own sentence.
const SHORT: [(&str, &str); 40] = [
    ("set.not_held", "the set does not hold the part"),
    ("set.no_screw", "no screw holds"),
    ("length.none_stocked", "no safe stocked length"),
    ("path.no_bone", "no bone on the path"),
    ("path.leaves_scan", "path leaves the scan"),
    ("path.unmeasured", "scan has no values here"),
    ("path.walls_within", "two walls inside: one bone?"),
    ("path.border_guessed", "may cross into the sacrum"),
    ("set.mouth_medial", "socket opens to the midline"),
    ("access.blocked", "drill is blocked"),
    ("side.breach", "breaks out sideways"),
    ("length.raised", "longer than planned, and breaks out"),
    ("length.end_doubtful", "tip may stand outside: far end doubtful"),
    ("clash.screws", "too near another screw"),
    ("clash.metal", "too near metal"),
    ("access.unreliable", "bit will not stay on the slope"),
    ("guides.stuck", "sleeve cannot be withdrawn"),
    ("length.planned_unsafe", "planned length is unsafe"),
    ("access.aside", "a bone must be moved aside"),
    ("access.skives", "bit may skive"),
    ("side.thin", "thin bone beside it"),
    ("path.crosses_joint", "touches another bone at the end"),
    ("path.no_cortex", "no cortex shows at an end"),
    ("path.seat_in_bone", "seat lies in bone"),
    ("set.barely_held", "the set barely holds the part"),
    ("set.rests_on_one", "the set rests on one screw"),
    ("set.no_ischial_screw", "no firm screw a drill reaches in the ischium"),
    ("load.movement", "moves more than bone grows into"),
    ("load.pullout", "pull-out used up under load"),
    ("load.bending", "bending used up under load"),
    ("load.unreachable", "counts screws no drill reaches"),
    ("metal.near", "metal near"),
    ("robust.keeps_margin", "margin easily lost"),
    ("robust.stays_inside", "easily leaves sideways"),
    ("robust.keeps_grade", "grade easily lost"),
    ("kit.no_length", "nothing to order"),
    ("order.late", "filled late"),
    ("clash.near", "shares bone with another screw"),
    ("bone.touching", "bones touch here"),
    ("pixels.saturated", "saturated numbers on the path"),
];

/// Remarks of a hole that a table has room for.
const REMARKS: usize = 2;

/// Place of a code among the heavy ones; those not listed come after.
pub(crate) fn weight(code: &str) -> usize {
    SHORT.iter().position(|(known, _)| *known == code).unwrap_or(SHORT.len())
}

/// The few words for a code, where there are any.
pub(crate) fn short(code: &str) -> Option<&'static str> {
    SHORT.iter().find(|(known, _)| *known == code).map(|(_, words)| *words)
}

/// The grade's reasons as sentences.
pub(crate) fn reasons(hole: &HoleRecord) -> Vec<String> {
    hole.reasons
        .iter()
        .map(|code| {
            let known = REASONS.iter().find(|(known, _)| known == code);
            known.map_or_else(|| format!("{code}."), |(_, sentence)| (*sentence).to_owned())
        })
        .collect()
}

/// The mark that stands before a grade's word, told apart without colour.
pub(crate) fn grade_mark(grade: &str) -> &'static str {
    match grade {
        "good" => "\u{25cf}",
        "fair" => "\u{25d0}",
        "poor" => "\u{25cb}",
        "none" => "\u{2715}",
        _ => "?",
    }
}

/// What a reader should look at in a hole, heaviest first.
pub(crate) fn look_at(record: &Record, hole: &HoleRecord) -> String {
    joined(&remarks_of(record, hole), REMARKS)
}

/// As [`look_at`], with as many remarks as a width takes whole; the first is
/// always there.
pub(crate) fn look_at_within(record: &Record, hole: &HoleRecord, width: usize) -> String {
    let remarks = remarks_of(record, hole);
    let fits = |words: &String| words.chars().count() <= width;
    let most = (1..=REMARKS).rev().map(|most| joined(&remarks, most)).find(fits);
    most.unwrap_or_else(|| match &remarks[..] {
        [first, rest @ ..] if !rest.is_empty() => {
            let more = format!(" +{}", rest.len());
            format!("{}{more}", shortened(first, width.saturating_sub(more.len())))
        }
        _ => joined(&remarks, 1),
    })
}

/// The first remarks, and how many more there are.
fn joined(remarks: &[String], most: usize) -> String {
    if remarks.is_empty() {
        return NOTHING.to_owned();
    }
    let mut words = remarks[..most.min(remarks.len())].to_vec();
    if remarks.len() > most {
        words.push(format!("{} more", remarks.len() - most));
    }
    words.join("; ")
}

/// Everything to look at in a hole, heaviest first.
fn remarks_of(record: &Record, hole: &HoleRecord) -> Vec<String> {
    let mut remarks: Vec<(usize, String)> = Vec::new();
    let mut heavy: Vec<&FindingRecord> =
        record.findings_of(&hole.id).filter(|f| f.changes_plan()).collect();
    heavy.sort_by_key(|f| weight(&f.code));
    for same in heavy.chunk_by(|a, b| a.code == b.code) {
        remarks.push((weight(&same[0].code), remark(same, &hole.id)));
    }
    for (code, words) in of_set(record, hole) {
        if !heavy.iter().any(|f| f.code == code) {
            remarks.push((weight(code), words));
        }
    }
    let margin = hole.robust.as_ref().and_then(|r| r.keeps_margin).filter(|share| *share < 0.8);
    if let Some(share) = margin {
        let words = format!("margin kept in only {} %", Unit::Percent.show(share));
        remarks.push((weight("length.planned_unsafe"), words));
    }
    remarks.sort_by_key(|(weight, _)| *weight);
    remarks.into_iter().map(|(_, words)| words).collect()
}

/// What the set says of a hole: code and words.
fn of_set(record: &Record, hole: &HoleRecord) -> Vec<(&'static str, String)> {
    let Some(set) = &record.set else { return Vec::new() };
    let mut remarks = Vec::new();
    if let Some(access) = set.access.iter().find(|a| a.hole == hole.id && !a.clear) {
        let by: Vec<String> = access.blocks.iter().map(|b| b.obstacle.clone()).collect();
        remarks.push(("access.blocked", format!("drill is blocked by {}", listed(&by))));
    }
    let met: Vec<String> = set
        .clash
        .iter()
        .filter_map(|clash| match &hole.id {
            id if *id == clash.a => Some(label(&clash.b)),
            id if *id == clash.b => Some(label(&clash.a)),
            _ => None,
        })
        .collect();
    if !met.is_empty() {
        remarks.push(("clash.screws", format!("too near {}", listed(&met))));
    }
    remarks
}

/// Why a screw that the kit orders may have no place as planned.
pub(crate) struct Mark<'a> {
    /// Id of its hole.
    pub(crate) hole: &'a str,
    /// The finding's code.
    pub(crate) code: &'static str,
    /// Few words.
    pub(crate) words: String,
}

/// Codes of a hole itself that mark its screw in the kit.
const MARKING_HOLE: [&str; 3] = ["side.breach", "length.end_doubtful", "path.border_guessed"];

/// Codes that mark a screw of the kit: what [`of_set`] says, then a hole's own.
pub(crate) fn marking() -> impl Iterator<Item = &'static str> {
    ["access.blocked", "clash.screws"].into_iter().chain(MARKING_HOLE)
}

/// Of the holes of a kit's line, those whose screw has a code of [`marking`]; in
/// the line's order.
pub(crate) fn marks<'a>(record: &Record, holes: &'a [String]) -> Vec<Mark<'a>> {
    let marked = |id: &'a String| {
        let hole = record.holes.iter().find(|hole| hole.id == *id);
        let said = hole.map(|hole| of_set(record, hole)).unwrap_or_default();
        let own = MARKING_HOLE
            .into_iter()
            .filter(|code| record.findings_of(id).any(|finding| finding.code == *code))
            .map(|code| (code, short(code).unwrap_or(code).to_owned()));
        let all: Vec<(&str, String)> = said.into_iter().chain(own).collect();
        all.into_iter().map(move |(code, words)| Mark { hole: id, code, words })
    };
    holes.iter().flat_map(marked).collect()
}

/// Findings of one code about a hole in few words.
fn remark(same: &[&FindingRecord], about: &str) -> String {
    let partners: Vec<String> = same
        .iter()
        .flat_map(|f| [&f.hole, &f.other])
        .flatten()
        .filter(|id| *id != about)
        .map(|id| shortened(id, 14))
        .collect();
    let words = short(&same[0].code)
        .map_or_else(|| shortened(same[0].text.trim_end_matches('.'), REMARK), str::to_owned);
    match (same[0].code.as_str(), partners.is_empty()) {
        ("clash.screws", false) => format!("too near {}", listed(&partners)),
        (_, false) => format!("{words} ({})", partners.join(", ")),
        (_, true) => words,
    }
}

/// The verdict of the set in one sentence.
pub(crate) fn verdict(record: &Record) -> String {
    let all = record.holes.len();
    if all == 0 {
        return "The plan has no holes.".to_owned();
    }
    let graded = |word: &str| record.holes.iter().filter(|h| h.purchase == word).count();
    let mut parts = vec![format!("{} of {} good", graded("good"), counted(all, "hole", "holes"))];
    let rest = ["fair", "poor", "none", "unknown"];
    parts.extend(rest.map(|word| (word, graded(word))).into_iter().filter_map(|(word, count)| {
        let words = match word {
            "none" => "graded none",
            other => other,
        };
        (count > 0).then(|| format!("{count} {words}"))
    }));
    let mut clauses = vec![listed(&parts)];
    clauses.extend(room(record));
    clauses.extend(hold(record));
    let mut sentence = clauses.join("; ");
    sentence.push('.');
    sentence
}

/// Clashes and access.
fn room(record: &Record) -> Vec<String> {
    let Some(set) = &record.set else { return Vec::new() };
    let blocked = set.access.iter().filter(|a| !a.clear).count();
    let mut clauses = vec![match set.clash.len() {
        0 => "no two screws meet".to_owned(),
        n => {
            let meet = set.clash.iter().filter(|c| c.gap_mm.is_some_and(|gap| gap < 0.0)).count();
            match meet {
                0 => format!("{} of screws too near", counted(n, "pair", "pairs")),
                all if all == n => counted(n, "pair of screws collides", "pairs of screws collide"),
                some => format!(
                    "{n} pairs of screws too near, {some} of them {}",
                    if some == 1 { "collides" } else { "collide" }
                ),
            }
        }
    }];
    if !set.access.is_empty() {
        clauses.push(match blocked {
            0 => "a drill reaches every hole".to_owned(),
            n => format!("no drill reaches {}", counted(n, "hole", "holes")),
        });
    }
    clauses
}

/// Load.
fn hold(record: &Record) -> Vec<String> {
    let Some(load) = record.set.as_ref().and_then(|s| s.load.as_ref()) else {
        return vec!["load not computed".to_owned()];
    };
    let word = load.tier.as_deref().unwrap_or(crate::number::UNKNOWN);
    match load.worst_um {
        _ if load.held < 6 => {
            vec![format!("the set does not hold the part ({} of 6 directions)", load.held)]
        }
        Some(moved) => {
            let all = Unit::Micron.show(moved);
            let moves =
                format!("in everyday loads the hip centre moves up to {all} \u{b5}m ({word})");
            let code = "load.unreachable";
            let without = record.findings.iter().find(|f| f.code == code).and_then(|f| f.measured);
            vec![match without {
                Some(rest) => {
                    let rest = Unit::Micron.show(rest);
                    format!("{moves}, {rest} \u{b5}m without the screws that no drill reaches")
                }
                None => moves,
            }]
        }
        None => vec!["movement under load unknown".to_owned()],
    }
}

/// What was asked, in one sentence.
pub(crate) fn question(record: &Record) -> String {
    let text = |name: &str| {
        record.parameter(name).map(|p| match &p.value {
            crate::record::Value::Text(text) => label(text),
            crate::record::Value::Number(n) => crate::number::trimmed(*n),
        })
    };
    let side = text("side").map_or_else(|| "the hip".to_owned(), |s| format!("the {s} hip"));
    format!(
        "Is there bone for {} around the socket of {side}, how much, how dense, and which screws \
         to order?",
        counted(record.holes.len(), "screw", "screws")
    )
}

/// The scan in one line.
pub(crate) fn scan_line(record: &Record) -> String {
    let scan = &record.scan;
    let voxel: Vec<String> = scan.voxel_mm.iter().map(|v| crate::number::fixed(*v, 2)).collect();
    let kvp = scan.kvp.map_or_else(
        || "tube voltage unknown".to_owned(),
        |kv| format!("{} kV", crate::number::trimmed(kv)),
    );
    let kernel = scan
        .kernel
        .as_deref()
        .map_or("kernel unknown".to_owned(), |k| format!("{} kernel", label(k)));
    let digest: String = scan.digest.chars().take(12).collect();
    format!(
        "scan {digest}\u{2026}, {} \u{d7} {} \u{d7} {} voxels of {} mm, {kvp}, {kernel}",
        scan.size[0],
        scan.size[1],
        scan.size[2],
        voxel.join(" \u{d7} ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_grade_has_its_own_mark() {
        let marks = ["good", "fair", "poor", "none", "unknown"].map(grade_mark);
        for (index, mark) in marks.iter().enumerate() {
            assert!(!marks[..index].contains(mark));
        }
    }
}
