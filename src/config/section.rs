//! Reads typed values out of a file that [`walk`](super::walk) has checked: what is missing has its default from the
//! table, and what does not fit is absent here, because it has been reported there.

use serde_yaml::{Mapping, Value};

use super::{
    kind::{self, Air},
    problem::Mistake,
    table::{self, Need},
    walk::Found,
};
use crate::units::{
    RelativeHumidity,
    parse::{self, Written},
};

/// A section, whether the file has it or not.
#[derive(Debug, Clone)]
pub struct Section<'v> {
    keys: Option<&'v Mapping>,
    pattern: String,
    path: Vec<String>,
}

impl<'v> Section<'v> {
    /// The whole file.
    pub fn top(root: &'v Value) -> Self {
        Self { keys: root.as_mapping(), pattern: String::new(), path: Vec::new() }
    }

    /// The section under this key.
    pub fn section(&self, name: &str) -> Self {
        let row = table::children(&self.pattern).find(|key| key.takes(name));
        let pattern = row.map_or_else(|| self.pattern.clone(), |key| key.path.to_owned());
        Self { keys: self.value(name).and_then(Value::as_mapping), pattern, path: self.path(name) }
    }

    /// The sections under names that the grower chose, in the file's order.
    pub fn named(&self) -> impl Iterator<Item = (&'v str, Self)> + '_ {
        self.keys.into_iter().flatten().filter_map(|(name, _)| {
            let name = name.as_str()?;
            Some((name, self.section(name)))
        })
    }

    /// Whether the file has this section.
    pub fn exists(&self) -> bool {
        self.keys.is_some()
    }

    /// Whether the file has this section, with nothing in it.
    pub fn is_empty(&self) -> bool {
        self.keys.is_some_and(Mapping::is_empty)
    }

    /// Whether the file has this key in it.
    pub fn has(&self, name: &str) -> bool {
        self.value(name).is_some()
    }

    /// Where the section stands.
    pub fn here(&self) -> Vec<String> {
        self.path.clone()
    }

    /// Where the key stands, or would.
    pub fn path(&self, name: &str) -> Vec<String> {
        [self.path.as_slice(), &[name.to_owned()]].concat()
    }

    /// What was written, as text; the table's default where the key is missing.
    pub fn text(&self, name: &str) -> Option<String> {
        match self.value(name) {
            Some(value) => kind::scalar(value),
            None => match table::children(&self.pattern).find(|key| key.takes(name))?.need {
                Need::Default(text) => Some(text.to_owned()),
                Need::Required | Need::Optional | Need::Computed(_) => None,
            },
        }
    }

    /// What was written as a quantity.
    pub fn quantity<Q: Written>(&self, name: &str) -> Option<Q> {
        parse::quantity(&self.text(name)?).ok()
    }

    /// What was written as a quantity of which zero makes no sense; `hint` says what to write then.
    pub fn more_than_nothing<Q: Written + Copy>(
        &self,
        name: &str,
        number: fn(Q) -> f64,
        hint: &str,
        found: &mut Vec<Found>,
    ) -> Option<Q> {
        let value = self.quantity::<Q>(name)?;
        if number(value) > 0.0 {
            return Some(value);
        }
        let mistake = Mistake::NotPositive(self.text(name).unwrap_or_default());
        found.push(Found::value(self.path(name), mistake).hint(hint));
        None
    }

    /// What was written as a quantity that cannot be less than nothing, though its type can.
    pub fn at_least_nothing<Q: Written + Copy>(
        &self,
        name: &str,
        number: fn(Q) -> f64,
        found: &mut Vec<Found>,
    ) -> Option<Q> {
        let value = self.quantity::<Q>(name)?;
        if number(value) >= 0.0 {
            return Some(value);
        }
        let mistake = Mistake::Negative(self.text(name).unwrap_or_default());
        found.push(Found::value(self.path(name), mistake).hint("leave the key out for none"));
        None
    }

    /// What was written as the relative humidity of air without fog.
    pub fn below_saturation(&self, name: &str, found: &mut Vec<Found>) -> Option<RelativeHumidity> {
        let humidity = self.quantity::<RelativeHumidity>(name)?;
        if humidity.ratio() <= 1.0 {
            return Some(humidity);
        }
        let mistake = Mistake::Supersaturated(self.text(name).unwrap_or_default());
        found.push(Found::value(self.path(name), mistake).hint("air holds no more than `100 %`; the rest is fog"));
        None
    }

    /// The sections of a list, whether or not each is a section. `None` where there is no list.
    pub fn list(&self, name: &str) -> Option<Vec<Self>> {
        let items = self.value(name)?.as_sequence()?;
        let list = self.section(name);
        let item = |(index, item): (usize, &'v Value)| Self {
            keys: item.as_mapping(),
            pattern: list.pattern.clone(),
            path: list.path(&(index + 1).to_string()),
        };
        Some(items.iter().enumerate().map(item).collect())
    }

    /// What was written as a flow or as air changes.
    pub fn air(&self, name: &str) -> Option<Air> {
        Air::read(&self.text(name)?).ok()
    }

    /// What was written in any way that Rust can read.
    pub fn parsed<T: std::str::FromStr>(&self, name: &str) -> Option<T> {
        self.text(name)?.parse().ok()
    }

    /// What was written as a list of numbers; empty where nothing was.
    pub fn numbers(&self, name: &str) -> Vec<f64> {
        self.value(name).and_then(Value::as_sequence).into_iter().flatten().filter_map(Value::as_f64).collect()
    }

    fn value(&self, name: &str) -> Option<&'v Value> {
        self.keys?.get(name)
    }
}
