//! Text, lines and boxes on a page, in points from the top left.

use krilla::color::luma;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::image::Image;
use krilla::num::NormalizedF32;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};

use super::measure::Measure;
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
    /// How wide text in these fonts is.
    pub(super) measure: &'a Measure,
}

impl<'a> Sheet<'a> {
    pub(super) fn new(surface: Surface<'a>, fonts: &'a [Font; 2], measure: &'a Measure) -> Self {
        Self { surface, fonts, measure }
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

    /// The same, made smaller down to the first of `sizes`, then cut, to fit a
    /// width.
    pub(super) fn text_within(
        &mut self,
        (x, y): (f32, f32),
        (face, sizes): (Face, (f32, f32)),
        text: &str,
        width: f32,
    ) {
        let (smaller, shown) = self.measure.fitted(face, sizes, text, width);
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
