//! Where the drawing library draws to: shapes with a class, in tenths of a pixel, written as SVG afterwards.

use super::ink::Ink;
use maud::{Markup, html};
use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
};
use std::convert::Infallible;

/// So many units of the library are a pixel: it counts whole ones, which would be coarse on paper.
pub(super) const PIXEL: i32 = 10;

/// Something drawn.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Shape {
    Path { ink: Ink, points: Vec<BackendCoord>, closed: bool },
    Circle { ink: Ink, center: BackendCoord, radius: u32 },
    Text { ink: Ink, at: BackendCoord, text: String, anchor: &'static str, baseline: &'static str },
}

/// A sheet that is drawn on.
pub(super) struct Sheet<'a> {
    pub(super) size: (u32, u32),
    pub(super) shapes: &'a mut Vec<Shape>,
}

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

impl Sheet<'_> {
    fn path(&mut self, color: BackendColor, points: Vec<BackendCoord>, closed: bool) -> Drawn {
        let ink = Ink::of(color);
        if ink != Ink::Nothing {
            self.shapes.push(Shape::Path { ink, points, closed });
        }
        Ok(())
    }
}

impl DrawingBackend for Sheet<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, _: BackendCoord, _: BackendColor) -> Drawn {
        // Nothing here is made of pixels: every shape that the library asks for is drawn below.
        Ok(())
    }

    fn draw_line<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S) -> Drawn {
        self.path(style.color(), vec![from, to], false)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        _: bool,
    ) -> Drawn {
        let ((left, top), (right, bottom)) = (upper_left, bottom_right);
        self.path(style.color(), vec![(left, top), (right, top), (right, bottom), (left, bottom)], true)
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Drawn {
        self.path(style.color(), path.into_iter().collect(), false)
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        center: BackendCoord,
        radius: u32,
        style: &S,
        _: bool,
    ) -> Drawn {
        self.shapes.push(Shape::Circle { ink: Ink::of(style.color()), center, radius });
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        vert: I,
        style: &S,
    ) -> Drawn {
        self.path(style.color(), vert.into_iter().collect(), true)
    }

    fn draw_text<T: BackendTextStyle>(&mut self, text: &str, style: &T, at: BackendCoord) -> Drawn {
        let anchor = match style.anchor().h_pos {
            HPos::Left => "start",
            HPos::Center => "middle",
            HPos::Right => "end",
        };
        let baseline = match style.anchor().v_pos {
            VPos::Top => "0.8em",
            VPos::Center => "0.32em",
            VPos::Bottom => "-0.2em",
        };
        let ink = Ink::of(style.color());
        self.shapes.push(Shape::Text { ink, at, text: text.to_owned(), anchor, baseline });
        Ok(())
    }

    fn estimate_text_size<T: BackendTextStyle>(
        &self,
        text: &str,
        style: &T,
    ) -> Result<(u32, u32), DrawingErrorKind<Infallible>> {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "sizes of letters")]
        let size = style.size().max(0.0) as u32;
        let letters = u32::try_from(text.chars().count()).unwrap_or(u32::MAX);
        // Letters of a sans-serif type are about 0.6 of their height wide.
        Ok((letters.saturating_mul(size) / 10 * 6, size))
    }
}

/// Units as pixels, with a decimal where there is one.
fn pixels(units: i32) -> String {
    let (whole, rest) = (units / PIXEL, (units % PIXEL).abs());
    let sign = if units < 0 && whole == 0 { "-" } else { "" };
    if rest == 0 { format!("{sign}{whole}") } else { format!("{sign}{whole}.{rest}") }
}

impl Shape {
    /// The element.
    pub(super) fn element(&self) -> Markup {
        match self {
            Self::Path { ink, points, closed } => {
                let way: Vec<String> =
                    points.iter().map(|&(x, y)| format!("{} {}", pixels(x), pixels(y))).collect();
                let way = format!("M{}{}", way.join("L"), if *closed { "Z" } else { "" });
                html! { path class=(ink.class()) d=(way) {} }
            }
            Self::Circle { ink, center: (x, y), radius } => {
                let radius = i32::try_from(*radius).map(pixels).unwrap_or_default();
                html! { circle class=(ink.class()) cx=(pixels(*x)) cy=(pixels(*y)) r=(radius) {} }
            }
            Self::Text { ink, at: (x, y), text, anchor, baseline } => html! {
                text class=(ink.class()) x=(pixels(*x)) y=(pixels(*y)) dy=(baseline) text-anchor=(anchor) { (text) }
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_tenths_of_pixels() {
        for (units, text) in [(0, "0"), (10, "1"), (125, "12.5"), (-5, "-0.5"), (-125, "-12.5")] {
            assert_eq!(pixels(units), text);
        }
    }

    #[test]
    fn a_text_is_never_markup() {
        let at = (0, 0);
        let text = "<script>alert(1)</script> & co".to_owned();
        let shape = Shape::Text { ink: Ink::Label, at, text, anchor: "start", baseline: "0" };
        let element = shape.element().into_string();
        assert!(element.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; co"), "{element}");
        assert!(!element.contains("<script"), "{element}");
    }
}
