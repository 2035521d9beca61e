//! SenML packs in JSON (RFC 8428): a list of records, in which base fields stand for those behind them.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use serde_json::{Map, Value};

use super::{BadPayload, Decoder, Found, Payload, WireUnit, json::number_in};
use crate::engine::Taken;

pub(super) const SENML: Decoder = Decoder {
    name: "senml",
    words: "the payload is a SenML pack (RFC 8428), and `record` is the whole name of the record",
    place: Some("record"),
    knows_unit: true,
    read,
};

/// RFC 8428, section 4.5.3: times below 2²⁸ are relative to now, others are seconds since 1970.
const RELATIVE_BELOW: f64 = 268_435_456.0;
/// RFC 8428, section 4.4: the version that it describes; a pack of a later one must not be processed.
const VERSION: f64 = 10.0;

/// Base fields as they stand at a record.
struct Base<'a> {
    name: &'a str,
    unit: Option<&'a str>,
    value: f64,
    time: f64,
}

/// The newest record of the wanted name; of several of one time the last.
fn read(payload: &Payload<'_>) -> Result<Found, BadPayload> {
    let pack: Value = serde_json::from_str(payload.text).map_err(|_| BadPayload::NotJson)?;
    let mut base = Base { name: "", unit: None, value: 0.0, time: 0.0 };
    let mut newest: Option<(f64, Found)> = None;
    for record in pack.as_array().ok_or(BadPayload::NotSenml("the pack is no list"))? {
        let record = record.as_object().ok_or(BadPayload::NotSenml("a record is no object"))?;
        understood(record, payload)?;
        base.take(record, payload)?;
        let name = text(record, "n")?.unwrap_or_default();
        let wanted = base.name.len() + name.len() == payload.place.len()
            && payload.place.starts_with(base.name)
            && payload.place.ends_with(name);
        if !wanted || !record.keys().any(|key| matches!(key.as_str(), "v" | "vs" | "vb" | "vd")) {
            continue;
        }
        let time = base.time + number(record, "t", payload)?.unwrap_or(0.0);
        let Some(value) = record.get("v") else {
            return Err(BadPayload::WrongType { place: payload.place.to_owned(), found: "a record without a number" });
        };
        let unit = match text(record, "u")?.or(base.unit) {
            None => None,
            Some(unit) => Some(WireUnit::named(payload.quantity, unit).ok_or(BadPayload::OtherUnit)?),
        };
        let found = Found { number: base.value + number_in(value, payload)?, unit, taken: taken(time)? };
        if newest.is_none_or(|(before, _)| time >= before) {
            newest = Some((time, found));
        }
    }
    newest.map(|(_, found)| found).ok_or_else(|| BadPayload::Missing(payload.place.to_owned()))
}

impl<'a> Base<'a> {
    fn take(&mut self, record: &'a Map<String, Value>, payload: &Payload<'_>) -> Result<(), BadPayload> {
        self.name = text(record, "bn")?.unwrap_or(self.name);
        self.unit = text(record, "bu")?.or(self.unit);
        self.value = number(record, "bv", payload)?.unwrap_or(self.value);
        self.time = number(record, "bt", payload)?.unwrap_or(self.time);
        Ok(())
    }
}

/// RFC 8428, section 4.4: a field whose name ends with `_` must be understood, and none such is known here.
fn understood(record: &Map<String, Value>, payload: &Payload<'_>) -> Result<(), BadPayload> {
    if record.keys().any(|key| key.ends_with('_')) {
        return Err(BadPayload::NotSenml("a field that must be understood is not known"));
    }
    match number(record, "bver", payload)? {
        Some(version) if version > VERSION => Err(BadPayload::NotSenml("the pack is of a later version")),
        _ => Ok(()),
    }
}

fn text<'a>(record: &'a Map<String, Value>, key: &str) -> Result<Option<&'a str>, BadPayload> {
    match record.get(key) {
        None => Ok(None),
        Some(Value::String(text)) => Ok(Some(text)),
        Some(_) => Err(BadPayload::NotSenml("a name or unit is no text")),
    }
}

fn number(record: &Map<String, Value>, key: &str, payload: &Payload<'_>) -> Result<Option<f64>, BadPayload> {
    record.get(key).map(|value| number_in(value, payload)).transpose()
}

fn taken(time: f64) -> Result<Option<Taken>, BadPayload> {
    if time >= RELATIVE_BELOW {
        // Any calendar time fits; what lies beyond is no time.
        let since = SignedDuration::try_from_secs_f64(time).map_err(|_| BadPayload::Time)?;
        let moment = Timestamp::UNIX_EPOCH.checked_add(since).map_err(|_| BadPayload::Time)?;
        return Ok(Some(Taken::At(moment)));
    }
    if time > 0.0 {
        return Err(BadPayload::Time);
    }
    let ago = Duration::try_from_secs_f64(-time).map_err(|_| BadPayload::Time)?;
    Ok((!ago.is_zero()).then_some(Taken::Ago(ago)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Quantity;

    fn find(record: &str, quantity: Quantity, pack: &str) -> Result<Found, BadPayload> {
        read(&Payload { text: pack, place: record, quantity, quoted: false })
    }

    const HALL: &str = r#"[
        {"bn":"urn:dev:hall:","bt":1.8e9,"bu":"Cel","n":"t","v":16.25},
        {"n":"rh","u":"%RH","v":91.5,"t":-20},
        {"bn":"urn:dev:loft:","bv":400,"bu":"ppm","n":"co2","v":312},
        {"n":"door","vb":true}
    ]"#;

    #[test]
    fn base_fields_stand_for_the_records_behind_them() {
        let at = |second| Some(Taken::At(Timestamp::from_second(second).unwrap()));
        let temperature = find("urn:dev:hall:t", Quantity::Temperature, HALL).unwrap();
        assert_eq!(temperature, Found { number: 16.25, unit: Some(WireUnit::Celsius), taken: at(1_800_000_000) });
        let humidity = find("urn:dev:hall:rh", Quantity::RelativeHumidity, HALL).unwrap();
        assert_eq!(humidity, Found { number: 91.5, unit: Some(WireUnit::Percent), taken: at(1_799_999_980) });
        let gas = find("urn:dev:loft:co2", Quantity::CarbonDioxide, HALL).unwrap();
        assert_eq!(gas, Found { number: 712.0, unit: Some(WireUnit::PartsPerMillion), taken: at(1_800_000_000) });
    }

    #[test]
    fn times_below_two_to_the_28th_are_relative_to_now_and_the_newest_record_counts() {
        let pack = r#"[{"bn":"a","bu":"K","v":289.0,"t":-60},{"v":290.0,"t":-2.5},{"v":288.0,"t":-30}]"#;
        let found = find("a", Quantity::Temperature, pack).unwrap();
        assert_eq!((found.number, found.taken), (290.0, Some(Taken::Ago(Duration::from_millis(2_500)))));
        let now = find("a", Quantity::Temperature, r#"[{"n":"a","u":"K","v":1}]"#).unwrap();
        assert_eq!(now.taken, None);
        for time in ["1", "268435455", "1e300", "-1e300", "3e11"] {
            let pack = format!(r#"[{{"n":"a","u":"K","v":1,"t":{time}}}]"#);
            assert_eq!(find("a", Quantity::Temperature, &pack), Err(BadPayload::Time), "{time}");
        }
    }

    #[test]
    fn what_the_pack_does_not_say_plainly_is_refused() {
        let word = |record: &str, pack: &str| find(record, Quantity::Temperature, pack).unwrap_err().word();
        assert_eq!(word("urn:dev:hall:x", HALL), "missing");
        assert_eq!(word("t", HALL), "missing");
        assert_eq!(word("urn:dev:loft:door", HALL), "wrong-type");
        assert_eq!(word("urn:dev:loft:co2", HALL), "other-unit");
        for (pack, expected) in [
            (r#"{"n":"t","v":1}"#, "not-senml"),
            ("[1]", "not-senml"),
            (r#"[{"n":"t","v":1,"must_":2}]"#, "not-senml"),
            (r#"[{"bver":11,"n":"t","v":1}]"#, "not-senml"),
            (r#"[{"n":5,"v":1}]"#, "not-senml"),
            (r#"[{"n":"t","v":"1"}]"#, "wrong-type"),
            (r#"[{"n":"t","s":5}]"#, "missing"),
            ("[]", "missing"),
            ("[{", "not-json"),
        ] {
            assert_eq!(word("t", pack), expected, "{pack}");
        }
        // Without a unit the configured one counts.
        assert_eq!(find("t", Quantity::Temperature, r#"[{"bver":10,"n":"t","v":1}]"#).unwrap().unit, None);
    }
}
