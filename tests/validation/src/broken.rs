//! The places where `tests/mutations/run` breaks the code on purpose.

use std::path::Path;

use serde::Deserialize;

/// Where they lie in the repository.
pub const FOLDER: &str = "tests/mutations";

/// One break, and the test that must notice it.
#[derive(Clone, Debug, Deserialize, PartialEq, Eq)]
#[serde(deny_unknown_fields)]
pub struct Broken {
    /// What is broken, in words.
    pub what: String,
    /// The file that is changed.
    pub file: String,
    /// Text that stands in it once.
    pub find: String,
    /// What takes its place.
    pub replace: String,
    /// The file of the test that must fail.
    pub test: String,
    /// Its name.
    pub name: String,
    /// How cargo is told to run it alone.
    pub cargo: String,
}

/// All of them, in order of their files' names.
///
/// # Panics
///
/// When the folder or one of its files cannot be read.
pub fn all(root: &Path) -> Vec<Broken> {
    let folder = std::fs::read_dir(root.join(FOLDER)).expect("the folder is there");
    let mut places: Vec<_> = folder.map(|entry| entry.expect("readable").path()).collect();
    places.retain(|place| place.extension().is_some_and(|ending| ending == "toml"));
    places.sort();
    places
        .iter()
        .map(|place| {
            let text = std::fs::read_to_string(place).expect("readable");
            toml::from_str(&text).unwrap_or_else(|error| panic!("{}: {error}", place.display()))
        })
        .collect()
}

const HEAD: &str = "
## Broken on purpose

`tests/mutations/run` breaks a copy of the code in each of these places, one after the other, and fails unless the named test passes before and fails after; it takes minutes, so it is run by hand.
A test holds that each place still is where it was.

| broken | where | noticed by |
|---|---|---|
";

/// Their part of the page.
///
/// # Panics
///
/// As [`all`].
pub fn table(root: &Path) -> String {
    let rows = all(root)
        .into_iter()
        .map(|one| format!("| {} | {} | {} `{}` |\n", one.what, one.file, one.test, one.name));
    rows.fold(HEAD.to_owned(), |text, row| text + &row)
}
