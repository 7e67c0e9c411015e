//! The data dictionary, written from the columns themselves.

use std::fmt::Write as _;

use super::column::{CASES, Column, FINDINGS, HOLES, JUDGED, KEYS, Kind};

/// Every column of every table as Markdown tables: `docs/cohort-tables.md`
/// carries this text.
pub fn dictionary() -> String {
    let mut text = String::new();
    for (name, columns) in
        [("cases", &CASES[..]), ("holes", &HOLES[..]), ("findings", &FINDINGS[..])]
    {
        section(&mut text, name, columns);
    }
    text.push_str("## Columns that depend on the manifest\n\n| column | type | table | meaning |\n|---|---|---|---|\n");
    for (name, answer) in JUDGED {
        line(
            &mut text,
            &[
                &format!("`truth.{name}`"),
                "double",
                "`holes`",
                &format!(
                    "The phantom's answer, its `{answer}`; only where the manifest has a column `truth`."
                ),
            ],
        );
        line(
            &mut text,
            &[
                &format!("`error.{name}`"),
                "double",
                "`holes`",
                &format!("`{name}` less `truth.{name}`; empty where either is."),
            ],
        );
    }
    line(
        &mut text,
        &["the group's own", "text", "`cases`, `holes`", "As in the manifest, in its order."],
    );
    text.push_str("\n## Last column of every table\n\n| column | type | table | meaning |\n|---|---|---|---|\n");
    line(
        &mut text,
        &[
            "`caution`",
            "text",
            "all",
            "What the numbers are not, the same in every row, so that a row keeps it when it is copied.",
        ],
    );
    text
}

fn section(text: &mut String, name: &str, columns: &[Column]) {
    // Writing to a string cannot fail.
    let _written =
        write!(text, "## `{name}`\n\n| column | type | unit | meaning |\n|---|---|---|---|\n");
    for column in KEYS.iter().chain(columns) {
        let kind = match column.kind {
            Kind::Text => "text",
            Kind::Real => "double",
            Kind::Whole => "int64",
        };
        line(text, &[&format!("`{}`", column.name), kind, column.unit, column.meaning]);
    }
    text.push('\n');
}

fn line(text: &mut String, cells: &[&str]) {
    let _written = writeln!(text, "| {} |", cells.join(" | "));
}
