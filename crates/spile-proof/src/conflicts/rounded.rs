//! Values to be offered: short, and rounded to the side that holds.

/// Digits of a value that is offered.
const DIGITS: i32 = 4;

/// The shortest number of four digits that is no less than `x`.
pub(crate) fn up(x: f64) -> f64 {
    -down(-x)
}

/// The number of four digits next below `x`, or `x` itself.
pub(crate) fn down(x: f64) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    let decimals = DIGITS - 1 - x.abs().log10().floor() as i32;
    // Through the text, so that what is written is the value and no neighbour of it.
    let step = 10f64.powi(-decimals);
    let places = decimals.clamp(0, 300) as usize;
    let near = (0..3)
        .map(|k| (x / step).round() * step - f64::from(k) * step)
        .filter_map(|y| format!("{y:.places$}").parse::<f64>().ok())
        .find(|&y| y <= x);
    near.unwrap_or(x)
}

#[cfg(test)]
mod tests {
    use super::{down, up};

    #[test]
    fn values_are_short_and_on_the_safe_side() {
        assert_eq!((down(1.99764), up(1.99764)), (1.997, 1.998));
        assert_eq!((down(12.5), up(12.5)), (12.5, 12.5));
        assert_eq!((down(17.98712), up(0.010_001)), (17.98, 0.01001));
        assert_eq!((up(123_456.7), up(-0.25), up(0.0)), (123_500.0, -0.25, 0.0));
        for k in 1..3000 {
            let x = f64::from(k) * 0.001_37;
            assert!(down(x) <= x && x <= up(x) && up(x) - down(x) <= 2e-3 * x, "{x}");
        }
    }
}
