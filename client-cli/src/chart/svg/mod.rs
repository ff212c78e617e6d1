//! A chart as SVG, for a file of its own or in a page.

mod draw;
mod ink;
mod shapes;

use super::Chart;
use crate::failure::Failure;
use draw::Drawing;
use maud::{Markup, PreEscaped, html};
use shapes::Shape;

/// How the classes of a chart look: by light and by dark, and in grey on paper. Strokes and shapes differ, not only colours.
pub(crate) const STYLE: &str = include_str!("chart.css");

/// Columns of a line of text under a chart of its own.
const COLUMNS: usize = 112;

impl Chart {
    /// The chart as an element of a page that has [`STYLE`]. What was raised is listed by the page.
    pub(crate) fn figure(&self, id: &str) -> Result<Markup, Failure> {
        let drawing = Drawing::of(self)?;
        Ok(html! {
            svg.chart viewBox=(view(&drawing)) role="img" aria-labelledby={ (id) "-title " (id) "-text" } {
                title id={ (id) "-title" } { (self.title) }
                desc id={ (id) "-text" } { (self.summary()) }
                (shapes(&drawing.shapes))
            }
        })
    }

    /// The chart as a file of its own, with its title and what was raised.
    pub(crate) fn file(&self) -> Result<String, Failure> {
        let mut drawing = Drawing::titled(self)?;
        for (n, mark) in self.marks.iter().enumerate() {
            for (part, line) in
                textwrap::wrap(&self.told_mark(n, &mark.text, mark.at), COLUMNS).iter().enumerate()
            {
                drawing.line_below(line, part > 0);
            }
        }
        let svg = html! {
            (PreEscaped("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"))
            svg.chart xmlns="http://www.w3.org/2000/svg" viewBox=(view(&drawing)) width=(drawing.width())
                height=(drawing.height()) role="img" aria-labelledby="title text" {
                title #title { (self.title) }
                desc #text { (self.summary()) }
                style { (PreEscaped(STYLE)) }
                rect.paper width="100%" height="100%" {}
                (shapes(&drawing.shapes))
            }
        };
        let mut text = svg.into_string();
        text.push('\n');
        Ok(text)
    }
}

fn view(drawing: &Drawing) -> String {
    format!("0 0 {} {}", drawing.width(), drawing.height())
}

fn shapes(shapes: &[Shape]) -> Markup {
    html! { @for shape in shapes { (shape.element()) } }
}

#[cfg(test)]
mod tests {
    use crate::chart::example;

    #[test]
    fn a_file_of_its_own() {
        insta::assert_snapshot!(example::weights().file().unwrap());
    }

    #[test]
    fn what_was_typed_is_text_and_nothing_comes_from_elsewhere() {
        let chart = example::weights();
        for svg in [chart.file().unwrap(), chart.figure("c1").unwrap().into_string()] {
            assert!(!svg.contains("<Fennel>") && svg.contains("&lt;Fennel&gt; &amp; Co"), "{svg}");
            let elsewhere = svg.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
            assert!(!elsewhere.contains("http") && !elsewhere.contains("url("), "{elsewhere}");
        }
    }

    #[test]
    fn a_chart_is_drawn_the_same_twice() {
        assert_eq!(example::weights().file().unwrap(), example::weights().file().unwrap());
    }
}
