//! Limits of carbon dioxide for people.

use crate::units::CarbonDioxide;

/// Workplace limit over eight hours in many countries (OSHA, EU indicative, UK EH40), in ppm.
pub const WARN: f64 = 5_000.0;
/// UK EH40's fifteen-minute limit, in ppm: leave and ventilate.
pub const LEAVE: f64 = 15_000.0;
/// NIOSH's short-term limit, in ppm: do not enter.
pub const KEEP_OUT: f64 = 30_000.0;

/// What air above the top of a sensor's scale counts as: the next limit, because it may be anything above `top`.
pub fn beyond(top: CarbonDioxide) -> CarbonDioxide {
    let ppm = top.parts_per_million();
    CarbonDioxide::clamped([WARN, LEAVE, KEEP_OUT].into_iter().find(|limit| *limit > ppm).unwrap_or(ppm))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_beyond_a_scale_counts_as_the_next_limit() {
        for (top, expected) in
            [(2_000.0, 5_000.0), (5_000.0, 15_000.0), (10_000.0, 15_000.0), (20_000.0, 30_000.0), (50_000.0, 50_000.0)]
        {
            let found = beyond(CarbonDioxide::from_parts_per_million(top).unwrap());
            assert_eq!(found, CarbonDioxide::from_parts_per_million(expected).unwrap(), "{top}");
        }
    }
}
