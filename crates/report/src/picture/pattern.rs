//! Fills that tell tissues apart without colour.

use maud::{Markup, html};

/// The patterns of the tissues, once a page; referred to by [`tissue_fill`].
pub(crate) fn patterns() -> Markup {
    html! {
        svg .defs width="0" height="0" aria-hidden="true" focusable="false" {
            defs {
                pattern id="fill-outside" width="8" height="8" patternUnits="userSpaceOnUse" {
                    rect width="8" height="8" fill="#fff" {}
                }
                pattern id="fill-cortical" width="8" height="8" patternUnits="userSpaceOnUse" {
                    rect width="8" height="8" fill="#3f4650" {}
                }
                pattern id="fill-cancellous" width="6" height="6" patternUnits="userSpaceOnUse" {
                    rect width="6" height="6" fill="#e9e6df" {}
                    circle cx="1.5" cy="1.5" r="1" fill="#7d7466" {}
                    circle cx="4.5" cy="4.5" r="1" fill="#7d7466" {}
                }
                pattern id="fill-void" width="8" height="8" patternUnits="userSpaceOnUse" {
                    rect width="8" height="8" fill="#fff" {}
                    path d="M0 0L8 8M8 0L0 8" stroke="#444" stroke-width="0.8" {}
                }
                pattern id="fill-cement" width="8" height="8" patternUnits="userSpaceOnUse" {
                    rect width="8" height="8" fill="#d7dde3" {}
                    path d="M0 4H8" stroke="#3f4650" stroke-width="1.4" {}
                }
                pattern id="fill-metal" width="6" height="6" patternUnits="userSpaceOnUse" {
                    rect width="6" height="6" fill="#fff" {}
                    path d="M0 6L6 0M-1 1L1 -1M5 7L7 5" stroke="#000" stroke-width="1.6" {}
                }
            }
        }
    }
}

/// The fill of a tissue's word.
pub(crate) fn tissue_fill(tissue: &str) -> &'static str {
    match tissue {
        "cortical" => "url(#fill-cortical)",
        "cancellous" => "url(#fill-cancellous)",
        "void" => "url(#fill-void)",
        "cement" => "url(#fill-cement)",
        "metal" => "url(#fill-metal)",
        _ => "url(#fill-outside)",
    }
}
