//! Attributes of one frame, wherever the object keeps them.
//!
//! Classic objects keep them at the root, enhanced ones in functional groups
//! shared by all frames or stated per frame (PS3.3 C.7.6.16).

use std::borrow::Cow;

use super::dataset::{DataSet, Span};
use super::tag::Tag;

/// Looks for an attribute in the frame's own groups, the shared ones, the root.
pub(super) struct FrameView<'d, 'a> {
    data: &'d DataSet<'a>,
    groups: [Option<Span>; 2],
}

impl<'d, 'a> FrameView<'d, 'a> {
    pub(super) fn new(data: &'d DataSet<'a>, own: Option<Span>, shared: Option<Span>) -> Self {
        Self { data, groups: [own, shared] }
    }

    pub(super) fn text(&self, group: Option<Tag>, tag: Tag) -> Option<Cow<'a, str>> {
        self.places(group).find_map(|span| self.data.text(span, tag))
    }

    pub(super) fn number(&self, group: Option<Tag>, tag: Tag) -> Option<f64> {
        self.places(group).find_map(|span| self.data.number(span, tag))
    }

    pub(super) fn vector<const N: usize>(&self, group: Option<Tag>, tag: Tag) -> Option<[f64; N]> {
        self.places(group)
            .find(|span| self.data.find(*span, tag).is_some())
            .and_then(|span| self.data.vector(span, tag))
    }

    /// Where an attribute may stand, the nearest to the frame first.
    fn places(&self, group: Option<Tag>) -> impl Iterator<Item = Span> + '_ {
        let grouped = group.into_iter().flat_map(move |sequence| {
            self.groups
                .iter()
                .flatten()
                .filter_map(move |span| self.data.items(*span, sequence).first().copied())
        });
        grouped.chain(std::iter::once(self.data.root()))
    }
}
