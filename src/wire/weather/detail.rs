//! A number where the service promises one, and nothing where something else stands: one odd value must not cost the
//! whole forecast.

use std::fmt;

use serde::de::{Deserialize, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

/// The number, if it is one.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Detail(pub(super) Option<f64>);

impl<'de> Deserialize<'de> for Detail {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Anything)
    }
}

struct Anything;

impl<'de> Visitor<'de> for Anything {
    type Value = Detail;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a number")
    }

    fn visit_f64<E>(self, value: f64) -> Result<Detail, E> {
        Ok(Detail(Some(value)))
    }

    #[expect(clippy::cast_precision_loss, reason = "no weather value has more than 53 bits")]
    fn visit_u64<E>(self, value: u64) -> Result<Detail, E> {
        Ok(Detail(Some(value as f64)))
    }

    #[expect(clippy::cast_precision_loss, reason = "no weather value has more than 53 bits")]
    fn visit_i64<E>(self, value: i64) -> Result<Detail, E> {
        Ok(Detail(Some(value as f64)))
    }

    fn visit_bool<E>(self, _: bool) -> Result<Detail, E> {
        Ok(Detail(None))
    }

    fn visit_str<E>(self, _: &str) -> Result<Detail, E> {
        Ok(Detail(None))
    }

    fn visit_unit<E>(self) -> Result<Detail, E> {
        Ok(Detail(None))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Detail, A::Error> {
        while seq.next_element::<IgnoredAny>()?.is_some() {}
        Ok(Detail(None))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Detail, A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        Ok(Detail(None))
    }
}
