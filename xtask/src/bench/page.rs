//! `cargo xtask bench --page`: what the page takes with a large scan, in a headless browser.

use std::process::Command;

use serde_json::Value;

use crate::{Fault, built_example, built_spile, page, process, target};

/// Triangles of the scans.
const SIZES: [usize; 2] = [1_000_000, 4_000_000];

/// What is promised of a size: a figure by its name, and how much it may be.
const PROMISED: [(usize, &[(&str, f64)]); 2] = [
    (
        SIZES[0],
        &[("pick_ms", 5.0), ("stroke_ms", 10.0), ("cut_ms", 50.0), ("first_picture_s", 3.0)],
    ),
    (SIZES[1], &[("pick_ms", 20.0)]),
];

/// Has the page show phantoms of these sizes, by spile built as the tests are: optimised,
/// with debug assertions.
///
/// # Errors
/// The browser breaks off, or a figure is over what is promised.
pub fn page() -> Result<(), Fault> {
    page::build()?;
    let phantom = built_example("phantom")?;
    let spile = built_spile()?;
    let mut over = Vec::new();
    for (size, promised) in PROMISED {
        let here = target().join("bench").join(size.to_string());
        process::run(Command::new(&phantom).arg(size.to_string()).arg(&here))?;
        let mut command = page::in_browser("figures.mjs", &spile)?;
        let said = process::run_silently(command.arg(here.join("phantom-invented.stl")))?;
        let told = said.lines.iter().find_map(|line| serde_json::from_str::<Value>(line).ok());
        let Some(Value::Object(told)) = told.filter(|_| said.code == Some(0)) else {
            return Err(format!("the figures broke off:\n    {}", said.lines.join("\n    ")));
        };
        println!("{size} triangles");
        for (name, value) in &told {
            let most =
                promised.iter().find(|(promised, _)| promised == name).map(|(_, most)| *most);
            let is_over = most.is_some_and(|most| value.as_f64().is_none_or(|x| x > most));
            let told =
                most.map_or_else(String::new, |most| format!(", at most {most} is promised"));
            println!("  {name}: {value}{told}{}", if is_over { ": OVER" } else { "" });
            if is_over {
                over.push(format!("{name} at {size} triangles"));
            }
        }
    }
    if over.is_empty() {
        Ok(())
    } else {
        Err(format!("over what is promised: {}", over.join(", ")))
    }
}
