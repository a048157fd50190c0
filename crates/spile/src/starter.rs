//! A starter case: what `new` prints for a scan.

use std::fmt::Write as _;

use spile_case::{Form, Unit};
use spile_joint::FoundEnd;
use spile_mesh::{Bounds3, DVec3};

/// What a starter case is made of.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Found {
    /// The scan as the case will name it.
    pub file: String,
    /// Its unit, stated or guessed.
    pub unit: Unit,
    /// Whether the file itself states the unit.
    pub unit_is_stated: bool,
    /// Whether both walls were found.
    pub form: Form,
    /// The scan's box.
    pub bounds: Bounds3,
    /// Its open ends.
    pub ends: Vec<FoundEnd>,
}

/// Common practice on printed parts, in millimetres: how far the scan may move.
const DEVIATION_MM: f64 = 0.1;
/// A wall to start from, in millimetres.
const WALL_MM: f64 = 2.0;
/// Reach and gap in bore diameters.
const REACH_OF_BORE: f64 = 0.75;
/// How far along the centreline a cut is clear of a rim's teeth, in bore diameters.
const CLEAR_OF_BORE: f64 = 0.5;
/// Straight fitting length in bore diameters.
const LENGTH_OF_BORE: f64 = 1.5;
/// How much of its size a scan without open ends is cut off at the top.
const CUT_SHARE: f64 = 0.1;

/// The text of a case for this scan, with comments for who will edit it.
///
/// It reads back without a mistake. Where the scan has open ends, the first
/// gets a tube of the rim's own diameters and the others stay plain.
pub(crate) fn starter_case(found: &Found) -> String {
    let mut out = format!("# A starter case for {}: check every line.\n\n", found.file);
    let unit_note = match found.unit_is_stated {
        true => "stated by the scan file; every length here is in it, nothing is scaled",
        false => "guessed from the scan's size: check it; every length here is in it",
    };
    let _ = writeln!(out, "unit = \"{}\"  # {unit_note}", found.unit.name());
    let file = toml_text(&found.file);
    let _ = writeln!(out, "\n[scan]\nfile = {file}");
    let form_note = match found.form {
        Form::Bore => "one wall was found; `wall` is the thickness of the wall to make",
        _ => "both walls were found",
    };
    let _ = writeln!(out, "form = \"{}\"  # {form_note}", found.form.name());
    let wall = wall_of(found);
    if found.form.makes_wall() {
        let _ = writeln!(out, "wall = {}", number(wall));
    }
    if found.ends.is_empty() {
        write_cut_end(&mut out, found);
    }
    for (k, end) in found.ends.iter().enumerate() {
        write_rim_end(&mut out, end, k, wall);
    }
    let deviation = number(DEVIATION_MM / found.unit.in_millimetres());
    let _ = write!(
        out,
        "\n[limits]\n\
         deviation = {deviation}  # how far the scan's surface may move within reach\n\
         # wall_min = {}\n\
         # bore_loss = 0.01  # share of the bore's area\n\
         # kink = 10.0  # degrees\n",
        number(0.75 * wall)
    );
    out
}

/// The unit in which this size, the longest side of a box, would be a part
/// that is held in a hand or carried: from 15 mm to 1.5 m.
pub(crate) fn guess_unit(longest: f64) -> Unit {
    match longest {
        x if x >= 15.0 => Unit::Millimetre,
        x if x >= 1.5 => Unit::Centimetre,
        _ => Unit::Metre,
    }
}

/// The first end gets a fitting; how the others end is up to the user.
fn write_rim_end(out: &mut String, end: &FoundEnd, k: usize, wall: f64) {
    let bore = end.bore;
    let outside = end.outside.filter(|&o| o > bore).unwrap_or(bore + 2.0 * wall);
    let _ = writeln!(
        out,
        "\n[[end]]\nname = \"end-{}\"  # open rim about {} across, facing {}",
        k + 1,
        number(bore),
        point(end.direction)
    );
    let _ = writeln!(
        out,
        "rim = {0}\n\
         # or clear of its teeth, and on another scan of this part at the like place:\n\
         # cut = {{ from = {0}, along = {1} }}",
        point(end.centre),
        number(CLEAR_OF_BORE * end.bore)
    );
    let reach = number(REACH_OF_BORE * bore);
    // Rounded apart, so that two near numbers do not become one.
    let (bore, outside) = (rounded(bore, f64::floor), rounded(outside, f64::ceil));
    let sign = if k == 0 { "" } else { "# " };
    if k > 0 {
        let _ = writeln!(out, "# without a fitting this is a plain end; to join one:");
    }
    let _ = writeln!(
        out,
        "{sign}reach = {reach}  # how far from the rim the scan may be changed\n\
         {sign}fitting = {{ kind = \"tube\", bore = {bore:?}, outside = {outside:?}, length = {} }}\n\
         {sign}place = {{ gap = {reach} }}  # straight on; or {{ at, along }}",
        number(LENGTH_OF_BORE * bore),
    );
}

/// A scan without open ends must be cut: near the top of its longest side.
fn write_cut_end(out: &mut String, found: &Found) {
    let size = found.bounds.max - found.bounds.min;
    let axis = (0..3).max_by(|&a, &b| size[a].total_cmp(&size[b]).then(b.cmp(&a))).unwrap_or(2);
    let mut through = 0.5 * (found.bounds.min + found.bounds.max);
    through[axis] = found.bounds.max[axis] - CUT_SHARE * size[axis];
    let mut facing = DVec3::ZERO;
    facing[axis] = 1.0;
    let _ = writeln!(
        out,
        "\n[[end]]\nname = \"end-1\"  # the scan has no open rim: say where to cut it\n\
         cut = {{ through = {}, facing = {} }}\n\
         # reach, fitting and place join a tube here; without them it is a plain end",
        point(through),
        point(facing)
    );
}

fn wall_of(found: &Found) -> f64 {
    let seen = found.ends.iter().filter_map(|e| Some(0.5 * (e.outside? - e.bore)));
    seen.filter(|&w| w > 0.0)
        .min_by(f64::total_cmp)
        .unwrap_or(WALL_MM / found.unit.in_millimetres())
}

/// Digits that a starter value has.
const DIGITS: i32 = 3;

/// `x` to three digits, to the side that `to` says.
fn rounded(x: f64, to: fn(f64) -> f64) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    let scale = 10f64.powi(DIGITS - 1 - x.abs().log10().floor() as i32);
    // Through text, so that 0.1 is 0.1 and not a neighbour of it.
    format!("{:.12}", to(x * scale) / scale).parse().unwrap_or(x)
}

fn number(x: f64) -> String {
    format!("{:?}", rounded(x, f64::round))
}

/// A point to five digits of its size: enough to name a rim.
fn point(p: DVec3) -> String {
    let size = p.abs().max_element();
    let decimals = if size > 0.0 { (4.0 - size.log10().floor()).clamp(0.0, 12.0) } else { 1.0 };
    let decimals = (decimals as usize).max(1);
    let [x, y, z] = p.to_array().map(|c| {
        let text = format!("{c:.decimals$}");
        match text.strip_prefix('-') {
            Some(zero) if zero.bytes().all(|b| b == b'0' || b == b'.') => zero.to_owned(),
            _ => text,
        }
    });
    format!("[{x}, {y}, {z}]")
}

fn toml_text(text: &str) -> String {
    // A one-string case of the writer's own quoting, for any file name.
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

#[cfg(test)]
mod tests {
    use spile_case::read_case;

    use super::*;

    fn found(form: Form, unit: Unit, ends: Vec<FoundEnd>) -> Found {
        let bounds = Bounds3 { min: DVec3::ZERO, max: DVec3::new(20.0, 30.0, 90.0) };
        Found { file: "a \"b\".stl".into(), unit, unit_is_stated: false, form, bounds, ends }
    }

    fn end(bore: f64, outside: Option<f64>) -> FoundEnd {
        let centre = DVec3::new(12.3456789, 0.0, -1e-9);
        FoundEnd { centre, direction: DVec3::Z, bore, outside, circle: None, outside_circle: None }
    }

    #[test]
    fn every_starter_case_reads_back_without_a_mistake() {
        let lists = [
            vec![],
            vec![end(16.04, Some(16.06))],
            vec![end(1e5, None), end(1e-4, None), end(3.0, Some(1e5))],
        ];
        for unit in [Unit::Millimetre, Unit::Centimetre, Unit::Metre, Unit::Inch] {
            for form in [Form::Shell, Form::Bore] {
                for ends in &lists {
                    let text = starter_case(&found(form, unit, ends.clone()));
                    let case = read_case(&text, "new.toml");
                    assert!(case.is_ok(), "{case:?}\n{text}");
                    assert_eq!(case.unwrap().ends.len(), ends.len().max(1));
                }
            }
        }
    }

    #[test]
    fn the_cut_that_is_offered_in_place_of_a_rim_reads_back() {
        let text = starter_case(&found(Form::Shell, Unit::Millimetre, vec![end(16.0, None)]));
        let offered = text.replace("\nrim =", "\n# rim =").replace("# cut =", "cut =");
        let case = read_case(&offered, "new.toml").unwrap();
        let spile_case::Site::Station(cut) = case.ends[0].site else { panic!("a station") };
        assert_eq!(cut.station, spile_case::Station::Along(8.0));
        assert_eq!(cut.from, [12.346, 0.0, 0.0]);
    }

    #[test]
    fn a_starter_case_says_what_it_guessed() {
        let ends = vec![end(16.04, Some(20.06)), end(14.0, Some(18.0))];
        insta::assert_snapshot!(
            "two rims",
            starter_case(&found(Form::Shell, Unit::Millimetre, ends))
        );
        insta::assert_snapshot!("no rim", starter_case(&found(Form::Bore, Unit::Inch, vec![])));
    }
}
