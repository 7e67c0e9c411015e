//! Words of the command line.

use std::collections::BTreeMap;

/// Flags that stand alone.
const ALONE: [&str; 4] = ["json", "timeless", "gather", "bytes"];

/// Positions and flags.
#[derive(Debug, Default)]
pub(crate) struct Args {
    pub(crate) words: Vec<String>,
    flags: BTreeMap<String, String>,
}

impl Args {
    /// `None` when a flag lacks its value.
    pub(crate) fn of(mut words: impl Iterator<Item = String>) -> Option<Self> {
        let mut args = Self::default();
        while let Some(word) = words.next() {
            match word.strip_prefix("--") {
                None => args.words.push(word),
                Some(flag) if ALONE.contains(&flag) => {
                    args.flags.insert(flag.to_owned(), String::new());
                }
                Some(flag) => {
                    args.flags.insert(flag.to_owned(), words.next()?);
                }
            }
        }
        Some(args)
    }

    pub(crate) fn get(&self, flag: &str) -> Option<&str> {
        self.flags.get(flag).map(String::as_str)
    }

    pub(crate) fn number(&self, flag: &str) -> Option<u64> {
        self.get(flag)?.parse().ok()
    }

    pub(crate) fn has(&self, flag: &str) -> bool {
        self.flags.contains_key(flag)
    }
}
