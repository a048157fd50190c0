//! Counting what passed and failed, group by group.

use std::time::Duration;

/// How many checks passed and failed.
#[derive(Debug, Clone, Default)]
pub struct Count {
    /// Checks that passed.
    pub passed: usize,
    /// Checks that failed.
    pub failed: usize,
    /// What passed, but not as it should.
    pub doubts: Vec<String>,
}

impl Count {
    /// So many passed and failed.
    pub const fn of(passed: usize, failed: usize) -> Self {
        Self { passed, failed, doubts: Vec::new() }
    }

    /// Both counts added.
    pub fn plus(mut self, other: Self) -> Self {
        self.doubts.extend(other.doubts);
        Self { passed: self.passed + other.passed, failed: self.failed + other.failed, ..self }
    }
}

/// One group's outcome.
pub struct Row {
    /// The group's name.
    pub group: &'static str,
    /// What passed and failed.
    pub count: Count,
    /// How long it took.
    pub time: Duration,
    /// Why it could not run to its end, if it could not.
    pub fault: Option<String>,
}

/// Prints the table and the closing line, and gives the total.
pub fn print(rows: &[Row]) -> Count {
    println!("\n{:<10} {:>8} {:>8} {:>9}", "group", "passed", "failed", "seconds");
    for row in rows {
        let Count { passed, failed, doubts } = &row.count;
        let seconds = row.time.as_secs_f64();
        println!("{:<10} {passed:>8} {failed:>8} {seconds:>9.1}", row.group);
        if let Some(fault) = &row.fault {
            println!("           {fault}");
        }
        for doubt in doubts {
            println!("           DOUBTFUL: {doubt}");
        }
    }
    let total = rows.iter().fold(Count::default(), |sum, row| sum.plus(row.count.clone()));
    println!("{} passed, {} failed", total.passed, total.failed);
    total
}

/// Sums what test runners say in their closing lines: `12 passed`, `1 failed`.
///
/// Reads lines of nextest (`Summary ... 3 passed, 1 failed`), of cargo's own
/// runner (`test result: ok. 3 passed; 0 failed`) and of pytest
/// (`3 passed, 1 failed in 2.1s`).
pub fn counted(lines: &[String]) -> Count {
    let mut count = Count::default();
    for line in lines {
        let plain = without_colour(line);
        let plain = plain.trim().trim_matches('=').trim();
        let closing = plain.starts_with("Summary [")
            || plain.starts_with("test result:")
            || (plain.contains(" in ") && plain.ends_with(['s', ')']) && starts_with_number(plain));
        if !closing {
            continue;
        }
        let words: Vec<&str> =
            plain.split([' ', ',', ';']).filter(|word| !word.is_empty()).collect();
        for pair in words.windows(2) {
            let number = pair[0].parse::<usize>().unwrap_or(0);
            match pair[1] {
                "passed" => count.passed += number,
                "failed" | "error" | "errors" | "timed" => count.failed += number,
                _ => {}
            }
        }
    }
    count
}

fn starts_with_number(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_digit())
}

/// `text` without terminal colour codes.
fn without_colour(text: &str) -> String {
    let mut plain = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('\u{1b}') {
        plain.push_str(before);
        rest = after.split_once('m').map_or("", |(_, rest)| rest);
    }
    plain + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> (usize, usize) {
        let count = counted(&text.lines().map(str::to_owned).collect::<Vec<_>>());
        (count.passed, count.failed)
    }

    #[test]
    fn closing_lines_of_the_three_runners_are_read() {
        let nextest =
            "     Summary [   2.1s] 12 tests run: 11 passed (1 slow), 1 failed, 0 skipped";
        assert_eq!(of(nextest), (11, 1));
        assert_eq!(of("test result: FAILED. 3 passed; 2 failed; 0 ignored; 0 measured"), (3, 2));
        assert_eq!(of("==== 2 failed, 40 passed in 63.20s (0:01:03) ===="), (40, 2));
        assert_eq!(of("\u{1b}[32m5 passed\u{1b}[0m in 1.00s"), (5, 0));
    }

    #[test]
    fn other_lines_do_not_count() {
        assert_eq!(of("the case says 3 passed\n7 passed the gate"), (0, 0));
    }
}
