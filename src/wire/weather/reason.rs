//! What a service says of its own refusal.

use serde::Deserialize;

/// Longest reason that is passed on, in characters.
const LONGEST: usize = 200;

/// A problem body as in RFC 9457 (earlier RFC 7807), or the plainer `reason` of other services.
#[derive(Deserialize)]
struct Problem {
    #[serde(default)]
    detail: Option<String>,
    #[serde(default)]
    title: Option<String>,
    #[serde(default)]
    reason: Option<String>,
}

/// The service's own words in the body of a refusal, without anything that does not belong in a line of a log.
pub fn reason(body: &[u8]) -> Option<String> {
    let problem: Problem = serde_json::from_slice(body).ok()?;
    let text = problem.detail.or(problem.reason).or(problem.title)?;
    let words: Vec<&str> =
        text.split(|c: char| c.is_whitespace() || c.is_control()).filter(|w| !w.is_empty()).collect();
    let line: String = words.join(" ").chars().take(LONGEST).collect();
    let line = line.trim_end_matches('.');
    (!line.is_empty()).then(|| line.to_owned())
}

#[cfg(test)]
mod tests {
    use super::reason;

    #[test]
    fn the_words_of_a_refusal_are_one_line_of_bounded_length() {
        for (body, words) in [
            (r#"{"title":"Not Found","detail":"Unable to provide\ndata."}"#, Some("Unable to provide data")),
            (r#"{"error":true,"reason":"Limit exceeded. Try later."}"#, Some("Limit exceeded. Try later")),
            (r#"{"title":"Forecast Grid Expired"}"#, Some("Forecast Grid Expired")),
            (r#"{"detail":"\u001b[31m \u0007"}"#, Some("[31m")),
            (r#"{"detail":"  "}"#, None),
            (r#"{"detail":5}"#, None),
            ("<html>", None),
        ] {
            assert_eq!(reason(body.as_bytes()).as_deref(), words, "{body}");
        }
        let long = format!(r#"{{"reason":"{}"}}"#, "ä".repeat(5_000));
        assert_eq!(reason(long.as_bytes()).unwrap().chars().count(), 200);
    }
}
