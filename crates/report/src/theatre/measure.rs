//! How wide text is, by the advances of the font's own glyphs.

use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, GlyphId, MetadataProvider};

use super::sheet::Face;

/// Kerning may widen a pair of letters: text is taken to be this much wider
/// than its advances. Our own limit, no source.
const KERNING: f32 = 1.01;

/// The two faces as they were read.
pub(super) struct Measure {
    faces: [FontRef<'static>; 2],
}

impl Measure {
    pub(super) fn new(faces: [&'static [u8]; 2]) -> Self {
        Self {
            faces: faces
                .map(|bytes| FontRef::new(bytes).expect("the fonts of the crate are sound")),
        }
    }

    /// Width of a line, pt.
    pub(super) fn width(&self, face: Face, size: f32, text: &str) -> f32 {
        let font = &self.faces[face as usize];
        let letters = font.charmap();
        let glyphs = font.glyph_metrics(Size::new(size), LocationRef::default());
        let advance = |c| {
            let glyph = letters.map(c).unwrap_or(GlyphId::NOTDEF);
            glyphs.advance_width(glyph).unwrap_or(size)
        };
        KERNING * text.chars().map(advance).sum::<f32>()
    }

    /// Words in lines of at most `width` pt; a word that is wider has a line of
    /// its own.
    pub(super) fn wrapped(&self, face: Face, size: f32, text: &str, width: f32) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in text.split(' ') {
            match lines.last_mut() {
                Some(line) if self.width(face, size, &format!("{line} {word}")) <= width => {
                    line.push(' ');
                    line.push_str(word);
                }
                _ => lines.push(word.to_owned()),
            }
        }
        lines
    }

    /// The size between `least` and `size` at which a line fits a width, and
    /// the line, cut with an ellipsis where the least does not do.
    pub(super) fn fitted(
        &self,
        face: Face,
        (least, size): (f32, f32),
        text: &str,
        width: f32,
    ) -> (f32, String) {
        let full = self.width(face, size, text);
        if full <= width {
            return (size, text.to_owned());
        }
        let smaller = (size * width / full).max(least);
        let mut shown = text.to_owned();
        // A text made to fit may be too wide by a rounding.
        while self.width(face, smaller, &shown) > width + 0.01 && shown.chars().count() > 2 {
            shown = crate::text::shortened(&shown, shown.chars().count() - 1);
        }
        (smaller, shown)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measure() -> Measure {
        Measure::new([dejavu::sans_condensed::regular(), dejavu::sans_condensed::bold()])
    }

    #[test]
    fn widths_are_those_of_the_fonts_tables() {
        // `hmtx` of DejaVu Sans Condensed 2.37, 2048 units an em, read with fontTools 4.68:
        // "n" 1168 and "I" 543 in the regular face.
        let one = |text| measure().width(Face::Plain, 2048.0, text) / KERNING;
        assert!((one("n") - 1168.0).abs() <= 1.0, "{}", one("n"));
        assert!((one("I") - 543.0).abs() <= 1.0, "{}", one("I"));
        assert!((one("nIn") - 2.0 * 1168.0 - 543.0).abs() <= 2.0);
    }

    #[test]
    fn a_name_is_made_smaller_before_it_is_cut() {
        let measure = measure();
        let (size, shown) = measure.fitted(Face::Bold, (9.0, 14.0), "posterior", 60.0);
        assert_eq!(shown, "posterior");
        assert!(size < 14.0 && measure.width(Face::Bold, size, &shown) <= 60.01, "{size}");
        let (size, shown) = measure.fitted(Face::Bold, (9.0, 14.0), &"d".repeat(30), 60.0);
        assert!((size - 9.0).abs() < 1e-6 && shown.ends_with('\u{2026}'), "{size} {shown}");
        assert!(measure.width(Face::Bold, size, &shown) <= 60.01);
    }

    #[test]
    fn lines_hold_their_width() {
        let measure = measure();
        let text = "a licensed surgeon decides on the images and the patient";
        let lines = measure.wrapped(Face::Plain, 10.0, text, 100.0);
        assert!(lines.len() > 1);
        assert!(lines.iter().all(|line| measure.width(Face::Plain, 10.0, line) <= 100.0));
        assert_eq!(lines.join(" "), text);
    }
}
