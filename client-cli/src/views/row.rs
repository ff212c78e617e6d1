//! Lines of `plain` and `csv` that say of a thing what it says in JSON: each column is named once.

use serde::Serialize;
use std::borrow::Borrow;

/// What a column has.
#[derive(Default, Serialize)]
#[serde(untagged)]
pub(crate) enum Cell {
    #[default]
    Nothing,
    Text(String),
    Whole(i64),
    Real(f64),
    Is(bool),
}

/// Declares a line, and how it comes of a thing: a column has what the field of its name has, or what stands after it.
macro_rules! row {
    ($(#[$doc:meta])* $row:ident of $one:ident: $thing:ty { $($column:ident $(: $value:expr)?),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Default, serde::Serialize)]
        pub(crate) struct $row {
            $($column: $crate::views::row::Cell),+
        }

        impl From<&$thing> for $row {
            fn from($one: &$thing) -> Self {
                Self { $($column: $crate::views::row::row!(@ $one $column $($value)?).into()),+ }
            }
        }
    };
    (@ $one:ident $column:ident) => { &$one.$column };
    (@ $one:ident $column:ident $value:expr) => { &$value };
}
pub(crate) use row;

impl From<&String> for Cell {
    fn from(text: &String) -> Self {
        Self::Text(text.clone())
    }
}

impl From<&&str> for Cell {
    fn from(text: &&str) -> Self {
        Self::Text((*text).to_owned())
    }
}

impl<S: Borrow<str>> From<&Vec<S>> for Cell {
    fn from(texts: &Vec<S>) -> Self {
        Self::Text(texts.join("; "))
    }
}

impl From<&i32> for Cell {
    fn from(number: &i32) -> Self {
        Self::Whole((*number).into())
    }
}

impl From<&i64> for Cell {
    fn from(number: &i64) -> Self {
        Self::Whole(*number)
    }
}

impl From<&usize> for Cell {
    fn from(number: &usize) -> Self {
        Self::Whole(i64::try_from(*number).unwrap_or(i64::MAX))
    }
}

impl From<&f64> for Cell {
    fn from(number: &f64) -> Self {
        Self::Real(*number)
    }
}

impl From<&bool> for Cell {
    fn from(is: &bool) -> Self {
        Self::Is(*is)
    }
}

impl<'t, T> From<&'t Option<T>> for Cell
where
    Self: From<&'t T>,
{
    fn from(value: &'t Option<T>) -> Self {
        value.as_ref().map(<Self as From<&'t T>>::from).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Default, Serialize)]
    struct Typed {
        text: &'static str,
        whole: i64,
        real: f64,
        small: f64,
        is: bool,
        none: Option<String>,
        some: Option<i32>,
    }

    row! {
        Row of one: Typed { text, whole, real, small, is, none, some }
    }

    #[derive(Default)]
    struct Many(Vec<String>);

    row! {
        Joined of one: Many { many: one.0, count: one.0.len() }
    }

    fn csv(rows: &[impl Serialize]) -> String {
        let mut writer = csv::Writer::from_writer(Vec::new());
        for row in rows {
            writer.serialize(row).unwrap();
        }
        String::from_utf8(writer.into_inner().unwrap()).unwrap()
    }

    #[test]
    fn a_cell_is_written_as_what_it_has() {
        let typed =
            Typed { text: "a, b", whole: -3, real: 8.0, small: 1.5e-5, is: true, some: Some(0), none: None };
        assert_eq!(csv(&[Row::from(&typed)]), csv(&[typed]));
        let many = Many(vec!["a".to_owned(), "b".to_owned()]);
        assert_eq!(csv(&[Joined::default(), Joined::from(&many)]), "many,count\n,\na; b,2\n");
    }
}
