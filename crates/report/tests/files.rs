//! The files of a report: complete, harmless, the same every time.

mod common;

use std::path::Path;

use common::{Made, bytes, text};
use pilothole_report::{
    CAUTION, Record, compare, read_record, record, schema, terminal, write_all, write_compare,
};
use serde_json::Value;

/// Where a look at the files is wanted: they stay beside the test's build.
fn keep(folder: &str, files: &[(&str, Vec<u8>)]) {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join(folder);
    std::fs::create_dir_all(&dir).expect("the build folder can be written");
    for (name, bytes) in files {
        std::fs::write(dir.join(name), bytes).expect("the build folder can be written");
    }
}

#[test]
fn every_file_is_written_and_the_same_twice() {
    let made = Made::usual();
    let files = write_all(&made.case());
    keep("usual", &files);
    let names: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
    let wanted = [
        "report.json",
        "holes.csv",
        "kit.csv",
        "spares.csv",
        "report.html",
        "theatre.pdf",
        "plan.resolved.toml",
        "scene.glb",
        "bone.stl",
    ];
    assert_eq!(names, wanted);
    assert!(files == write_all(&made.case()), "two runs differ");
    let total: usize =
        files.iter().filter(|(name, _)| *name != "bone.stl").map(|(_, bytes)| bytes.len()).sum();
    assert!(total <= 6_000_000, "{total} bytes");
    assert!(bytes(&files, "theatre.pdf").starts_with(b"%PDF"));
}

#[test]
fn the_caution_is_in_every_file_that_can_carry_it() {
    let files = write_all(&Made::usual().case());
    let start = &CAUTION[..60];
    for name in ["report.json", "report.html"] {
        assert!(text(&files, name).contains(start), "{name}");
    }
    assert!(text(&files, "plan.resolved.toml").starts_with(&format!("# {start}")));
    let glb = String::from_utf8_lossy(bytes(&files, "scene.glb")).into_owned();
    assert!(glb.contains(start));
    for name in ["holes.csv", "kit.csv", "spares.csv"] {
        let mut table = csv::Reader::from_reader(bytes(&files, name));
        assert_eq!(table.headers().expect("heads").iter().next_back(), Some("caution"), "{name}");
        let cautions: Vec<String> = table
            .records()
            .map(|row| {
                row.expect("as many cells as heads").iter().next_back().unwrap_or("").to_owned()
            })
            .collect();
        assert!(!cautions.is_empty(), "{name}");
        assert!(cautions.iter().all(|c| c.contains("not a medical device")), "{name}");
    }
    let header = String::from_utf8_lossy(&bytes(&files, "bone.stl")[..80]).into_owned();
    assert!(header.contains("side=left") && header.contains("not a medical device"), "{header}");
}

#[test]
fn the_record_reads_back_and_fits_its_schema() {
    let made = Made::usual();
    let record = record(&made.case());
    let files = write_all(&made.case());
    let read = read_record(text(&files, "report.json")).expect("its own report");
    assert_eq!(read, record);
    assert!(read_record("{\"schema\": 1}").is_err());
    let schema: Value = serde_json::from_str(&schema()).expect("JSON");
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    let value: Value = serde_json::from_str(text(&files, "report.json")).expect("JSON");
    let required: Vec<&str> =
        schema["required"].as_array().expect("a list").iter().filter_map(Value::as_str).collect();
    for key in [
        "schema",
        "tool",
        "caution",
        "parameters",
        "scan",
        "bone",
        "calibration",
        "holes",
        "set",
        "order",
        "kit",
        "spares",
        "reconstruction",
        "findings",
    ] {
        assert!(required.contains(&key), "{key} is not required");
        assert!(value.get(key).is_some(), "{key} is absent");
    }
}

#[test]
fn what_is_not_computed_is_null_with_a_finding() {
    let made = Made::usual();
    let mut case = made.case();
    (case.set, case.calibration, case.surface) = (None, None, None);
    case.findings.clear();
    let files = write_all(&case);
    keep("bare", &files);
    let value: Value = serde_json::from_str(text(&files, "report.json")).expect("JSON");
    let codes: Vec<&str> = value["findings"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|f| f["code"].as_str())
        .collect();
    for (key, code) in [
        ("set", "set.not_computed"),
        ("order", "order.not_computed"),
        ("kit", "kit.not_computed"),
        ("reconstruction", "reconstruction.not_computed"),
        ("calibration", "calibration.not_computed"),
    ] {
        assert!(value.get(key).is_some_and(Value::is_null), "{key}");
        assert!(codes.contains(&code), "{code} in {codes:?}");
    }
}

/// Every `<data value="…">shown</data>` of a page.
fn shown_numbers(html: &str) -> Vec<(f64, String)> {
    html.split("<data value=\"")
        .skip(1)
        .map(|rest| {
            let (value, rest) = rest.split_once("\">").expect("an attribute ends");
            let (shown, _) = rest.split_once("</data>").expect("an element ends");
            (value.parse().expect("a number"), shown.to_owned())
        })
        .collect()
}

fn numbers_of(value: &Value, into: &mut Vec<f64>) {
    match value {
        Value::Number(n) => into.extend(n.as_f64()),
        Value::Array(all) => all.iter().for_each(|v| numbers_of(v, into)),
        Value::Object(all) => all.values().for_each(|v| numbers_of(v, into)),
        _ => {}
    }
}

/// Whether a shown number is a rounding of the kept one, as the page states.
fn agrees(shown: &str, kept: f64) -> bool {
    let plain = shown.replace('\u{2212}', "-");
    let digits: String =
        plain.chars().take_while(|c| c.is_ascii_digit() || matches!(c, '-' | '.')).collect();
    let Ok(value) = digits.parse::<f64>() else { return false };
    let unit = plain[digits.len()..].trim();
    let decimals = digits.split_once('.').map_or(0, |(_, d)| d.len() as i32);
    let half = 0.5 * 10_f64.powi(-decimals) + 1e-9;
    (value - kept).abs() <= half
        || (value - 100.0 * kept).abs() <= half && (unit == "%" || unit.is_empty())
        || (value - kept).abs() <= 5.0 + 1e-9 && (value % 10.0).abs() < 1e-9
}

#[test]
fn every_number_of_the_page_is_one_of_the_record() {
    let files = write_all(&Made::usual().case());
    let value: Value = serde_json::from_str(text(&files, "report.json")).expect("JSON");
    let mut kept = Vec::new();
    numbers_of(&value, &mut kept);
    let shown = shown_numbers(text(&files, "report.html"));
    assert!(shown.len() > 400, "{}", shown.len());
    for (number, words) in &shown {
        assert!(kept.iter().any(|k| k.to_bits() == number.to_bits()), "{number} is not kept");
        assert!(agrees(words, *number), "{words:?} is not {number}");
    }
    for start in ["\"NaN", ">NaN", " NaN", "(NaN"] {
        assert!(!text(&files, "report.html").contains(start), "{start}");
    }
}

/// What lies between two marks, for every time they occur.
fn between<'a>(text: &'a str, from: &'a str, to: &'a str) -> Vec<&'a str> {
    text.split(from).skip(1).filter_map(|rest| Some(rest.split_once(to)?.0)).collect()
}

/// The text of markup without its `<data>` elements and its tags.
fn bare(markup: &str) -> String {
    let mut left = String::new();
    for (index, part) in markup.split("<data ").enumerate() {
        let part =
            if index == 0 { part } else { part.split_once("</data>").map_or("", |(_, r)| r) };
        left.extend(part.split('<').enumerate().map(|(tag, words)| {
            if tag == 0 { words } else { words.split_once('>').map_or("", |(_, words)| words) }
        }));
    }
    left
}

#[test]
fn a_cell_of_numbers_holds_none_but_of_the_record() {
    let files = write_all(&Made::usual().case());
    let value: Value = serde_json::from_str(text(&files, "report.json")).expect("JSON");
    let mut kept = Vec::new();
    numbers_of(&value, &mut kept);
    let page = text(&files, "report.html");
    let mut cells = 0;
    for cell in between(page, "<td", "</td>") {
        let (attributes, inside) = cell.split_once('>').expect("a tag ends");
        if !between(attributes, "class=\"", "\"").iter().any(|c| c.split(' ').any(|c| c == "n")) {
            continue;
        }
        cells += 1;
        for word in bare(inside).split(|c: char| c.is_whitespace() || ",;()".contains(c)) {
            let Ok(number) = word.replace('\u{2212}', "-").parse::<f64>() else { continue };
            // What is no `data` element is a count.
            assert!(number.fract() == 0.0, "{inside}");
            assert!(kept.iter().any(|k| k.to_bits() == number.to_bits()), "{inside}");
        }
    }
    assert!(cells > 200, "{cells}");
}

#[test]
fn each_row_of_the_first_table_is_of_its_own_hole() {
    let made = Made::usual();
    let record = record(&made.case());
    let files = write_all(&made.case());
    let rows = between(text(&files, "report.html"), "<tr role=\"row\" data-hole=\"hole-", "</tr>");
    assert_eq!(rows.len(), record.holes.len());
    let mut walked = 0;
    for row in rows {
        let (position, cells) = row.split_once('"').expect("an attribute ends");
        let hole = &record.holes[position.parse::<usize>().expect("a position")];
        let cell = |head: &str| {
            let start = format!("data-head=\"{head}\">");
            shown_numbers(between(cells, &start, "</td>").first().expect("there"))
                .first()
                .map(|(number, _)| *number)
        };
        let hu = hole.hu.as_ref().and_then(|h| h.thread.mean);
        let share = hole.robust.as_ref().and_then(|r| r.keeps_margin);
        for (head, kept) in [
            ("Purchase, mm", hole.purchase_mm),
            ("Thread mean, HU", hu),
            ("Keeps margin if misplaced, %", share),
        ] {
            assert_eq!(cell(head), kept, "{}: {head}", hole.id);
            walked += usize::from(kept.is_some());
        }
        if hole.length_mm.is_some() {
            assert_eq!(cell("Length to order, mm"), hole.length_mm, "{}", hole.id);
        }
        assert!(cells.contains(&format!("> {}</span>", hole.purchase)), "{}", hole.id);
    }
    assert!(walked > 20, "{walked}");
}

#[test]
fn the_tables_of_set_and_load_hold_the_numbers_of_their_rows() {
    let files = write_all(&Made::usual().case());
    let json: Value = serde_json::from_str(text(&files, "report.json")).expect("JSON");
    let page = text(&files, "report.html");
    let holds = |rows: &[&str], wanted: &[f64]| {
        let is_own = |row: &&str| {
            let shown: Vec<f64> = shown_numbers(row).into_iter().map(|(n, _)| n).collect();
            wanted.iter().all(|w| shown.iter().any(|s| s.to_bits() == w.to_bits()))
        };
        rows.iter().any(is_own)
    };
    let rows = between(page, "<tr", "</tr>");
    let mut walked = 0;
    for (list, fields) in [
        ("/set/access", &["to_approach_deg", "skin_mm", "incidence_deg"][..]),
        ("/set/robust/holes", &["keeps_margin", "stays_inside", "keeps_grade"][..]),
        ("/kit", &["length_mm"][..]),
        ("/spares", &["length_mm"][..]),
        ("/set/load/cases", &["poorest_low_um"][..]),
    ] {
        for row in json.pointer(list).and_then(Value::as_array).expect(list) {
            let wanted: Vec<f64> = fields.iter().filter_map(|f| row[f].as_f64()).collect();
            assert!(holds(&rows, &wanted), "{list}: {wanted:?}");
            walked += wanted.len();
        }
    }
    assert!(walked > 40, "{walked}");
}

/// Where a head of `holes.csv` lies in a hole of `report.json`.
fn pointer(head: &str) -> String {
    let path = match head {
        "near_cortex_se_mm" => "near.se_mm",
        "near_rule" => "near.rule",
        "far_cortex_se_mm" => "far.se_mm",
        "far_rule" => "far.rule",
        "density_mg_cm3" => "density_mg_cm3.mean",
        head => head,
    };
    format!("/{}", path.replace('.', "/"))
}

/// Whether a cell holds a value of the record: the same bits, the same word,
/// or nothing for null.
fn holds(cell: &str, value: Option<&Value>) -> bool {
    match value {
        None | Some(Value::Null) => cell.is_empty(),
        Some(Value::Number(n)) => {
            cell.parse::<f64>().ok().map(f64::to_bits) == n.as_f64().map(f64::to_bits)
        }
        Some(Value::String(word)) => cell == word,
        Some(Value::Array(words)) => {
            let words: Vec<&str> = words.iter().filter_map(Value::as_str).collect();
            cell == words.join(" ")
        }
        Some(_) => false,
    }
}

#[test]
fn every_cell_of_the_tables_is_the_value_of_the_record() {
    let files = write_all(&Made::usual().case());
    let json: Value = serde_json::from_str(text(&files, "report.json")).expect("JSON");
    let own = ["order", "guide", "findings", "marks", "caution"];
    for (name, list) in [("holes.csv", "holes"), ("kit.csv", "kit"), ("spares.csv", "spares")] {
        let mut table = csv::Reader::from_reader(bytes(&files, name));
        let heads = table.headers().expect("heads").clone();
        let records = json[list].as_array().expect("a list");
        let mut rows = 0;
        for (row, record) in table.records().zip(records) {
            let row = row.expect("a row");
            rows += 1;
            for (head, cell) in heads.iter().zip(&row) {
                if own.contains(&head) || head == "holes" {
                    continue;
                }
                let value = record.pointer(&pointer(head));
                assert!(value.is_some() || head.contains(['.', '_']), "{name}: {head} is not kept");
                assert!(holds(cell, value), "{name}: {head} is {cell:?}, kept is {value:?}");
            }
        }
        assert_eq!(rows, records.len(), "{name}");
    }
}

#[test]
fn table_and_terminal_say_the_numbers_of_the_record() {
    let made = Made::usual();
    let record = record(&made.case());
    let files = write_all(&made.case());
    let mut rows = csv::Reader::from_reader(bytes(&files, "holes.csv"));
    let heads = rows.headers().expect("heads").clone();
    let column = |name: &str| heads.iter().position(|h| h == name).expect("a head");
    let screen = terminal(&record, 80);
    for (hole, row) in record.holes.iter().zip(rows.records()) {
        let row = row.expect("a row");
        let cell = |name: &str| row[column(name)].parse::<f64>().ok();
        assert_eq!(&row[column("id")], hole.id);
        assert_eq!(cell("purchase_mm"), hole.purchase_mm);
        assert_eq!(cell("length_mm"), hole.length_mm);
        assert_eq!(cell("near_cortex_mm"), hole.near_cortex_mm);
        assert_eq!(cell("hu.thread.mean"), hole.hu.as_ref().and_then(|h| h.thread.mean));
        assert_eq!(cell("robust.keeps_margin"), hole.robust.as_ref().and_then(|r| r.keeps_margin));
        let line = screen
            .lines()
            .find(|l| l.split_whitespace().next() == Some(&hole.id))
            .expect("a line a hole");
        if let (Some(purchase), Some(length)) = (hole.purchase_mm, hole.length_mm) {
            let words: Vec<&str> = line.split_whitespace().collect();
            assert_eq!(words[1].parse(), Ok(length));
            assert!(agrees(words[2], purchase), "{line}");
            let thread_hu = hole.hu.as_ref().and_then(|h| h.thread.mean).expect("thread in bone");
            assert!(agrees(words[3], thread_hu), "{line}");
        }
    }
}

#[test]
fn a_terminal_gets_few_short_lines() {
    let ids: Vec<String> = (0..40).map(|n| format!("hole {n}")).collect();
    let many = Made::with_ids(&ids.iter().map(String::as_str).collect::<Vec<_>>());
    for made in [&Made::usual(), &many] {
        for width in [80, 40] {
            let screen = terminal(&record(&made.case()), width);
            assert!(screen.lines().count() <= 24, "{screen}");
            assert!(screen.lines().all(|l| l.chars().count() <= width), "{screen}");
        }
    }
    let files = write_all(&many.case());
    keep("many", &files);
}

#[test]
fn hostile_ids_are_harmless_everywhere() {
    let long = "long ".repeat(12);
    let ids = [
        "<script>alert(1)</script>",
        "=HYPERLINK(\"http://x\")",
        "right\u{202e}to left",
        long.trim_end(),
        "\"><img src=x onerror=alert(1)>",
        "+1-1",
        "@sum",
        "</script><b>",
    ];
    let made = Made::with_ids(&ids);
    let files = write_all(&made.case());
    keep("hostile", &files);
    let html = text(&files, "report.html");
    let tags_in_page = |tag: &str| html.matches(tag).count();
    assert_eq!(tags_in_page("<script>"), 2);
    assert_eq!(tags_in_page("<img"), 0);
    assert!(!html.contains("onerror=alert(1)>\"") && !html.contains("<b>"));
    for name in ["report.html", "report.json", "holes.csv", "kit.csv", "spares.csv"] {
        let bad = text(&files, name).chars().find(|c| matches!(c, '\u{202a}'..='\u{202e}'));
        assert_eq!(bad, None, "{name}");
    }
    let mut rows = csv::Reader::from_reader(bytes(&files, "holes.csv"));
    for row in rows.records() {
        for cell in &row.expect("a row") {
            let formula = cell.starts_with(['=', '+', '@', '\t', '\r']);
            assert!(!formula, "{cell}");
        }
    }
    let back: Record = read_record(text(&files, "report.json")).expect("its own report");
    assert_eq!(back.holes[2].id, ids[2]);
    let screen = terminal(&back, 80);
    assert!(screen.chars().all(|c| c == '\n' || !c.is_control()), "{screen}");
}

#[test]
fn the_scene_is_sound_gltf() {
    let made = Made::usual();
    let files = write_all(&made.case());
    let glb = bytes(&files, "scene.glb");
    let word = |at: usize| u32::from_le_bytes(glb[at..at + 4].try_into().expect("four bytes"));
    assert_eq!((&glb[..4], word(4), word(8) as usize), (&b"glTF"[..], 2, glb.len()));
    let json_length = word(12) as usize;
    assert_eq!(&glb[16..20], b"JSON");
    let document: Value = serde_json::from_slice(&glb[20..20 + json_length]).expect("JSON");
    let binary = word(20 + json_length) as usize;
    assert_eq!(document["buffers"][0]["byteLength"].as_u64(), Some(binary as u64));
    let names: Vec<&str> = document["nodes"]
        .as_array()
        .expect("nodes")
        .iter()
        .filter_map(|n| n["name"].as_str())
        .collect();
    assert_eq!(names[..3], ["patient", "bone", "socket"]);
    let record = record(&made.case());
    let guides = record.set.and_then(|set| set.guides).expect("guides");
    let sleeves: usize = guides.iter().map(|guide| guide.holes.len()).sum();
    assert!(!guides.is_empty() && sleeves > 0);
    assert_eq!(names.len(), 3 + made.plan.holes.len() + guides.len() + sleeves);
    assert!(names.contains(&"screw F1"));
    assert!(names.contains(&"guide A"));
    let sleeve = format!("sleeve {}", guides[0].holes[0]);
    assert!(names.contains(&sleeve.as_str()), "{names:?}");
    let extras = &document["nodes"][names.iter().position(|n| *n == sleeve).expect("there")];
    assert_eq!(extras["extras"]["length_mm"], made.plan.guide.sleeve_length_mm.value);
    for accessor in document["accessors"].as_array().expect("accessors") {
        let view =
            &document["bufferViews"][accessor["bufferView"].as_u64().expect("a view") as usize];
        let (start, length) = (
            view["byteOffset"].as_u64().expect("an offset"),
            view["byteLength"].as_u64().expect("a length"),
        );
        assert!(start % 4 == 0 && start + length <= binary as u64);
        let size = if accessor["componentType"] == 5126 { 12 } else { 2 };
        assert_eq!(accessor["count"].as_u64().expect("a count") * size, length);
    }
}

#[test]
fn the_set_says_how_often_it_keeps_its_grades() {
    let made = Made::usual();
    let files = write_all(&made.case());
    let json: Value = serde_json::from_str(text(&files, "report.json")).expect("JSON");
    let robust = &json["set"]["robust"];
    assert_eq!(robust["keeps_every_grade"], 0.614);
    assert_eq!(robust["holes"][0]["keeps_grade"], 0.871);
    let page = text(&files, "report.html");
    assert!(page.contains("If the component sits wrong"));
    let share = page.split("If the component sits wrong").nth(1).expect("there");
    assert!(
        share.contains("61") && share.contains("1000 placements keep every hole"),
        "{share:.600}"
    );
}

#[test]
fn reports_compare_hole_by_hole() {
    let (first, second) = (Made::usual(), Made::with_ids(&["a", "b", "new"]));
    let mut longer = record(&second.case());
    longer.holes[1].purchase_mm = longer.holes[1].purchase_mm.map(|p| p - 9.0);
    let comparison = compare(&[record(&first.case()), longer]);
    assert!(comparison.same_scan);
    let b = &comparison.holes[1].entries;
    let difference = &b[1].as_ref().expect("in both").purchase_mm;
    assert_eq!((difference.difference, difference.exceeds), (Some(-9.0), Some(true)));
    let a = &comparison.holes[0].entries[1].as_ref().expect("in both").purchase_mm;
    assert_eq!((a.difference, a.exceeds), (Some(0.0), Some(false)));
    let last = comparison.holes.last().expect("holes");
    assert_eq!((last.id.as_str(), last.entries[0].is_none()), ("new", true));
    let files = write_compare(&comparison);
    keep("compared", &files);
    assert!(text(&files, "compare.html").contains("not in this report"));
    assert!(text(&files, "compare.html").contains("Every parameter is the same in all reports."));
}

#[test]
fn a_comparison_says_what_it_cannot_tell_and_what_was_set_otherwise() {
    let made = Made::usual();
    let (first, mut second) = (record(&made.case()), record(&made.case()));
    for hole in &mut second.holes {
        if let Some(near) = &mut hole.near {
            near.se_mm = None;
        }
    }
    second.holes[0].purchase = "unknown".to_owned();
    second.parameters[0].value = pilothole_report::Value::Text("another".to_owned());
    let name = second.parameters[0].name.clone();
    let comparison = compare(&[first, second]);
    assert_eq!(comparison.parameters.len(), 1);
    assert_eq!(comparison.parameters[0].name, name);
    let files = write_compare(&comparison);
    let page = text(&files, "compare.html");
    assert!(page.contains("holes has another grade than in A."), "one of several");
    assert!(page.contains("Whether a purchase differs by more than the error is unknown"));
    assert!(!page.contains("more than the error in 0 of"));
    assert!(page.contains("A difference may come from these") && page.contains("another"));
}
