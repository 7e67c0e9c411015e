//! What commands print that no case is behind: schemas, the thread table, a
//! record as text.

use std::fmt::Write;

use pilothole_report::Record;

/// JSON Schema of the plan file.
pub fn plan_schema() -> String {
    pilothole_plan::json_schema()
}

/// JSON Schema of `report.json`.
pub fn report_schema() -> String {
    pilothole_report::schema()
}

/// A record for a terminal of so many columns.
pub fn report_terminal(record: &Record, columns: usize) -> String {
    pilothole_report::terminal(record, columns)
}

/// The few lines of a record that a surgeon wants first.
pub fn report_brief(record: &Record, columns: usize) -> String {
    pilothole_report::brief(record, columns)
}

/// A record as `report.json` holds it.
pub fn report_json(record: &Record) -> String {
    pilothole_report::to_json(record)
}

/// The built-in threads as a table, with their sources.
pub fn screw_table() -> String {
    let mut table = format!(
        "{:<8} {:>8} {:>8} {:>8}  {}\n",
        "screw", "major mm", "core mm", "pitch mm", "source"
    );
    for screw in pilothole_plan::thread_table() {
        let row = format!(
            "{:<8} {:>8.2} {:>8.2} {:>8.2}  {}",
            screw.name,
            screw.major_diameter_mm,
            screw.core_diameter_mm,
            screw.pitch_mm,
            screw.source
        );
        // What is longer than a line goes on under the sources.
        let (first, rest) = match row.split_once("; ") {
            Some((first, rest)) if row.chars().count() > 80 => (format!("{first};"), Some(rest)),
            _ => (row, None),
        };
        table.push_str(&first);
        table.push('\n');
        if let Some(rest) = rest {
            let rest = format!("{:<37}{rest}\n", "");
            table.push_str(&rest);
        }
    }
    let threads = pilothole_plan::thread_table();
    for (which, pick) in [("below 6 mm", 0), ("of 6 mm and above", threads.len() - 1)] {
        let stock: Vec<String> =
            threads[pick].stocked_lengths_mm.iter().map(ToString::to_string).collect();
        let source = &threads[pick].lengths_source;
        if write!(table, "\nlengths in mm for diameters {which}\n  ({source}):\n").is_err() {
            break;
        }
        for line in stock.chunks(18) {
            table.push_str("  ");
            table.push_str(&line.join(" "));
            table.push('\n');
        }
    }
    table
}
