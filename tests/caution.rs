//! Every file of every command says what its numbers are not, and what a
//! command prints fits a terminal.

mod every_command;

use std::io::Read as _;

use every_command::{World, results, run};
use flate2::read::GzDecoder;
use pilothole_phantom::SeriesHeader;
use pilothole_tests::said;

/// Ends of names that cannot carry the caution, or say nothing of a patient,
/// and why.
const WITHOUT: [(&str, &str); 7] = [
    (".npy", "an NPY header holds types and a shape, nothing else"),
    ("theatre.pdf", "its text is packed; tests/browser/theatre.mjs reads it page by page"),
    (".dcm", "a phantom's own scan"),
    ("truth.json", "a phantom's answers"),
    ("phantom/plan.toml", "a phantom's plan: input, not result"),
    ("case.json", "a cohort's note of what ran: no measurement"),
    ("parts", "a cohort's half-made tables, gathered into those that carry it"),
];

#[test]
fn every_file_carries_the_caution_and_no_command_fills_a_terminal() {
    let home = tempfile::tempdir().expect("a folder");
    let world = World::make(home.path(), "a", &SeriesHeader::default());
    for words in world.commands("a", "2") {
        let ran = run(&words);
        // A ball has no head of a femur to propose.
        let expected = ran.status.code() == Some(0) || words[0] == "landmarks";
        assert!(expected, "{words:?}: {}", said(&ran).1);
        fits_a_terminal(&words, &said(&ran), &home.path().to_string_lossy());
    }
    let mut carried = 0;
    let mut met = [false; WITHOUT.len()];
    for (place, bytes) in results(&world.out) {
        let known = WITHOUT
            .iter()
            .position(|(end, _)| place.ends_with(end) || place.contains(&format!("/{end}/")));
        if let Some(known) = known {
            met[known] = true;
            continue;
        }
        let mut plain = bytes;
        let kind = place.rsplit('.').next();
        if kind == Some("gz") {
            let packed = std::mem::take(&mut plain);
            GzDecoder::new(&packed[..]).read_to_end(&mut plain).expect("gzip");
        }
        let words = String::from_utf8_lossy(&plain);
        // A table without a row has the head only.
        let is_empty = kind == Some("csv") && words.lines().count() == 1;
        let wanted = if is_empty { ",caution" } else { "not a medical device" };
        assert!(words.contains(wanted), "{place} lacks the caution");
        carried += 1;
    }
    assert!(carried > 25, "{carried}");
    let unmet: Vec<&str> =
        WITHOUT.iter().zip(met).filter(|(_, met)| !met).map(|((end, _), _)| *end).collect();
    assert!(unmet.is_empty(), "no file ends so any more: {unmet:?}");
}

/// A terminal takes it: 25 lines of 80 columns; JSON, schemas and plan files
/// are data, and a path is as long as it is.
fn fits_a_terminal(words: &[String], (out, talk): &(String, String), home: &str) {
    let starts = |with: &[&str]| words.iter().zip(with).all(|(word, with)| word == with);
    let is_data = words.iter().any(|word| word == "--json")
        || starts(&["schema"])
        || starts(&["plan", "new"])
        || starts(&["plan", "import"]);
    for text in [if is_data { "" } else { out.as_str() }, talk.as_str()] {
        let wide = text.lines().find(|l| l.chars().count() > 80 && !l.contains(home));
        assert_eq!(wide, None, "{words:?}");
        assert!(text.lines().count() <= 25, "{words:?}: {} lines", text.lines().count());
    }
}
