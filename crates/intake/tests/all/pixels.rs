//! Right numbers from odd bits.

use dicom_core::value::{PixelFragmentSequence, PrimitiveValue};
use dicom_core::{DataElement, VR, dicom_value};
use dicom_dictionary_std::tags;
use pilothole_volume::Voxels;

use crate::made::{Object, Series, code, hu, number, text, words};

#[test]
fn overlay_bits_above_the_stored_ones_are_dropped() {
    let overlaid = Series::default().with(|k, o| {
        let stored = Series::default().stored(k);
        words(o, &stored.iter().map(|v| v | 0xA000).collect::<Vec<_>>());
    });
    assert_eq!(
        overlaid.read().expect("reads").digest,
        Series::default().read().expect("reads").digest
    );
}

#[test]
fn signed_values_of_twelve_bits_are_extended() {
    let signed = Series::default().with(|k, o| {
        number(o, tags::PIXEL_REPRESENTATION, 1);
        text(o, tags::RESCALE_INTERCEPT, VR::DS, "0");
        let stored = Series::default().stored(k);
        words(o, &stored.iter().map(|v| v.wrapping_sub(1024) & 0x0FFF).collect::<Vec<_>>());
    });
    let read = signed.read().expect("reads");
    assert_eq!(read.digest, Series::default().read().expect("reads").digest);
    assert_eq!(read.volume.ceiling_hu(), Some(2047.0));
}

#[test]
fn padding_is_nothing_by_value_and_by_range() {
    let padded = |limit: Option<u16>| {
        Series::default().with(move |k, o| {
            let mut stored = Series::default().stored(k);
            (stored[0], stored[1], stored[2]) = (10, 12, 14);
            words(o, &stored);
            number(o, tags::PIXEL_PADDING_VALUE, 10);
            if let Some(limit) = limit {
                number(o, tags::PIXEL_PADDING_RANGE_LIMIT, limit);
            }
        })
    };
    let one = padded(None).read().expect("reads");
    assert!(one.volume.hu_or_nan([0, 0, 3]).is_nan());
    assert!((one.volume.hu_or_nan([1, 0, 3]) + 1012.0).abs() < 1e-6);
    assert_eq!(one.facts.padding_voxels, 8);
    let range = padded(Some(12)).read().expect("reads");
    assert!(range.volume.hu_or_nan([1, 0, 3]).is_nan());
    assert!((range.volume.hu_or_nan([2, 0, 3]) + 1010.0).abs() < 1e-6);
    assert_eq!(range.facts.padding_voxels, 16);
}

#[test]
fn a_slope_other_than_one_is_applied_once() {
    let doubled = Series::default().with(|k, o| {
        text(o, tags::RESCALE_SLOPE, VR::DS, "2");
        let stored = Series::default().stored(k);
        words(o, &stored.iter().map(|v| v / 2).collect::<Vec<_>>());
    });
    let read = doubled.read().expect("reads");
    assert!(matches!(read.volume.voxels(), Voxels::I16(_)));
    let stored = (hu(9, 7, 2) + 1024) >> 1;
    let expected = f32::from(stored * 2 - 1024);
    assert!((read.volume.hu_or_nan([9, 7, 2]) - expected).abs() < 1e-6);
    let half = Series::default().with(|_, o| text(o, tags::RESCALE_INTERCEPT, VR::DS, "-1024.5"));
    let read = half.read().expect("reads");
    assert!(matches!(read.volume.voxels(), Voxels::F32(_)));
    assert!((read.volume.hu_or_nan([9, 7, 2]) - f32::from(hu(9, 7, 2)) + 0.5).abs() < 1e-6);
}

#[test]
fn values_beyond_sixteen_bits_after_rescale_become_floats() {
    let wide = Series::default().with(|k, o| {
        number(o, tags::BITS_STORED, 16);
        number(o, tags::HIGH_BIT, 15);
        let mut stored = Series::default().stored(k);
        stored[170] = 65_000;
        words(o, &stored);
    });
    let read = wide.read().expect("reads");
    assert!(matches!(read.volume.voxels(), Voxels::F32(_)));
    assert!((read.volume.hu_or_nan([10, 8, 0]) - 63_976.0).abs() < 1e-3);
}

#[test]
fn eight_bit_pixels_are_read() {
    let small = Series::default().with(|_, o| {
        number(o, tags::BITS_ALLOCATED, 8);
        number(o, tags::BITS_STORED, 8);
        number(o, tags::HIGH_BIT, 7);
        text(o, tags::RESCALE_SLOPE, VR::DS, "8");
        let bytes: Vec<u8> = (0..320_u32).map(|at| (at % 256) as u8).collect();
        o.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::from(bytes)));
    });
    let read = small.read().expect("reads");
    assert!((read.volume.hu_or_nan([5, 2, 0]) - (45.0 * 8.0 - 1024.0)).abs() < 1e-6);
}

/// PS3.5 annex G, without looking for runs: literals of up to 128 bytes.
pub(crate) fn run_length(stored: &[u16]) -> Vec<u8> {
    let mut frame = vec![0_u8; 64];
    frame[0] = 2;
    for plane in 0..2 {
        let at = u32::try_from(frame.len()).expect("small");
        frame[4 + 4 * plane..8 + 4 * plane].copy_from_slice(&at.to_le_bytes());
        let bytes: Vec<u8> = stored.iter().map(|v| v.to_be_bytes()[plane]).collect();
        for part in bytes.chunks(128) {
            frame.push(part.len() as u8 - 1);
            frame.extend_from_slice(part);
        }
        if frame.len() % 2 == 1 {
            frame.push(0x80);
        }
    }
    frame
}

/// Replace the pixels by one packed frame in the given fragments.
pub(crate) fn pack(object: &mut Object, fragments: Vec<Vec<u8>>) {
    let sequence: PixelFragmentSequence<Vec<u8>> = PixelFragmentSequence::new_fragments(fragments);
    object.put(DataElement::new(tags::PIXEL_DATA, VR::OB, sequence));
}

pub(crate) const RUN_LENGTH: &str = "1.2.840.10008.1.2.5";

#[test]
fn run_length_frames_are_read_in_one_fragment_or_several() {
    for parts in [1, 3] {
        let packed = Series { syntax: RUN_LENGTH, ..Series::default() }.with(move |k, o| {
            let frame = run_length(&Series::default().stored(k));
            let len = frame.len().div_ceil(parts).next_multiple_of(2);
            pack(o, frame.chunks(len).map(<[u8]>::to_vec).collect());
        });
        let read = packed.read().expect("reads");
        assert_eq!(read.digest, Series::default().read().expect("reads").digest);
    }
}

#[test]
fn packed_frames_that_are_damaged_are_refused() {
    let cut = Series { syntax: RUN_LENGTH, ..Series::default() }.with(|k, o| {
        let mut frame = run_length(&Series::default().stored(k));
        frame.truncate(200);
        pack(o, vec![frame]);
    });
    assert_eq!(cut.refused(), "pixels.truncated");
    for syntax in ["50", "57", "70", "80", "90"] {
        let syntax: &'static str = match syntax {
            "50" => "1.2.840.10008.1.2.4.50",
            "57" => "1.2.840.10008.1.2.4.57",
            "70" => "1.2.840.10008.1.2.4.70",
            "80" => "1.2.840.10008.1.2.4.80",
            _ => "1.2.840.10008.1.2.4.90",
        };
        let junk = Series { syntax, ..Series::default() }
            .with(|_, o| pack(o, vec![b"no image at all ".to_vec()]));
        assert_eq!(code(junk.read()), "pixels.damaged", "{syntax}");
    }
    let unpacked = Series { syntax: RUN_LENGTH, ..Series::default() };
    assert_eq!(unpacked.refused(), "pixels.syntax");
    let packed = Series::default().with(|_, o| pack(o, vec![vec![0; 64]]));
    assert_eq!(packed.refused(), "pixels.syntax");
}

#[test]
fn a_packed_image_of_another_size_is_refused_before_it_is_decoded() {
    // SIZ of a codestream of 40,000 x 40,000 pixels.
    let mut stream = vec![0xFF, 0x4F, 0xFF, 0x51, 0, 41, 0, 0];
    for number in [40_000_u32, 40_000, 0, 0, 40_000, 40_000, 0, 0] {
        stream.extend(number.to_be_bytes());
    }
    stream.extend([0, 1, 15, 1, 1, 0]);
    let huge = Series { syntax: "1.2.840.10008.1.2.4.90", ..Series::default() }
        .with(move |_, o| pack(o, vec![stream.clone()]));
    let refusal = huge.read().expect_err("another size");
    assert_eq!((refusal.0[0].code, refusal.0[0].measured), ("pixels.size", Some(1.6e9)));
    // A JPEG-LS frame header that says 1 x 1.
    let stream = vec![0xFF, 0xD8, 0xFF, 0xF7, 0, 11, 12, 0, 1, 0, 1, 1, 1, 0x11, 0, 0];
    let tiny = Series { syntax: "1.2.840.10008.1.2.4.80", ..Series::default() }
        .with(move |_, o| pack(o, vec![stream.clone()]));
    assert_eq!(tiny.refused(), "pixels.size");
    let _ = dicom_value!(U16, [0]);
}
