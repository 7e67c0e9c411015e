//! A fault of our own: said by its place in the source, never by its message,
//! which could quote a hostile file or a patient.

use std::panic::{PanicHookInfo, set_hook};
use std::sync::Mutex;

/// Where the last panic began. One of a decoder is caught and becomes a
/// refusal; then nobody asks.
static PLACE: Mutex<Option<String>> = Mutex::new(None);

/// Print nothing of a panic, and remember its place.
pub(crate) fn keep_quiet() {
    set_hook(Box::new(|info: &PanicHookInfo<'_>| {
        if let (Some(at), Ok(mut place)) = (info.location(), PLACE.lock()) {
            let file = at.file().rsplit("crates/").next().unwrap_or_default();
            *place = Some(format!("{file}:{}", at.line()));
        }
    }));
}

/// Source file and line of the last panic.
pub(crate) fn place() -> Option<String> {
    PLACE.lock().ok()?.clone()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Passes in either case; what it prints is asked by the test below.
    #[test]
    fn a_panic_over_a_patient() {
        keep_quiet();
        let caught = std::panic::catch_unwind(|| panic!("ZZQUILLFEATHER"));
        assert!(caught.is_err());
        let place = place().expect("the place is known");
        assert!(place.contains("fault.rs:") && !place.contains("ZZ"), "{place}");
    }

    #[test]
    fn a_panic_prints_no_input_at_the_noisiest() {
        let test = std::env::current_exe().expect("a test has a program");
        let run = std::process::Command::new(test)
            .args(["--exact", "fault::tests::a_panic_over_a_patient", "--nocapture"])
            .env("RUST_BACKTRACE", "full")
            .env("RUST_LOG", "trace")
            .output()
            .expect("it runs");
        let said = [run.stdout, run.stderr].concat();
        let said = String::from_utf8_lossy(&said);
        assert!(run.status.success() && said.contains("1 passed"), "{said}");
        assert!(!said.contains("ZZQUILLFEATHER"), "{said}");
    }
}
