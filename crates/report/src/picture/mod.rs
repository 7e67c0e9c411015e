//! Pictures of one hole: CT cuts, profile, unrolled thread, ring, strength.
//!
//! Every figure is an SVG in its own units with a `viewBox`, so it grows with
//! the page; grey images inside are PNG in the page itself.

mod anatomy;
mod contour;
mod cut;
mod grey;
mod pattern;
mod profile;
mod ring;
mod strength;
mod subject;
mod unrolled;

pub(crate) use anatomy::direction_words;
pub(crate) use contour::Nodes;
pub(crate) use cut::cut_planes;
pub(crate) use grey::{GreyImage, WINDOW, base64};
pub(crate) use pattern::{patterns, tissue_fill};
pub(crate) use profile::profile_figure;
pub(crate) use ring::{purchase_figure, ring_figure};
pub(crate) use strength::strength_figure;
pub(crate) use subject::Subject;
pub(crate) use unrolled::unrolled_figure;
