//! Words that recur, and text from outside made harmless.

use std::fmt::{Arguments, Write};

/// What every page and every file that can carry it says first.
pub const CAUTION: &str = "Decision support for research and planning; not a medical device. \
     Hounsfield units along a path are not proof of hold. A licensed surgeon decides, on the \
     images and the patient; local codes and the law of the place prevail.";

/// The caution at the end of what a terminal shows, and in every row of a table.
pub const SHORT_CAUTION: &str = "Decision support for research and planning, not a medical \
     device. A licensed surgeon decides; local codes prevail.";

/// Longest text from a plan shown in a page, in characters.
///
/// An id of forty characters still fits a table at 390 px in two lines.
const MAX_SHOWN: usize = 40;

/// Text from outside, fit to be shown: no control characters, no line breaks,
/// no marks that turn the direction of what follows, no invisible characters.
///
/// Each such character becomes `\u{25a1}` (an empty box), so that a reader sees
/// that something was there. Markup is not touched: whoever writes a page
/// escapes it.
pub(crate) fn harmless(text: &str) -> String {
    text.chars().map(|c| if is_harmful(c) { '\u{25a1}' } else { c }).collect()
}

/// As [`harmless`], cut to a length that a table can hold, with an ellipsis.
pub(crate) fn label(text: &str) -> String {
    shortened(text, MAX_SHOWN)
}

/// As [`harmless`], cut to `most` characters with an ellipsis.
pub(crate) fn shortened(text: &str, most: usize) -> String {
    let clean = harmless(text);
    if clean.chars().count() <= most {
        return clean;
    }
    let mut cut: String = clean.chars().take(most.saturating_sub(1)).collect();
    cut.push('\u{2026}');
    cut
}

/// Text for a cell of a table that a spreadsheet may open: as [`harmless`], and
/// a leading apostrophe before what would be read as a formula.
pub(crate) fn cell(text: &str) -> String {
    let clean = harmless(text);
    let first = clean.trim_start().chars().next();
    if first.is_some_and(|c| "=+-@|%\u{ff1d}\u{ff0b}\u{ff0d}\u{ff20}".contains(c)) {
        format!("'{clean}")
    } else {
        clean
    }
}

/// Whether a character is invisible or changes how its neighbours are read.
pub(crate) fn is_harmful(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{00ad}' | '\u{034f}' | '\u{061c}' | '\u{115f}' | '\u{1160}' | '\u{180e}'
            | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}'
            | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' | '\u{ffa0}'
            | '\u{fff0}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
        || is_stacked(c)
}

/// Combining marks, which can pile up over neighbouring lines.
fn is_stacked(c: char) -> bool {
    matches!(c, '\u{0300}'..='\u{036f}' | '\u{0483}'..='\u{0489}' | '\u{1ab0}'..='\u{1aff}'
        | '\u{1dc0}'..='\u{1dff}' | '\u{20d0}'..='\u{20ff}' | '\u{fe20}'..='\u{fe2f}')
}

/// Formatted words at the end of a text.
pub(crate) fn put(text: &mut String, words: Arguments<'_>) {
    text.write_fmt(words).expect("memory takes every write");
}

/// Words in lines of at most `width` characters.
pub(crate) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(shortened(word, width)),
        }
    }
    lines
}

/// `1 hole`, `2 holes`.
pub(crate) fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [front @ .., last] => format!("{} and {last}", front.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_that_turn_text_are_boxed() {
        assert_eq!(harmless("a\u{202e}b\nc\u{200f}"), "a\u{25a1}b\u{25a1}c\u{25a1}");
        assert_eq!(harmless("Z\u{0351}\u{0352}"), "Z\u{25a1}\u{25a1}");
        assert_eq!(harmless("<b>Ä</b>"), "<b>Ä</b>");
    }

    #[test]
    fn formulas_are_text() {
        for formula in ["=1+1", "+1", "-1", "@a", " =x", "\u{ff1d}x"] {
            assert!(cell(formula).starts_with('\''), "{formula}");
        }
        assert_eq!(cell("hole 1"), "hole 1");
    }

    #[test]
    fn long_text_is_cut_with_a_mark() {
        let long = "x".repeat(300);
        assert_eq!(label(&long).chars().count(), 40);
        assert!(label(&long).ends_with('\u{2026}'));
    }

    #[test]
    fn lists_read_as_sentences() {
        let names = ["a".to_owned(), "b".to_owned(), "c".to_owned()];
        assert_eq!(listed(&names), "a, b and c");
        assert_eq!(listed(&names[..1]), "a");
        assert_eq!(counted(1, "hole", "holes"), "1 hole");
    }
}
