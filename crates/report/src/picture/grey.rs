//! Grey images: Hounsfield units through a window, PNG, text for a page.

use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder};

/// The range of Hounsfield units that the greys stand for, black to white.
///
/// Centre 350, width 1500: fat, muscle, spongy bone and cortex stay apart; one
/// window for every picture, so that greys can be compared.
pub(crate) const WINDOW: (f64, f64) = (-400.0, 1100.0);

/// Grey of an axis-aligned check where nothing was measured.
const NOTHING: [u8; 2] = [70, 100];

/// An image of one byte a pixel, row by row.
#[derive(Clone, Debug)]
pub(crate) struct GreyImage {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) pixels: Vec<u8>,
}

impl GreyImage {
    /// Hounsfield units of every pixel through [`WINDOW`]; a check pattern
    /// where they are not a number.
    pub(crate) fn of_hu(size: (usize, usize), hu: impl Fn(usize, usize) -> f64) -> Self {
        let (width, height) = size;
        let mut pixels = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let value = hu(x, y);
                pixels.push(if value.is_nan() {
                    NOTHING[(x / 4 + y / 4) % 2]
                } else {
                    grey(value)
                });
            }
        }
        Self { width, height, pixels }
    }

    /// As a PNG file.
    pub(crate) fn png(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        let encoder =
            PngEncoder::new_with_quality(&mut bytes, CompressionType::Default, FilterType::Up);
        let written = encoder.write_image(
            &self.pixels,
            self.width as u32,
            self.height as u32,
            ExtendedColorType::L8,
        );
        written.expect("the buffer has one byte a pixel and memory takes every write");
        bytes
    }

    /// As the address of an image within a page.
    pub(crate) fn uri(&self) -> String {
        data_uri("image/png", &self.png())
    }
}

fn grey(hu: f64) -> u8 {
    let (low, high) = WINDOW;
    ((hu - low) / (high - low) * 255.0).round().clamp(0.0, 255.0) as u8
}

/// Bytes as an address that holds them.
pub(crate) fn data_uri(kind: &str, bytes: &[u8]) -> String {
    format!("data:{kind};base64,{}", base64(bytes))
}

/// Base 64 with padding (RFC 4648, section 4).
pub(crate) fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let byte = |i: usize| u32::from(chunk.get(i).copied().unwrap_or(0));
        let word = byte(0) << 16 | byte(1) << 8 | byte(2);
        for digit in 0..4 {
            if digit <= chunk.len() {
                text.push(char::from(DIGITS[(word >> (18 - 6 * digit) & 63) as usize]));
            } else {
                text.push('=');
            }
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_that_of_the_standard() {
        // RFC 4648, section 10.
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn the_window_ends_are_black_and_white() {
        assert_eq!((grey(-1000.0), grey(-400.0), grey(1100.0), grey(3000.0)), (0, 0, 255, 255));
        assert_eq!(grey(350.0), 128);
    }
}
