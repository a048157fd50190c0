//! The least value that holds, among values that are tried.
//!
//! Values are tried from the least up; once one holds, the way back to the last that
//! did not is halved until the two are near each other. What holds need not hold for
//! all greater values, so the least *found* is told, with the neighbour below it that
//! was tried and does not hold.

/// Two neighbours are near each other within this share of the bore's diameter,
const FINE_SHARE_OF_BORE: f64 = 0.01;
/// and within this share of the value itself.
const FINE_SHARE: f64 = 0.02;

/// What a try came to.
pub(super) enum Tried {
    /// All limits that count hold.
    Holds,
    /// These do not.
    Broken(Vec<String>),
    /// No part can be made.
    Unmade,
}

/// The values to be tried, tidy numbers that rise.
pub(super) struct Sought {
    values: Vec<f64>,
    fine: f64,
    /// Tidy numbers are whole multiples of ten to this power.
    digits: i32,
}

/// What was found.
pub(super) struct Least {
    /// The value.
    pub value: f64,
    /// Whether it holds; otherwise the fewest limits are broken there.
    pub holds: bool,
    /// Whether any try came to a part.
    pub is_made: bool,
    /// The next less value that was tried, and what is broken there: nothing where no
    /// part can be made.
    pub short: Option<(f64, Vec<String>)>,
    /// The least and the greatest value that were to be tried.
    pub tried: [f64; 2],
}

impl Sought {
    /// These shares of the bore's diameter.
    pub fn new(shares: &[f64], across: f64) -> Self {
        let fine = FINE_SHARE_OF_BORE * across;
        let mut sought = Self { values: Vec::new(), fine, digits: 0 };
        sought.digits = (0.1 * fine).log10().floor() as i32;
        sought.values = shares.iter().map(|share| sought.tidy(share * across)).collect();
        sought
    }

    /// The tidy number nearest to `x`.
    pub fn tidy(&self, x: f64) -> f64 {
        // By a whole number both ways, so that the digits written are few.
        let grain = 10_f64.powi(self.digits.abs());
        if self.digits < 0 { (x * grain).round() / grain } else { (x / grain).round() * grain }
    }

    /// The least value that holds, among those below `holds`, which is known to.
    pub fn least(&self, holds: Option<f64>, try_at: &mut dyn FnMut(f64) -> Tried) -> Least {
        let ends = |k: Option<&f64>| k.copied().unwrap_or_default();
        let tried = [ends(self.values.first()), holds.unwrap_or(ends(self.values.last()))];
        let mut short: Option<(f64, Vec<String>)> = None;
        let mut enough = holds;
        let mut nearest: Option<(usize, f64)> = None;
        for &value in self.values.iter().filter(|&&v| holds.is_none_or(|h| v < h)) {
            let broken = match try_at(value) {
                Tried::Holds => {
                    enough = Some(value);
                    break;
                }
                Tried::Broken(names) => names,
                Tried::Unmade => Vec::new(),
            };
            // Without a part the way on is further; otherwise the first of the fewest.
            let count = if broken.is_empty() { usize::MAX } else { broken.len() };
            if nearest
                .is_none_or(|(least, _)| count < least || count == usize::MAX && least == count)
            {
                nearest = Some((count, value));
            }
            short = Some((value, broken));
        }
        let Some(mut enough) = enough else {
            let (count, value) = nearest.unwrap_or((usize::MAX, tried[1]));
            let is_made = count < usize::MAX;
            return Least { value, holds: false, is_made, short: None, tried };
        };
        loop {
            let below = short.as_ref().map_or(0.0, |s| s.0);
            let middle = self.tidy(0.5 * (below + enough));
            let is_near = enough - below <= self.fine.min(FINE_SHARE * enough);
            if is_near || enough <= self.fine || middle <= below || middle >= enough {
                break;
            }
            match try_at(middle) {
                Tried::Holds => enough = middle,
                Tried::Broken(names) => short = Some((middle, names)),
                Tried::Unmade => short = Some((middle, Vec::new())),
            }
        }
        Least { value: enough, holds: true, is_made: true, short, tried }
    }
}

#[cfg(test)]
mod tests {
    use super::{Sought, Tried};

    const SHARES: [f64; 4] = [0.1, 0.3, 1.0, 3.0];

    fn broken(names: &[&str]) -> Tried {
        Tried::Broken(names.iter().map(|n| (*n).to_owned()).collect())
    }

    /// The limit is known: what holds is all from a number up.
    #[test]
    fn the_least_lies_between_what_holds_and_what_does_not() {
        for across in [0.002, 0.7, 16.0, 16.213, 950.0] {
            for share in [0.002, 0.0999, 0.1, 0.2345, 0.3, 0.9, 2.999, 3.0] {
                let from = share * across;
                let mut tries = 0;
                let mut values = Vec::new();
                let found = Sought::new(&SHARES, across).least(None, &mut |x| {
                    tries += 1;
                    values.push(x);
                    if x >= from * (1.0 - 1e-12) { Tried::Holds } else { broken(&["kink"]) }
                });
                assert!(found.holds && found.value >= from * (1.0 - 1e-12), "{across} {share}");
                let off = found.value - from;
                let near = (0.0101 * across).min(0.0201 * found.value).max(0.002 * across);
                assert!(off <= near || found.value <= 0.0101 * across, "{across} {share} {off}");
                assert!(tries <= 14, "{tries}");
                if let Some((short, names)) = found.short {
                    assert!(short < from && names == ["kink"], "{across} {share} {short}");
                }
                // No value is written with more digits than it needs.
                assert!(values.iter().all(|x| format!("{x}").len() < 9), "{values:?}");
            }
        }
    }

    #[test]
    fn where_nothing_holds_the_fewest_broken_are_taken() {
        let sought = Sought::new(&SHARES, 10.0);
        let found = sought.least(None, &mut |x| match x {
            x if x < 2.0 => Tried::Unmade,
            x if x < 5.0 => broken(&["kink", "wall_min"]),
            x if x < 20.0 => broken(&["kink"]),
            _ => broken(&["wall_min"]),
        });
        assert_eq!((found.value, found.holds, found.is_made), (10.0, false, true));
        let found = sought.least(None, &mut |_| Tried::Unmade);
        assert_eq!((found.value, found.holds, found.is_made), (30.0, false, false));
        assert_eq!(found.tried, [1.0, 30.0]);
    }

    #[test]
    fn below_what_is_known_to_hold_there_may_be_no_less() {
        let sought = Sought::new(&SHARES, 10.0);
        let mut most = 0.0_f64;
        let found = sought.least(Some(7.0), &mut |x| {
            most = most.max(x);
            broken(&["kink"])
        });
        assert!(found.holds && most < 7.0);
        assert_eq!((found.value, found.tried), (7.0, [1.0, 7.0]));
    }
}
