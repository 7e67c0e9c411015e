//! Changes to files of text.

use super::dicom::Draw;

/// Words that stand where a number or a text is expected.
const WORDS: [&str; 24] = [
    "nan",
    "-inf",
    "1e400",
    "-1e308",
    "1e-320",
    "99999999999999999999",
    "-0.0",
    "0x10",
    "\"\"",
    "\"\\u0000\"",
    "\"<script>alert(1)</script>\"",
    "\"=cmd|'/c calc'!A1\"",
    "\"../../etc/passwd\"",
    "[]",
    "{}",
    "null",
    "true",
    "\u{202e}",
    "\u{feff}",
    "'",
    "\"",
    "]",
    "}",
    ",",
];

/// One to four changes.
pub(super) fn changed(base: &str, draw: &mut Draw) -> Vec<u8> {
    let mut text = base.to_owned();
    let mut bytes = None;
    for _ in 0..=draw.below(4) {
        match draw.below(9) {
            0 => text = without_line(&text, draw),
            1 => text = line_twice(&text, draw),
            2..=4 => text = word_replaced(&text, draw),
            5 => text = word_deepened(&text, draw),
            6 => text = word_lengthened(&text, draw),
            7 => {
                let keep = draw.below(text.len().max(1));
                text = text.chars().take(keep).collect();
            }
            _ => bytes = Some(draw.below(256) as u8),
        }
    }
    let mut changed = text.into_bytes();
    if let Some(byte) = bytes.filter(|_| !changed.is_empty()) {
        let at = draw.below(changed.len());
        changed[at] = byte;
    }
    changed
}

fn without_line(text: &str, draw: &mut Draw) -> String {
    let lines: Vec<&str> = text.lines().collect();
    let out = draw.below(lines.len());
    let kept = lines.iter().enumerate().filter(|(at, _)| *at != out);
    kept.map(|(_, line)| [*line, "\n"].concat()).collect::<Vec<_>>().concat()
}

fn line_twice(text: &str, draw: &mut Draw) -> String {
    let lines: Vec<&str> = text.lines().collect();
    let (from, to) = (draw.below(lines.len()), draw.below(lines.len()));
    let mut all: Vec<&str> = lines.clone();
    if let Some(line) = lines.get(from) {
        all.insert(to, line);
    }
    all.join("\n")
}

/// Replace what stands between two of the signs of the language.
fn word_replaced(text: &str, draw: &mut Draw) -> String {
    let word = WORDS[draw.below(WORDS.len())].to_owned();
    replaced(text, draw, |_| word)
}

fn word_deepened(text: &str, draw: &mut Draw) -> String {
    let deep = 1 + draw.below(4000);
    let (open, close) = if draw.below(2) == 0 { ("[", "]") } else { ("{a=", "}") };
    replaced(text, draw, |word| format!("{}{word}{}", open.repeat(deep), close.repeat(deep)))
}

fn word_lengthened(text: &str, draw: &mut Draw) -> String {
    let times = 1 + draw.below(20_000);
    replaced(text, draw, |word| word.repeat(times.min(100_000 / word.len().max(1))))
}

fn replaced(text: &str, draw: &mut Draw, by: impl FnOnce(&str) -> String) -> String {
    let signs = ['=', ',', '[', ']', ':', '\n', ' ', '{', '}'];
    let words: Vec<(usize, &str)> = text
        .split(signs)
        .map(|word| (word.as_ptr() as usize - text.as_ptr() as usize, word))
        .filter(|(_, word)| !word.is_empty())
        .collect();
    let Some((at, word)) = words.get(draw.below(words.len())) else { return text.to_owned() };
    format!("{}{}{}", &text[..*at], by(word), &text[at + word.len()..])
}
