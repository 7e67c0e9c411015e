//! Text, lines and boxes on a page, in points from the top left.

use krilla::color::luma;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::image::Image;
use krilla::num::NormalizedF32;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};

use crate::picture::GreyImage;

/// Which of the two faces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Face {
    Plain,
    Bold,
}

/// A page being drawn.
pub(super) struct Sheet<'a> {
    surface: Surface<'a>,
    fonts: &'a [Font; 2],
}

impl<'a> Sheet<'a> {
    pub(super) fn new(surface: Surface<'a>, fonts: &'a [Font; 2]) -> Self {
        Self { surface, fonts }
    }

    pub(super) fn finish(self) {
        self.surface.finish();
    }

    /// Text with its baseline at `y`.
    pub(super) fn text(&mut self, x: f32, y: f32, face: Face, size: f32, text: &str) {
        let font = match face {
            Face::Plain => self.fonts[0].clone(),
            Face::Bold => self.fonts[1].clone(),
        };
        self.surface.set_stroke(None);
        self.surface.set_fill(Some(grey(0)));
        let at = Point::from_xy(x, y);
        self.surface.draw_text(at, font, size, text, false, TextDirection::LeftToRight);
    }

    /// The same, made smaller, then cut, to fit a width.
    pub(super) fn text_within(
        &mut self,
        (x, y): (f32, f32),
        (face, size): (Face, f32),
        text: &str,
        width: f32,
    ) {
        let (smaller, shown) = fitted(text, size, width);
        self.text(x, y, face, smaller, &shown);
    }

    /// A straight line; `lightness` 0 is black.
    pub(super) fn line(&mut self, from: (f32, f32), to: (f32, f32), width: f32, lightness: u8) {
        let mut path = PathBuilder::new();
        path.move_to(from.0, from.1);
        path.line_to(to.0, to.1);
        self.surface.set_fill(None);
        self.surface.set_stroke(Some(Stroke {
            paint: luma::Color::new(lightness).into(),
            width,
            ..Stroke::default()
        }));
        if let Some(path) = path.finish() {
            self.surface.draw_path(&path);
        }
    }

    /// An empty box.
    pub(super) fn frame(&mut self, x: f32, y: f32, width: f32, height: f32, thick: f32) {
        let mut path = PathBuilder::new();
        if let Some(rect) = Rect::from_xywh(x, y, width, height) {
            path.push_rect(rect);
        }
        self.surface.set_fill(None);
        self.surface.set_stroke(Some(Stroke {
            paint: luma::Color::new(0).into(),
            width: thick,
            ..Stroke::default()
        }));
        if let Some(path) = path.finish() {
            self.surface.draw_path(&path);
        }
    }

    /// A full box.
    pub(super) fn fill(&mut self, x: f32, y: f32, width: f32, height: f32, lightness: u8) {
        let mut path = PathBuilder::new();
        if let Some(rect) = Rect::from_xywh(x, y, width, height) {
            path.push_rect(rect);
        }
        self.surface.set_stroke(None);
        self.surface.set_fill(Some(grey(lightness)));
        if let Some(path) = path.finish() {
            self.surface.draw_path(&path);
        }
    }

    /// A square grey picture.
    pub(super) fn image(&mut self, image: &GreyImage, x: f32, y: f32, edge: f32) {
        let picture = Image::from_png(image.png().into(), true);
        let Some((picture, size)) = picture.ok().zip(Size::from_wh(edge, edge)) else { return };
        self.surface.push_transform(&Transform::from_translate(x, y));
        self.surface.draw_image(picture, size);
        self.surface.pop();
    }
}

fn grey(lightness: u8) -> Fill {
    Fill {
        paint: luma::Color::new(lightness).into(),
        opacity: NormalizedF32::ONE,
        rule: krilla::paint::FillRule::default(),
    }
}

/// Width of text in the condensed face, pt, never too small for Latin text.
///
/// By classes of letters: the bold face's widest of each class.
pub(super) fn width_of(text: &str, size: f32) -> f32 {
    let em = |c: char| match c {
        'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '\'' | '|' | '!' | ' ' => 0.36,
        'f' | 't' | 'r' | '(' | ')' | '/' | '-' => 0.46,
        'm' | 'w' | 'M' | 'W' | '%' | '@' | '\u{2026}' => 0.95,
        'A'..='Z' => 0.72,
        c if c.is_ascii() => 0.63,
        _ => 0.9,
    };
    text.chars().map(em).sum::<f32>() * size
}

/// The size at which a text fits a width, and the text, cut where the smallest
/// size does not do.
fn fitted(text: &str, size: f32, width: f32) -> (f32, String) {
    let smaller = (size * width / width_of(text, size).max(1.0)).clamp(0.68 * size, size);
    let mut shown = text.to_owned();
    // A text made to fit may be too wide by a rounding.
    while width_of(&shown, smaller) > width + 0.01 && shown.chars().count() > 2 {
        shown = crate::text::shortened(&shown, shown.chars().count() - 1);
    }
    (smaller, shown)
}

/// Words in lines of at most `width` pt.
pub(super) fn wrapped(text: &str, width: f32, size: f32) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if width_of(&format!("{line} {word}"), size) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_made_smaller_before_it_is_cut() {
        for length in 6..=10 {
            for letter in ["d", "o", "n"] {
                let name = letter.repeat(length);
                let (size, shown) = fitted(&name, 13.0, 61.0);
                assert_eq!(shown, name);
                assert!(width_of(&shown, size) <= 61.01 && size >= 8.8, "{size}");
            }
        }
        assert!(fitted(&"d".repeat(30), 13.0, 61.0).1.ends_with('\u{2026}'));
    }

    #[test]
    fn lines_hold_their_width() {
        let text = "a licensed surgeon decides on the images and the patient";
        let lines = wrapped(text, 100.0, 10.0);
        assert!(lines.len() > 1);
        assert!(lines.iter().all(|line| width_of(line, 10.0) <= 100.0));
        assert_eq!(lines.join(" "), text);
    }
}
