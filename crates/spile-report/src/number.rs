//! How measures are written for people: four digits, and never better than they are.

/// Which side of a limit is the bad one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// More is worse.
    AtMost,
    /// Less is worse.
    AtLeast,
}

/// The bad side of the limit of this name.
pub fn sense_of(limit: &str) -> Sense {
    match limit {
        "wall_min" | "ball_min" | "seam_height" | "clear" => Sense::AtLeast,
        _ => Sense::AtMost,
    }
}

impl Sense {
    /// How a limit is told.
    pub fn words(self) -> &'static str {
        match self {
            Sense::AtMost => "at most",
            Sense::AtLeast => "at least",
        }
    }

    /// Four digits, rounded toward the bad side: what is printed never looks
    /// better than what was measured.
    pub fn digits(self, x: f64) -> String {
        let near = digits(x);
        let Ok(read) = near.parse::<f64>() else { return near };
        match self {
            Sense::AtMost if read < x => digits(x + step(x)),
            Sense::AtLeast if read > x => digits(x - step(x)),
            _ => near,
        }
    }
}

/// Digits that are printed of a measure.
const DIGITS: i32 = 4;

/// The last printed digit's step, for a number of this size.
fn step(x: f64) -> f64 {
    10f64.powi(decade(x) + 1 - DIGITS)
}

fn decade(x: f64) -> i32 {
    if x == 0.0 { 0 } else { x.abs().log10().floor() as i32 }
}

/// `x` with four digits, without trailing zeros.
pub fn digits(x: f64) -> String {
    if !x.is_finite() {
        return x.to_string();
    }
    let decimals = (DIGITS - 1 - decade(x)).clamp(0, 12);
    let text = format!("{x:.*}", decimals as usize);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// A measure of this limit with its unit, its number written by `digits`.
pub fn in_unit(limit: &str, x: f64, unit: &str, digits: impl Fn(f64) -> String) -> String {
    match limit {
        "kink" | "kink_border" => format!("{} deg", digits(x)),
        "seam_height" => digits(x),
        "untouched" | "mends" => format!("{} missed", digits(x)),
        "case" => format!("{} changed", digits(x)),
        "bore_loss" => format!("{} %", digits(100.0 * x)),
        _ => format!("{} {unit}", digits(x)),
    }
}

/// What is asked of a limit, with its unit.
pub fn asked_text(limit: &str, x: f64, unit: &str) -> String {
    in_unit(limit, x, unit, digits)
}

/// What was measured, with its unit, rounded toward the limit's bad side.
pub fn measured_text(limit: &str, x: f64, unit: &str) -> String {
    in_unit(limit, x, unit, |x| sense_of(limit).digits(x))
}

/// `x` with four digits, in powers of ten where it is very large or small.
pub fn powers(x: f64) -> String {
    let decade = decade(x);
    if !x.is_finite() || (-4..7).contains(&decade) {
        return digits(x);
    }
    let raised: String = decade
        .to_string()
        .chars()
        .map(|c| match c.to_digit(10) {
            None => '\u{207b}',
            Some(1) => '\u{b9}',
            Some(d @ (2 | 3)) => char::from_u32(0xb0 + d).unwrap_or('?'),
            Some(d) => char::from_u32(0x2070 + d).unwrap_or('?'),
        })
        .collect();
    format!("{} \u{d7} 10{raised}", digits(x / 10f64.powi(decade)))
}

/// A place with two decimals.
pub fn place([x, y, z]: [f64; 3]) -> String {
    format!("{x:.2}, {y:.2}, {z:.2}")
}

/// A whole number in groups of three digits, parted by a narrow space.
pub fn count(n: usize) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (k, digit) in digits.chars().enumerate() {
        if k > 0 && (digits.len() - k).is_multiple_of(3) {
            out.push('\u{202f}');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::{Sense, count, digits, powers};

    #[test]
    fn numbers_are_short() {
        assert_eq!(digits(0.0), "0");
        assert_eq!(digits(12.345678), "12.35");
        assert_eq!(digits(0.0234567), "0.02346");
        assert_eq!(digits(1234567.0), "1234567");
        assert_eq!(digits(1.5), "1.5");
        assert_eq!(digits(-0.25), "-0.25");
        assert_eq!(powers(3.21456e12), "3.215 \u{d7} 10\u{b9}\u{b2}");
        assert_eq!(powers(1.81e-5), "1.81 \u{d7} 10\u{207b}\u{2075}");
        assert_eq!(powers(0.00089), "0.00089");
        assert_eq!(count(7), "7");
        assert_eq!(count(1_234_567), "1\u{202f}234\u{202f}567");
    }

    #[test]
    fn a_measure_is_never_printed_better_than_it_is() {
        assert_eq!(Sense::AtMost.digits(0.123412), "0.1235");
        assert_eq!(Sense::AtLeast.digits(1.19998), "1.199");
        for k in 1..2000 {
            let x = f64::from(k) * 0.0137;
            assert!(Sense::AtMost.digits(x).parse::<f64>().unwrap() >= x);
            assert!(Sense::AtLeast.digits(x).parse::<f64>().unwrap() <= x);
        }
    }
}
