//! What `tests/mutations/run` breaks is still where it was.

use std::fs;

use validation::broken::{all, table};
use validation::root;

#[test]
fn every_place_to_break_is_there_once_and_names_a_test() {
    let root = root();
    let all = all(&root);
    assert!(all.len() >= 10, "ten places were promised: {}", all.len());
    for one in &all {
        let text = fs::read_to_string(root.join(&one.file)).expect("the file is there");
        assert_eq!(text.matches(&one.find).count(), 1, "{}: {}", one.file, one.find);
        assert_ne!(one.find, one.replace, "{}", one.what);
        let test = fs::read_to_string(root.join(&one.test)).expect("the test is there");
        assert!(test.contains(&format!("fn {}(", one.name)), "{} in {}", one.name, one.test);
        assert!(one.cargo.ends_with(&one.name), "{}", one.cargo);
    }
}

#[test]
fn the_page_lists_every_place() {
    let page = fs::read_to_string(root().join("docs/validation.md")).expect("the page is there");
    assert!(page.contains(&table(&root())), "`cargo run --release -p validation` writes it anew");
}
