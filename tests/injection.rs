//! Words of a plan or a manifest that would act as code in a page, a table, a
//! PDF or a terminal: they are shown as words, or refused.

mod every_command;

use std::fs;
use std::io::Read;

use every_command::{World, results, run};
use pilothole_phantom::SeriesHeader;

/// Ids that a page, a table, a PDF or a terminal might act on.
const IDS: [&str; 3] = [
    "</script><script>alert(7)</script>",
    "=HYPERLINK(\"http://x\",\"y\")",
    ") Tj ET >> /OpenAction << /S /JavaScript /JS (app.alert(7)) >> (",
];
/// What a PDF does on its own or on a click.
const ACTIONS: [&str; 8] = [
    "/OpenAction",
    "/JavaScript",
    "/Launch",
    "/URI",
    "/GoToR",
    "/SubmitForm",
    "/EmbeddedFile",
    "/RichMedia",
];

/// A PDF with every stream that can be inflated.
fn inflated(pdf: &[u8]) -> Vec<u8> {
    let find = |from: usize, word: &[u8]| {
        pdf[from..].windows(word.len()).position(|w| w == word).map(|at| from + at)
    };
    let (mut all, mut from) = (pdf.to_vec(), 0);
    while let Some(start) = find(from, b"stream") {
        let Some(end) = find(start, b"endstream") else { break };
        let mut bytes = &pdf[start + 6..end];
        while let [b'\r' | b'\n', rest @ ..] = bytes {
            bytes = rest;
        }
        let mut text = Vec::new();
        // Streams that hold pictures or fonts as they are do not inflate.
        let _part = flate2::read::ZlibDecoder::new(bytes).read_to_end(&mut text);
        all.extend(text);
        from = end + 9;
    }
    all
}

fn holds(bytes: &[u8], word: &str) -> bool {
    bytes.windows(word.len()).any(|window| window == word.as_bytes())
}

#[test]
fn hostile_words_reach_no_page_table_or_pdf_as_code() {
    let home = tempfile::tempdir().expect("a folder");
    let world = World::make(home.path(), "a", &SeriesHeader::default());
    let mut plan = fs::read_to_string(&world.plan).expect("readable");
    for (old, new) in ["middle", "beside", "slanting"].iter().zip(IDS) {
        let quoted = new.replace('"', "\\\"");
        assert!(plan.contains(&format!("id = \"{old}\"")), "{plan}");
        plan = plan.replace(&format!("id = \"{old}\""), &format!("id = \"{quoted}\""));
    }
    fs::write(&world.plan, plan).expect("written");
    let site = "\"=cmd|'/c calc'!A1\"";
    let rows = ["c1", "c2"].map(|case| format!("{case},a-scan,a-plan.toml,{site}\n"));
    let manifest = format!("case,scan,plan,<b onload=alert(7)>\n{}", rows.concat());
    fs::write(home.path().join("a-manifest.csv"), manifest).expect("written");
    for words in world.commands("a", "2") {
        let run = run(&words);
        for bytes in [&run.stdout, &run.stderr] {
            let text = String::from_utf8_lossy(bytes);
            let acts = text.chars().any(|c| c.is_control() && c != '\n');
            assert!(!acts, "{words:?} moves the terminal");
        }
    }
    let all = results(&world.out);
    let mut looked_at = [0; 3];
    for (name, bytes) in &all {
        let ending = name.rsplit('.').next().unwrap_or_default();
        match ending {
            "html" => {
                looked_at[0] += 1;
                for word in ["<script>alert(7)", "<b onload"] {
                    assert!(!holds(bytes, word), "{word} in {name}");
                }
            }
            "csv" => {
                looked_at[1] += 1;
                let mut rows = csv::Reader::from_reader(&bytes[..]);
                for row in rows.records() {
                    for cell in &row.expect("a row") {
                        let number = cell.parse::<f64>().is_ok();
                        let acts = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
                        assert!(number || !acts, "{cell} in {name}");
                    }
                }
            }
            "pdf" => {
                looked_at[2] += 1;
                let text = inflated(bytes);
                assert!(text.len() > bytes.len() + 1000, "its streams were opened");
                for word in ACTIONS {
                    assert!(!holds(&text, word), "{word} in {name}");
                }
            }
            _ => {}
        }
    }
    assert!(looked_at.iter().all(|count| *count > 0), "{looked_at:?}");
}
