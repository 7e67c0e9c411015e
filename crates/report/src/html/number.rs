//! Numbers and foreign text in a page.

use maud::{Markup, html};

use crate::number::{UNKNOWN, Unit};
use crate::text::{harmless, label};

/// A kept number as shown, the kept one beside it for machines; the word where
/// it is not known.
pub(crate) fn num(unit: Unit, value: Option<f64>) -> Markup {
    value.map_or_else(unknown, |v| html! { data value=(v) { (unit.show(v)) } })
}

/// As [`num`], with its unit.
pub(crate) fn measure(unit: Unit, value: Option<f64>) -> Markup {
    value.map_or_else(unknown, |v| html! { data value=(v) { (unit.show(v)) (unit.suffix()) } })
}

fn unknown() -> Markup {
    html! { span .unknown { (UNKNOWN) } }
}

/// Text from a plan: cut, harmless, its direction kept to itself.
pub(crate) fn text(foreign: &str) -> Markup {
    let shown = label(foreign);
    let whole = harmless(foreign);
    if shown == whole {
        html! { bdi { (shown) } }
    } else {
        html! { bdi title=(whole) { (shown) } }
    }
}
