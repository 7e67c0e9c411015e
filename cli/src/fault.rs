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
