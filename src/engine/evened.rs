//! A value without its noise.

use std::time::Duration;

/// The mean of what comes in over about `over`: each value has a weight by the time since the one before.
pub(super) fn evened(mean: &mut Option<(Duration, f64)>, value: f64, at: Duration, over: Duration) -> f64 {
    let evened = mean.map_or(value, |(last, before)| {
        let passed = at.saturating_sub(last).as_secs_f64() / over.as_secs_f64();
        before + (value - before) * (1.0 - (-passed).exp())
    });
    *mean = Some((at, evened));
    evened
}
