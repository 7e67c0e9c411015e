//! What a file's header says about its image, without any identity in the
//! open.

use super::dataset::{DataSet, Span};
use super::functional::FrameView;
use super::syntax::Syntax;
use super::tag::Tag;
use super::walk::PixelElement;
use crate::identity::Traces;
use crate::redacted::Redacted;

/// What kind of object a file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    Ct,
    EnhancedCt,
    SecondaryCapture,
    /// Another object, with or without pixels.
    Other,
    /// The header does not say.
    Unstated,
}

impl Kind {
    fn from_uid(uid: Option<&str>) -> Self {
        match uid {
            None => Self::Unstated,
            Some("1.2.840.10008.5.1.4.1.1.2") => Self::Ct,
            // Enhanced, legacy converted enhanced.
            Some("1.2.840.10008.5.1.4.1.1.2.1" | "1.2.840.10008.5.1.4.1.1.2.2") => Self::EnhancedCt,
            Some(uid) if uid.starts_with("1.2.840.10008.5.1.4.1.1.7") => Self::SecondaryCapture,
            Some(_) => Self::Other,
        }
    }
}

/// How the image's numbers are stored.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Layout {
    pub rows: usize,
    pub columns: usize,
    pub samples: u16,
    pub is_grey: bool,
    pub allocated: u16,
    pub stored: u16,
    pub high: u16,
    pub signed: bool,
    /// Bits of the padding value and of the other end of its range.
    pub padding: Option<(u16, u16)>,
}

/// Where the pixels lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct PixelPlace {
    pub element: PixelElement,
    pub syntax: Syntax,
    /// Length of the file, or of what the deflated data set inflates to.
    pub total: usize,
    /// Offset of the deflated data set; then the element's offset counts from
    /// the start of the inflated bytes.
    pub deflated_from: Option<usize>,
}

/// An attribute that may tell two images at one place apart.
pub(crate) type Mark = (&'static str, Redacted<Option<String>>);

/// One frame's attributes.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FrameHead {
    pub position: Option<[f64; 3]>,
    pub orientation: Option<[f64; 6]>,
    /// Between rows, between columns, mm.
    pub spacing: Option<[f64; 2]>,
    pub slope: Option<f64>,
    pub intercept: Option<f64>,
    pub rescale_type: Option<String>,
    pub thickness: Option<f64>,
    pub kvp: Option<f64>,
    pub kernel: Redacted<Option<String>>,
    pub image_type: Vec<String>,
    pub marks: Vec<Mark>,
}

/// One file's header.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Head {
    pub kind: Kind,
    pub modality: Option<String>,
    pub series_uid: Redacted<String>,
    pub instance_uid: Redacted<String>,
    pub frame_of_reference: Redacted<String>,
    pub series_number: Redacted<Option<i64>>,
    pub layout: Layout,
    pub frame_count: usize,
    pub frames: Vec<FrameHead>,
    pub pixels: Option<PixelPlace>,
    pub tilt_tag_deg: Option<f64>,
    pub contrast: Option<bool>,
    pub lossy_flag: Option<bool>,
    pub lossy_ratio: Option<f64>,
    pub burned_in: bool,
    pub multi_energy: bool,
    pub patient_position: Option<&'static str>,
    pub traces: Traces,
}

/// Most frames of one object that are looked at; the element limit is met
/// before that where frames have groups of their own.
const MAX_FRAMES: usize = 1 << 16;

impl Head {
    /// Collect what is needed from a walked header.
    pub(super) fn read(
        data: &DataSet<'_>,
        pixels: Option<PixelElement>,
        syntax: Syntax,
        total: usize,
    ) -> Self {
        let root = data.root();
        let text = |tag| data.text(root, tag).map(std::borrow::Cow::into_owned);
        let uid = |tag| Redacted::new(text(tag).unwrap_or_default());
        let frame_count =
            data.number(root, Tag::NUMBER_OF_FRAMES).map_or(1.0, |n| n.max(1.0)) as usize;
        Self {
            kind: Kind::from_uid(data.text(root, Tag::SOP_CLASS_UID).as_deref()),
            modality: text(Tag::MODALITY),
            series_uid: uid(Tag::SERIES_INSTANCE_UID),
            instance_uid: uid(Tag::SOP_INSTANCE_UID),
            frame_of_reference: uid(Tag::FRAME_OF_REFERENCE_UID),
            series_number: Redacted::new(data.number(root, Tag::SERIES_NUMBER).map(|n| n as i64)),
            layout: layout(data),
            frame_count,
            frames: frames(data, frame_count.min(MAX_FRAMES)),
            pixels: pixels.map(|element| PixelPlace {
                element,
                syntax,
                total,
                deflated_from: None,
            }),
            tilt_tag_deg: data.number(root, Tag::GANTRY_DETECTOR_TILT),
            contrast: contrast(data),
            lossy_flag: text(Tag::LOSSY_IMAGE_COMPRESSION).map(|flag| flag == "01"),
            lossy_ratio: data.number(root, Tag::LOSSY_IMAGE_COMPRESSION_RATIO).filter(|r| *r > 0.0),
            burned_in: text(Tag::BURNED_IN_ANNOTATION).is_some_and(|flag| flag == "YES"),
            multi_energy: text(Tag::MULTIENERGY_CT_ACQUISITION).is_some_and(|flag| flag == "YES"),
            patient_position: text(Tag::PATIENT_POSITION).and_then(|p| known_position(&p)),
            traces: Traces::find(data),
        }
    }
}

fn layout(data: &DataSet<'_>) -> Layout {
    let root = data.root();
    let small = |tag| data.small(root, tag);
    let stored = small(Tag::BITS_STORED).unwrap_or_default();
    let padding = data
        .word(root, Tag::PIXEL_PADDING_VALUE)
        .map(|value| (value, data.word(root, Tag::PIXEL_PADDING_RANGE_LIMIT).unwrap_or(value)));
    let grey = data.text(root, Tag::PHOTOMETRIC_INTERPRETATION);
    Layout {
        rows: small(Tag::ROWS).unwrap_or_default().into(),
        columns: small(Tag::COLUMNS).unwrap_or_default().into(),
        samples: small(Tag::SAMPLES_PER_PIXEL).unwrap_or(1),
        is_grey: grey.is_none_or(|p| p.starts_with("MONOCHROME")),
        allocated: small(Tag::BITS_ALLOCATED).unwrap_or_default(),
        stored,
        high: small(Tag::HIGH_BIT).unwrap_or_else(|| stored.saturating_sub(1)),
        signed: small(Tag::PIXEL_REPRESENTATION) == Some(1),
        padding,
    }
}

fn frames(data: &DataSet<'_>, count: usize) -> Vec<FrameHead> {
    let root = data.root();
    let shared = data.items(root, Tag::SHARED_FUNCTIONAL_GROUPS_SEQUENCE).first().copied();
    let own = data.items(root, Tag::PER_FRAME_FUNCTIONAL_GROUPS_SEQUENCE);
    // Without groups of their own, several frames have no places of their own.
    let described = if own.is_empty() { 1 } else { count.min(own.len()) };
    (0..described).map(|at| frame(data, own.get(at).copied(), shared)).collect()
}

fn frame(data: &DataSet<'_>, own: Option<Span>, shared: Option<Span>) -> FrameHead {
    let view = FrameView::new(data, own, shared);
    let measures = Some(Tag::PIXEL_MEASURES_SEQUENCE);
    let transformation = Some(Tag::PIXEL_VALUE_TRANSFORMATION_SEQUENCE);
    let reconstruction = Some(Tag::CT_RECONSTRUCTION_SEQUENCE);
    let owned = |group, tag| view.text(group, tag).map(std::borrow::Cow::into_owned);
    let image_type = owned(Some(Tag::CT_IMAGE_FRAME_TYPE_SEQUENCE), Tag::FRAME_TYPE)
        .or_else(|| owned(None, Tag::IMAGE_TYPE))
        .unwrap_or_default();
    let mark = |name, group, tag| (name, Redacted::new(owned(group, tag)));
    let content = Some(Tag::FRAME_CONTENT_SEQUENCE);
    FrameHead {
        position: view.vector(Some(Tag::PLANE_POSITION_SEQUENCE), Tag::IMAGE_POSITION_PATIENT),
        orientation: view
            .vector(Some(Tag::PLANE_ORIENTATION_SEQUENCE), Tag::IMAGE_ORIENTATION_PATIENT),
        spacing: view.vector(measures, Tag::PIXEL_SPACING),
        slope: view.number(transformation, Tag::RESCALE_SLOPE),
        intercept: view.number(transformation, Tag::RESCALE_INTERCEPT),
        rescale_type: owned(transformation, Tag::RESCALE_TYPE),
        thickness: view.number(measures, Tag::SLICE_THICKNESS),
        kvp: view.number(Some(Tag::CT_X_RAY_DETAILS_SEQUENCE), Tag::KVP).filter(|kvp| *kvp > 0.0),
        kernel: Redacted::new(owned(reconstruction, Tag::CONVOLUTION_KERNEL)),
        marks: vec![
            mark("ConvolutionKernel", reconstruction, Tag::CONVOLUTION_KERNEL),
            mark("AcquisitionNumber", None, Tag::ACQUISITION_NUMBER),
            mark("ImageType", None, Tag::IMAGE_TYPE),
            mark("StackID", content, Tag::STACK_ID),
            mark("TemporalPositionIndex", content, Tag::TEMPORAL_POSITION_INDEX),
            mark("TemporalPositionIdentifier", None, Tag::TEMPORAL_POSITION_IDENTIFIER),
            mark("KVP", Some(Tag::CT_X_RAY_DETAILS_SEQUENCE), Tag::KVP),
            mark("SliceThickness", measures, Tag::SLICE_THICKNESS),
            mark("PixelSpacing", measures, Tag::PIXEL_SPACING),
            mark("ReconstructionDiameter", None, Tag::RECONSTRUCTION_DIAMETER),
            mark("FilterType", None, Tag::FILTER_TYPE),
            mark("AcquisitionDateTime", None, Tag::ACQUISITION_DATE_TIME),
            mark("AcquisitionTime", None, Tag::ACQUISITION_TIME),
        ],
        image_type: image_type.split('\\').map(|word| word.trim().to_owned()).collect(),
    }
}

/// Whether contrast medium is stated: an agent, a route, a usage.
fn contrast(data: &DataSet<'_>) -> Option<bool> {
    let root = data.root();
    let shared = data.items(root, Tag::SHARED_FUNCTIONAL_GROUPS_SEQUENCE);
    let used = shared
        .first()
        .is_some_and(|span| !data.items(*span, Tag::CONTRAST_BOLUS_USAGE_SEQUENCE).is_empty());
    let stated = data.text(root, Tag::CONTRAST_BOLUS_AGENT).is_some()
        || data.text(root, Tag::CONTRAST_BOLUS_ROUTE).is_some()
        || !data.items(root, Tag::CONTRAST_BOLUS_AGENT_SEQUENCE).is_empty()
        || used;
    // An absent agent is type 2 empty when none was given, and also when
    // nobody filled it in: only its presence says something.
    stated.then_some(true)
}

/// The position as one of the standard's terms (PS3.3 C.7.3.1.1.2).
fn known_position(text: &str) -> Option<&'static str> {
    const TERMS: [&str; 16] = [
        "HFP", "HFS", "HFDR", "HFDL", "FFDR", "FFDL", "FFP", "FFS", "LFP", "LFS", "RFP", "RFS",
        "AFDR", "AFDL", "PFDR", "PFDL",
    ];
    TERMS.into_iter().find(|term| *term == text)
}
