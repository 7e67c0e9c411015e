//! Stored words to Hounsfield units.
//!
//! The order is the standard's: the pixel cell's bits above the high bit are
//! dropped (overlays lived there), the value is extended by `BitsStored` and
//! `PixelRepresentation`, padding is taken out as stored, and only then slope
//! and intercept are applied, once (PS3.5 8.1.1, PS3.3 C.7.5.1.1.2, C.11.1).

use pilothole_volume::NOTHING_I16;
use sha2::{Digest, Sha256};

use super::PixelFault;
use crate::dicom::Layout;

/// How a stored word of one frame becomes a number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Rule {
    up: u32,
    down: u32,
    signed: bool,
    /// Range of padding, as stored; empty when low is above high.
    padding: [i32; 2],
    pub slope: f64,
    pub intercept: f64,
}

impl Rule {
    /// The rule of a frame; the layout has been checked.
    pub(crate) fn new(layout: &Layout, slope: f64, intercept: f64) -> Self {
        let high = u32::from(layout.high).min(15);
        let stored = u32::from(layout.stored).clamp(1, 16);
        let mut rule = Self {
            up: 15 - high,
            down: 16 - stored,
            signed: layout.signed,
            padding: [1, 0],
            slope,
            intercept,
        };
        if let Some((value, limit)) = layout.padding {
            let whole = |bits: u16| {
                if layout.signed { i32::from(bits.cast_signed()) } else { i32::from(bits) }
            };
            let (a, b) = (whole(value), whole(limit));
            rule.padding = [a.min(b), a.max(b)];
        }
        rule
    }

    /// The largest number that storage can hold, after rescale.
    pub(crate) fn ceiling(&self) -> f64 {
        let bits = 16 - self.down;
        let [low, high] = if self.signed {
            [-(1_i32 << (bits - 1)), (1 << (bits - 1)) - 1]
        } else {
            [0, (1 << bits) - 1]
        };
        let at = |stored: i32| f64::from(stored) * self.slope + self.intercept;
        at(low).max(at(high))
    }

    /// Whether slope and intercept are whole and small enough for 32-bit sums.
    pub(crate) fn is_whole(&self) -> bool {
        let whole = |v: f64, most: f64| v.fract() == 0.0 && v.abs() <= most;
        whole(self.slope, 16_384.0) && whole(self.intercept, 1_048_576.0)
    }

    #[inline]
    fn stored(&self, word: u16) -> i32 {
        if self.signed {
            i32::from((word << self.up).cast_signed() >> self.down)
        } else {
            i32::from((word << self.up) >> self.down)
        }
    }
}

/// Facts of one slice, gathered while it is in the cache.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct SliceFacts {
    /// Largest number; minus infinity where all is padding.
    pub max: f64,
    pub at_max: usize,
    pub nothing: usize,
    /// Counts of every [`HISTOGRAM_STRIDE`]th voxel, by steps of
    /// [`HISTOGRAM_STEP_HU`] from [`HISTOGRAM_FROM_HU`].
    pub histogram: Vec<u32>,
    pub digest: [u8; 32],
}

/// Width of a bin, HU: a fifth of the noise of a thin slice.
pub(crate) const HISTOGRAM_STEP_HU: f64 = 8.0;
/// Lower edge of the first bin, HU; what lies below is counted in it.
pub(crate) const HISTOGRAM_FROM_HU: f64 = -3000.0;
/// Number of bins, up to 3400 HU; what lies above is counted in the last.
pub(crate) const HISTOGRAM_BINS: usize = 800;
/// A prime, so that a column is not looked at more often than others; in
/// slices of fewer than [`EVERY_VOXEL_BELOW`] voxels each one is looked at.
const HISTOGRAM_STRIDE: usize = 29;
/// See [`HISTOGRAM_STRIDE`].
const EVERY_VOXEL_BELOW: usize = 1 << 16;

/// A type that holds Hounsfield units.
pub(crate) trait Element: Copy + Default + Send + Sync {
    /// Fill a slice from its stored words.
    fn fill(
        words: impl Iterator<Item = u16>,
        rule: &Rule,
        out: &mut [Self],
    ) -> Result<(), PixelFault>;

    /// The value, not-a-number for padding.
    fn hu(self) -> f64;

    /// Largest value (minus infinity where all is padding), how many voxels
    /// have it, how many are padding.
    fn survey(values: &[Self]) -> (f64, usize, usize);

    /// Feed the digest with values as little-endian bytes.
    fn digest(values: &[Self], hash: &mut Sha256);
}

impl Element for i16 {
    fn fill(
        words: impl Iterator<Item = u16>,
        rule: &Rule,
        out: &mut [Self],
    ) -> Result<(), PixelFault> {
        if rule.slope.to_bits() == 1_f64.to_bits() && rule.up == rule.down {
            return fill_unit(words, rule, out);
        }
        let (slope, intercept) = (rule.slope as i32, rule.intercept as i32);
        let [from, to] = rule.padding;
        let (mut low, mut high) = (0, 0);
        for (word, out) in words.zip(out) {
            let stored = rule.stored(word);
            let hu = stored * slope + intercept;
            let is_padding = stored >= from && stored <= to;
            let kept = if is_padding { 0 } else { hu };
            low = low.min(kept);
            high = high.max(kept);
            *out = if is_padding { NOTHING_I16 } else { hu as Self };
        }
        let fits = low > i32::from(NOTHING_I16) && high <= i32::from(Self::MAX);
        if fits { Ok(()) } else { Err(PixelFault::Range) }
    }

    fn hu(self) -> f64 {
        if self == NOTHING_I16 { f64::NAN } else { self.into() }
    }

    fn survey(values: &[Self]) -> (f64, usize, usize) {
        // The padding value is the least there is, so it never is the largest
        // of a slice that holds anything.
        let max = values.iter().copied().max().unwrap_or(NOTHING_I16);
        // Blocks short enough to be counted in 16 bits, which is fast.
        let count = |wanted| -> usize {
            let block = |b: &[Self]| b.iter().map(|v| u16::from(*v == wanted)).sum::<u16>();
            values.chunks(4096).map(|b| usize::from(block(b))).sum()
        };
        let nothing = count(NOTHING_I16);
        if max == NOTHING_I16 {
            return (f64::NEG_INFINITY, 0, nothing);
        }
        (max.into(), count(max), nothing)
    }

    fn digest(values: &[Self], hash: &mut Sha256) {
        let mut bytes = [0_u8; 8192];
        for chunk in values.chunks(bytes.len() / 2) {
            for (value, pair) in chunk.iter().zip(bytes.chunks_exact_mut(2)) {
                pair.copy_from_slice(&value.to_le_bytes());
            }
            hash.update(&bytes[..2 * chunk.len()]);
        }
    }
}

/// Fill at slope one from values that start at bit 0, in 16-bit arithmetic
/// throughout.
///
/// A stored value is turned into a key that sorts like it: itself when signed,
/// itself less 32768 when not. Sums wrap; whether they did is judged by the
/// least and the greatest key.
#[expect(clippy::needless_bitwise_bool, reason = "without branches it runs on vectors")]
fn fill_unit(
    words: impl Iterator<Item = u16>,
    rule: &Rule,
    out: &mut [i16],
) -> Result<(), PixelFault> {
    let mask = u16::MAX >> rule.up;
    // Flipping the sign bit and taking it away extends the sign.
    let sign = 1_u16 << (15 - rule.up);
    let (flip, lift) = if rule.signed { (sign, sign) } else { (0, 0x8000) };
    keys(words, [mask, flip, lift], out);
    let lift = if rule.signed { 0 } else { 32_768 };
    let shift = rule.intercept as i32 + lift;
    let key_of = |stored: i32| (stored - lift).clamp(-32_768, 32_767) as i16;
    let [from, to] = if rule.padding[0] <= rule.padding[1] {
        rule.padding.map(key_of)
    } else {
        [i16::MAX, i16::MIN]
    };
    let (mut low, mut high) = (i16::MAX, i16::MIN);
    for value in out {
        let key = *value;
        let is_padding = (key >= from) & (key <= to);
        low = low.min(if is_padding { i16::MAX } else { key });
        high = high.max(if is_padding { i16::MIN } else { key });
        *value = if is_padding { NOTHING_I16 } else { key.wrapping_add(shift as i16) };
    }
    let fits = |key: i16| {
        let hu = i32::from(key) + shift;
        hu > i32::from(NOTHING_I16) && hu <= i32::from(i16::MAX)
    };
    // All is padding when the greatest key is below the least.
    if high < low || (fits(low) && fits(high)) { Ok(()) } else { Err(PixelFault::Range) }
}

/// Write the key of each word; a function of its own so that the compiler
/// knows that words and keys do not overlap, and works on vectors.
#[inline(never)]
fn keys(words: impl Iterator<Item = u16>, [mask, flip, lift]: [u16; 3], out: &mut [i16]) {
    for (word, out) in words.zip(out) {
        *out = ((word & mask) ^ flip).wrapping_sub(lift).cast_signed();
    }
}

impl Element for f32 {
    fn fill(
        words: impl Iterator<Item = u16>,
        rule: &Rule,
        out: &mut [Self],
    ) -> Result<(), PixelFault> {
        let [from, to] = rule.padding;
        for (word, out) in words.zip(out) {
            let stored = rule.stored(word);
            let hu = f64::from(stored) * rule.slope + rule.intercept;
            *out = if stored >= from && stored <= to { Self::NAN } else { hu as Self };
        }
        Ok(())
    }

    fn hu(self) -> f64 {
        self.into()
    }

    fn survey(values: &[Self]) -> (f64, usize, usize) {
        let max = values.iter().copied().fold(Self::NEG_INFINITY, Self::max);
        let at_max = values.iter().filter(|v| **v >= max).count();
        let nothing = values.iter().filter(|v| v.is_nan()).count();
        (max.into(), if nothing == values.len() { 0 } else { at_max }, nothing)
    }

    fn digest(values: &[Self], hash: &mut Sha256) {
        let mut bytes = [0_u8; 8192];
        for chunk in values.chunks(bytes.len() / 4) {
            for (value, four) in chunk.iter().zip(bytes.chunks_exact_mut(4)) {
                // One not-a-number for all, so that equal volumes hash equally.
                let value = if value.is_nan() { Self::NAN } else { *value };
                four.copy_from_slice(&value.to_le_bytes());
            }
            hash.update(&bytes[..4 * chunk.len()]);
        }
    }
}

impl SliceFacts {
    /// Look at a finished slice once.
    pub(crate) fn of<T: Element>(values: &[T]) -> Self {
        let mut hash = Sha256::new();
        T::digest(values, &mut hash);
        let (max, at_max, nothing) = T::survey(values);
        let mut histogram = vec![0; HISTOGRAM_BINS];
        let stride = if values.len() < EVERY_VOXEL_BELOW { 1 } else { HISTOGRAM_STRIDE };
        for value in values.iter().step_by(stride) {
            let bin = (value.hu() - HISTOGRAM_FROM_HU) / HISTOGRAM_STEP_HU;
            if !bin.is_nan() {
                histogram[(bin.max(0.0) as usize).min(HISTOGRAM_BINS - 1)] += 1;
            }
        }
        Self { max, at_max, nothing, histogram, digest: hash.finalize().into() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layout(stored: u16, signed: bool) -> Layout {
        Layout { stored, high: stored - 1, signed, allocated: 16, ..Layout::default() }
    }

    #[test]
    fn bits_above_the_high_bit_do_not_count_and_signs_are_extended() {
        let mut out = [0_i16; 3];
        let words = [0xF7FF_u16, 0x0FFF, 0x0800];
        i16::fill(words.into_iter(), &Rule::new(&layout(12, true), 1.0, 0.0), &mut out)
            .expect("fits");
        assert_eq!(out, [2047, -1, -2048]);
        i16::fill(words.into_iter(), &Rule::new(&layout(12, false), 1.0, -1024.0), &mut out)
            .expect("fits");
        assert_eq!(out, [1023, 3071, 1024]);
    }

    #[test]
    fn padding_is_taken_out_before_rescale_and_may_not_fit_after() {
        let mut padded = layout(16, true);
        padded.padding = Some((0x8000, 0x8000));
        let mut out = [0_i16; 2];
        let rule = Rule::new(&padded, 1.0, -1024.0);
        i16::fill([0x8000, 0x0000].into_iter(), &rule, &mut out).expect("padding is no value");
        assert_eq!(out, [NOTHING_I16, -1024]);
        let bare = Rule::new(&layout(16, true), 1.0, -1024.0);
        assert_eq!(i16::fill([0x8000].into_iter(), &bare, &mut out), Err(PixelFault::Range));
    }

    #[test]
    fn the_fast_way_and_the_general_way_agree() {
        for signed in [false, true] {
            for stored in [8, 12, 15, 16] {
                let mut layout = layout(stored, signed);
                layout.padding = Some((7, 3));
                let rule = Rule::new(&layout, 1.0, -300.0);
                let words = (0..=u16::MAX).step_by(5);
                let mut floats = vec![0_f32; words.len()];
                let mut whole = vec![0_i16; words.len()];
                f32::fill(words.clone(), &rule, &mut floats).expect("any number");
                let filled = i16::fill(words, &rule, &mut whole);
                let fits = floats.iter().all(|v| v.is_nan() || (*v > -32_768.0 && *v < 32_768.0));
                assert_eq!(filled.is_ok(), fits, "{signed} {stored}");
                for (a, b) in whole.iter().zip(&floats).filter(|_| fits) {
                    assert!((a.hu() - b.hu()).abs() < 0.5 || (a.hu().is_nan() && b.is_nan()));
                }
            }
        }
    }

    #[test]
    fn the_ceiling_is_the_top_of_what_is_stored() {
        let top =
            |stored, signed, slope| Rule::new(&layout(stored, signed), slope, -1024.0).ceiling();
        assert!((top(12, false, 1.0) - 3071.0).abs() < 1e-9);
        assert!((top(12, true, 1.0) - 1023.0).abs() < 1e-9);
        assert!((top(12, false, -1.0) - -1024.0).abs() < 1e-9);
    }
}
