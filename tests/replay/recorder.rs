//! Messages as the broker's own client records them.

use jiff::Timestamp;

/// As `mosquitto_sub -F %j` prints a message, on a machine that keeps UTC.
pub fn line(at: Timestamp, topic: &str, payload: &str, retained: bool) -> String {
    format!(
        r#"{{"tst":"{at:.6}+0000","topic":"{topic}","qos":0,"retain":{},"payloadlen":{},"payload":{}}}"#,
        u8::from(retained),
        payload.len(),
        serde_json::Value::from(payload),
    )
}
