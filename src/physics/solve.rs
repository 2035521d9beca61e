//! The one root finder of the moist-air equations.

/// Root of an increasing function inside `bracket`: Newton's method, with a bisection wherever a step would leave
/// the bracket or the function is not finite (a value that is not finite counts as too high).
///
/// `function` returns value and slope. Stops when a step is below `tolerance`; where the function does not change
/// its sign in the bracket, the end nearest to a root is approached.
pub(super) fn increasing_root(
    bracket: (f64, f64),
    guess: f64,
    tolerance: f64,
    mut function: impl FnMut(f64) -> (f64, f64),
) -> f64 {
    let (mut low, mut high) = bracket;
    let mut x = guess.clamp(low, high);
    // 60 halvings bring any bracket of temperatures below a nanokelvin.
    for _ in 0..60 {
        let (value, slope) = function(x);
        if value <= 0.0 {
            low = x;
        } else {
            high = x;
        }
        let newton = x - value / slope;
        // Written so that NaN fails it.
        let next = if newton >= low && newton <= high { newton } else { 0.5 * (low + high) };
        let step = (next - x).abs();
        x = next;
        if step < tolerance {
            break;
        }
    }
    x
}

#[cfg(test)]
mod tests {
    use super::increasing_root;

    #[test]
    fn newton_is_pulled_back_into_the_bracket_where_it_would_leave_it() {
        // From x = −20 the slope of e^x is so small that a bare Newton step lands at about 4.8e8.
        let root = increasing_root((-30.0, 30.0), -20.0, 1e-12, |x| (x.exp() - 1.0, x.exp()));
        assert!(root.abs() < 1e-9, "{root}");
    }

    #[test]
    fn an_infinite_value_counts_as_too_high() {
        let root =
            increasing_root(
                (0.0, 10.0),
                9.0,
                1e-12,
                |x| {
                    if x > 5.0 { (f64::INFINITY, f64::NAN) } else { (x - 2.0, 1.0) }
                },
            );
        assert!((root - 2.0).abs() < 1e-9, "{root}");
    }

    #[test]
    fn without_a_root_the_nearer_end_of_the_bracket_is_approached() {
        let root = increasing_root((0.0, 1.0), 0.5, 1e-12, |x| (x + 1.0, 1.0));
        assert!(root.abs() < 1e-9, "{root}");
    }
}
