//! What a header still carries of a patient's identity: which attributes,
//! never their values.
//!
//! The list is the Basic Application Level Confidentiality Profile, DICOM
//! PS3.15 table E.1-1 (2024e).

use std::sync::LazyLock;

use crate::dicom::{DataSet, Tag};
use crate::reason::Reason;

/// An attribute that the standard's profile says to remove or replace, and
/// that has a value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IdentityTag {
    /// Keyword of the attribute.
    pub keyword: &'static str,
    /// What the profile does with it: `X` remove, `Z` empty, `D` replace by a
    /// dummy, `U` replace by a new unique identifier, or a choice of these.
    pub action: &'static str,
    /// Files in which it has a value.
    pub file_count: usize,
}

/// One row of the table.
struct Row {
    tag: Tag,
    keyword: &'static str,
    action: &'static str,
}

/// Rows of plain tags by tag, then the overlay, curve and private rows.
static TABLE: LazyLock<Vec<Row>> = LazyLock::new(read_table);

fn read_table() -> Vec<Row> {
    let text = include_str!("ps315_e1_1.csv");
    let mut rows: Vec<Row> = text.lines().filter_map(plain_row).collect();
    rows.sort_by_key(|row| row.tag);
    rows.push(Row { tag: OVERLAY, keyword: "OverlayData", action: "X" });
    rows.push(Row { tag: CURVE, keyword: "CurveData", action: "X" });
    rows.push(Row { tag: PRIVATE, keyword: "PrivateAttributes", action: "X" });
    rows
}

fn plain_row(line: &'static str) -> Option<Row> {
    let mut parts = line.split(',');
    let group = u16::from_str_radix(parts.next()?, 16).ok()?;
    let element = u16::from_str_radix(parts.next()?, 16).ok()?;
    Some(Row { tag: Tag(group, element), keyword: parts.next()?, action: parts.next()? })
}

/// Stand for a family of tags in the table's last rows.
const OVERLAY: Tag = Tag(0x60FF, 0x3000);
const CURVE: Tag = Tag(0x50FF, 0);
const PRIVATE: Tag = Tag(0xFFFF, 0);
/// Words of 64 bits for the table's 621 rows.
const WORDS: usize = 10;

/// Which rows of the table one header fills; no value is kept.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Traces {
    rows: [u64; WORDS],
    says_removed: bool,
}

impl Traces {
    /// Look at every element of a header, nested ones included.
    pub(crate) fn find(data: &DataSet<'_>) -> Self {
        let table = &*TABLE;
        let families = table.len() - 3;
        let mut traces = Self::default();
        for (at, node) in data.all().iter().enumerate() {
            let row = match node.tag {
                tag if tag.is_private() => Some(families + 2),
                Tag(group, 0x3000 | 0x4000) if group & 0xFF00 == 0x6000 => Some(families),
                Tag(group, _) if group & 0xFF00 == 0x5000 => Some(families + 1),
                tag => table[..families].binary_search_by_key(&tag, |row| row.tag).ok(),
            };
            let Some(row) = row else { continue };
            if node.next > at + 1 || data.is_filled(node) {
                traces.rows[row / 64] |= 1 << (row % 64);
            }
        }
        let removed = data.text(data.root(), Tag::PATIENT_IDENTITY_REMOVED);
        traces.says_removed = removed.is_some_and(|word| word == "YES");
        traces
    }

    fn has(&self, row: usize) -> bool {
        self.rows[row / 64] & (1 << (row % 64)) != 0
    }
}

/// The attributes found over the files of a series, in order of tag.
pub(crate) fn tags_of(files: &[&Traces]) -> Vec<IdentityTag> {
    let count = |at: usize| files.iter().filter(|traces| traces.has(at)).count();
    TABLE
        .iter()
        .enumerate()
        .map(|(at, row)| IdentityTag {
            keyword: row.keyword,
            action: row.action,
            file_count: count(at),
        })
        .filter(|tag| tag.file_count > 0)
        .collect()
}

/// The finding, when something is left that the profile removes or empties.
///
/// Unique identifiers (action `U`) are left out, since a replaced one looks
/// like any other. Where every header says that identity was removed, a value
/// under `Z` or `D` may be the dummy that the profile asks for, so only `X`
/// counts.
pub(crate) fn finding(files: &[&Traces]) -> Option<Reason> {
    let says_removed = files.iter().all(|traces| traces.says_removed);
    let left: Vec<IdentityTag> = tags_of(files)
        .into_iter()
        .filter(|tag| match tag.action {
            "X" => true,
            "U" | "D" => false,
            _ => !says_removed,
        })
        .collect();
    if left.is_empty() {
        return None;
    }
    // Six fit a line; the full list is one command away.
    let mut named: Vec<&str> = left.iter().take(6).map(|tag| tag.keyword).collect();
    if left.len() > named.len() {
        named.push("others");
    }
    let count = left.len();
    let noun = if count == 1 { "attribute" } else { "attributes" };
    Some(
        Reason::new(
            "identity.present",
            format!(
                "the header still fills {count} {noun} that PS3.15 table E.1-1 removes: {}",
                named.join(", ")
            ),
        )
        .measured(count as f64, 0.0, "attributes")
        .next("list them with `inspect --identity`; nothing of them leaves this program"),
    )
}
