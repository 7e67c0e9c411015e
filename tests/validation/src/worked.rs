//! Values that other programs and published formulas give, as recorded.

use std::collections::BTreeMap;
use std::path::Path;

/// `fixtures/reference/worked.csv`, made by `tests/reference/worked.py`.
#[derive(Debug)]
pub struct Worked {
    values: BTreeMap<(String, String, String), f64>,
}

impl Worked {
    /// Read the recorded values.
    ///
    /// # Panics
    ///
    /// When the file is not there or no table of numbers.
    pub fn read(root: &Path) -> Self {
        let path = root.join("fixtures/reference/worked.csv");
        let mut table = csv::ReaderBuilder::new()
            .has_headers(false)
            .from_path(path)
            .expect("the recorded values are there");
        let values = table
            .records()
            .map(|record| record.expect("a row of text"))
            .map(|row| {
                let value = row[3].parse().expect("a number");
                ((row[0].to_owned(), row[1].to_owned(), row[2].to_owned()), value)
            })
            .collect();
        Self { values }
    }

    /// One value.
    ///
    /// # Panics
    ///
    /// When it is not recorded.
    pub fn value(&self, claim: &str, case: &str, quantity: &str) -> f64 {
        let key = (claim.to_owned(), case.to_owned(), quantity.to_owned());
        *self.values.get(&key).unwrap_or_else(|| panic!("{claim}, {case}, {quantity}"))
    }

    /// Cases of a claim that give a quantity, in order of name.
    pub fn cases<'a>(&'a self, claim: &'a str, quantity: &'a str) -> Vec<(&'a str, f64)> {
        self.values
            .iter()
            .filter(|((c, _, q), _)| c == claim && q == quantity)
            .map(|((_, case, _), value)| (case.as_str(), *value))
            .collect()
    }
}

/// How far a number is from the recorded one, as a share of it; as it is where
/// the recorded one is zero.
pub fn off(found: f64, want: f64) -> f64 {
    if want.abs() < 1e-12 { found } else { found / want - 1.0 }
}
