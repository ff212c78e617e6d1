//! What is drawn with: the drawing library knows colours, a page knows classes of a style sheet. A colour stands for a
//! class here, so that one sheet decides about light, dark and print.

use plotters::style::RGBColor;
use plotters_backend::BackendColor;

/// What a shape is part of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    Nothing,
    Grid,
    Axis,
    Label,
    Title,
    Baseline,
    Mark,
    /// The line, solid or dashed, the dots, or the open dots of the series of that number.
    Line(u8),
    Dashed(u8),
    Dot(u8),
    Open(u8),
    /// The surface and the edges of the band of that number.
    Band(u8),
    Edge(u8),
}

impl Ink {
    /// The colour by which the library knows it.
    pub(super) const fn colour(self) -> RGBColor {
        match self {
            Self::Nothing => RGBColor(0, 0, 0),
            Self::Grid => RGBColor(1, 0, 0),
            Self::Axis => RGBColor(2, 0, 0),
            Self::Label => RGBColor(3, 0, 0),
            Self::Baseline => RGBColor(4, 0, 0),
            Self::Mark => RGBColor(5, 0, 0),
            Self::Line(n) => RGBColor(6, n, 0),
            Self::Dot(n) => RGBColor(7, n, 0),
            Self::Open(n) => RGBColor(8, n, 0),
            Self::Band(n) => RGBColor(9, n, 0),
            Self::Edge(n) => RGBColor(10, n, 0),
            Self::Dashed(n) => RGBColor(11, n, 0),
            Self::Title => RGBColor(12, 0, 0),
        }
    }

    /// What a colour stands for.
    pub(super) const fn of(colour: BackendColor) -> Self {
        match colour.rgb {
            (1, ..) => Self::Grid,
            (2, ..) => Self::Axis,
            (3, ..) => Self::Label,
            (4, ..) => Self::Baseline,
            (5, ..) => Self::Mark,
            (6, n, _) => Self::Line(n),
            (7, n, _) => Self::Dot(n),
            (8, n, _) => Self::Open(n),
            (9, n, _) => Self::Band(n),
            (10, n, _) => Self::Edge(n),
            (11, n, _) => Self::Dashed(n),
            (12, ..) => Self::Title,
            _ => Self::Nothing,
        }
    }

    /// Its classes in [`super::STYLE`], which has three sets of series.
    pub(super) fn class(self) -> String {
        let of = |what: &str, n: u8| format!("{what} s{}", n % 3 + 1);
        match self {
            Self::Nothing => String::new(),
            Self::Grid => "grid".to_owned(),
            Self::Axis => "axis".to_owned(),
            Self::Label => "label".to_owned(),
            Self::Title => "title".to_owned(),
            Self::Baseline => "base".to_owned(),
            Self::Mark => "mark".to_owned(),
            Self::Line(n) => of("line", n),
            Self::Dashed(n) => of("line dashed", n),
            Self::Dot(n) => of("dot", n),
            Self::Open(n) => of("open", n),
            Self::Band(n) => of("band", n),
            Self::Edge(n) => of("edge", n),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plotters_backend::BackendStyle;

    #[test]
    fn every_ink_is_known_again_by_its_colour() {
        let one = [Ink::Nothing, Ink::Grid, Ink::Axis, Ink::Label, Ink::Title, Ink::Baseline, Ink::Mark];
        let many = (0..3).flat_map(|n| {
            [Ink::Line(n), Ink::Dashed(n), Ink::Dot(n), Ink::Open(n), Ink::Band(n), Ink::Edge(n)]
        });
        for ink in one.into_iter().chain(many) {
            assert_eq!(Ink::of(ink.colour().color()), ink);
        }
    }
}
