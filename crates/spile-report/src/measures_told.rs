//! What the part is like beside what is judged: the bore along its line with its
//! pressure loss, seams, material and hints for printing; each with how sure it is.

use spile_case::Flow;
use spile_proof::measures::{
    BallAlong, Figure, FlowLine, LineStation, Measures, On, Opens, Pockets, PressureLoss,
    SeamAngles, Stop,
};

use crate::contents::heading;
use crate::document::{Align, Block, Cell, Table, Text, plain};
use crate::evidence::Evidence;
use crate::number::{Sense, digits, place, powers};

/// A certified figure whose bounds lie this close, as a share, is exact but for rounding.
const ROUNDING: f64 = 1e-6;

/// How sure a figure is, in its own unit.
fn standing(figure: &Figure, unit: &str) -> String {
    let off = figure.accuracy.filter(|a| a.is_finite());
    match (figure.certified, off) {
        (true, Some(a)) if a <= ROUNDING * figure.value.abs() => {
            "certified, to rounding".to_owned()
        }
        (true, _) => match figure.bounds {
            Some([low, high]) => format!(
                "guaranteed between {} and {} {unit}",
                Sense::AtLeast.digits(low),
                Sense::AtMost.digits(high)
            ),
            None => "certified".to_owned(),
        },
        (false, Some(a)) => format!("estimated, to {} {unit}", Sense::AtMost.digits(a)),
        (false, None) => "estimated".to_owned(),
    }
}

/// The bore from each end on.
pub(crate) fn bore(evidence: &Evidence, measures: &Measures) -> Vec<Block> {
    let lines: Vec<Block> = measures.lines.iter().flat_map(|line| along(evidence, line)).collect();
    if lines.is_empty() {
        return Vec::new();
    }
    let mut blocks = vec![heading("Along the bore")];
    blocks.extend(lines);
    blocks.push(Block::Note(plain(
        "Before is the scan as it was given, after the part over the same stretch; the whole line takes in \
         joints and fittings. The ball's lower bound is certified by a line of centres, its upper is the \
         narrowest section's largest circle. The bend is read off the line, which is itself an estimate.",
    )));
    blocks.push(Block::Note(plain(assumed(evidence.settled.output.flow.as_ref()))));
    blocks
}

/// What a pressure loss takes for granted.
fn assumed(flow: Option<&Flow>) -> String {
    let of = flow.map_or_else(
        || {
            "Resistance is pressure loss over viscosity and flow rate, of the bore's shape alone; times Pa s \
             and m\u{b3}/s it is a loss in Pa."
                .to_owned()
        },
        |flow| {
            format!(
                "Pressure loss is for {} L/min of a fluid of {} kg/m\u{b3} and {} Pa s.",
                digits(flow.rate_l_min),
                digits(flow.density_kg_m3),
                powers(flow.viscosity_pa_s)
            )
        },
    );
    format!(
        "{of} It is an estimate by the law of Hagen and Poiseuille, slice by slice, and never a limit. Assumed: \
         laminar, steady, developed flow of a fluid of one viscosity that does not part from the wall. Bends, \
         branches, steps and the way in cost more. It compares before and after better than it tells either."
    )
}

fn along(evidence: &Evidence, line: &FlowLine) -> Vec<Block> {
    let unit = evidence.unit;
    let balls = [&line.ball_before, &line.ball_after, &line.ball_whole].map(Option::as_ref);
    let losses = [&line.loss_before, &line.loss_after, &line.loss_whole].map(Option::as_ref);
    let row = |name: &str, cells: [String; 3]| {
        let cells = cells.map(Cell::from);
        std::iter::once(Cell::from(name)).chain(cells).collect::<Vec<_>>()
    };
    let mut rows = Vec::new();
    let mut add = |name: &str, cells: [Option<String>; 3]| {
        if cells.iter().any(Option::is_some) {
            rows.push(row(name, cells.map(Option::unwrap_or_default)));
        }
    };
    add("Ball that passes", balls.map(|b| b.map(|b| told(&b.diameter, unit, digits))));
    add("Its bottleneck", balls.map(|b| b.map(bottleneck)));
    let over = |l: &PressureLoss| format!("{} {unit}", digits(l.length));
    add("Length that has sections", losses.map(|l| l.map(over)));
    let resistance = |l: &PressureLoss| told(&l.resistance_per_m3, "1/m\u{b3}", powers);
    add("Resistance to laminar flow", losses.map(|l| l.map(resistance)));
    let loss = |l: &PressureLoss| l.loss_pa.as_ref().map(|f| told(f, "Pa", digits));
    add("Pressure loss", losses.map(|l| l.and_then(loss)));
    let reynolds =
        |l: &PressureLoss| l.reynolds.map(|[a, b]| format!("{} to {}", digits(a), digits(b)));
    add("Reynolds number", losses.map(|l| l.and_then(reynolds)));
    add("Tightest bend of the line", [None, None, tightest(line).map(|s| bend(s, unit))]);
    if rows.is_empty() {
        return Vec::new();
    }
    let way = way(line);
    let head = ["Figure", "Before", "After, same stretch", "After, whole line"];
    let mut blocks = vec![
        Block::Heading { level: 3, text: way.clone() },
        Block::Table(Table {
            caption: format!("{way}: what passes and what it costs"),
            head: head.map(|name| (name.to_owned(), Align::Left)).to_vec(),
            rows,
        }),
    ];
    let warnings = warnings(losses);
    if !warnings.is_empty() {
        blocks.push(Block::List(warnings));
    }
    blocks
}

/// What speaks against the estimates, each once.
fn warnings(losses: [Option<&PressureLoss>; 3]) -> Vec<Text> {
    let mut all: Vec<&String> = Vec::new();
    for warning in losses.into_iter().flatten().flat_map(|l| &l.warnings) {
        if !all.contains(&warning) {
            all.push(warning);
        }
    }
    all.into_iter().map(|warning| plain(format!("Pressure loss: {warning}."))).collect()
}

/// A figure with its unit and how sure it is, its numbers as `written`.
pub(crate) fn told(figure: &Figure, unit: &str, written: fn(f64) -> String) -> String {
    let of = match (figure.certified, figure.accuracy.filter(|a| a.is_finite())) {
        (false, Some(off)) => format!("estimated, to {} {unit}", written(off)),
        _ => standing(figure, unit),
    };
    format!("{} {unit} ({of})", written(figure.value))
}

fn bottleneck(ball: &BallAlong) -> String {
    let on = match ball.on {
        On::Fitting => "fitting",
        On::Joint => "joint",
        On::Scan => "scan",
    };
    format!("near {}, in the {on}", place(ball.where_))
}

/// The station where the line bends most.
fn tightest(line: &FlowLine) -> Option<&LineStation> {
    let bent = line.stations.iter().filter(|s| s.curvature.is_some_and(|c| c > 0.0));
    bent.max_by(|a, b| a.curvature.unwrap_or(0.0).total_cmp(&b.curvature.unwrap_or(0.0)))
}

fn bend(station: &LineStation, unit: &str) -> String {
    let radius = station.curvature.map_or(f64::INFINITY, f64::recip);
    format!("radius {} {unit} (estimated), near {}", digits(radius), place(station.at))
}

/// Where a line runs.
fn way(line: &FlowLine) -> String {
    let from = &line.from;
    match (&line.to, line.stop) {
        (Some(to), _) => format!("From end {from} to end {to}"),
        (None, Stop::Branch) => format!("From end {from} to a branch"),
        (None, Stop::Blind) => format!("From end {from} to where the bore is over"),
        (None, Stop::Open) => format!("From end {from} to where the scan opens"),
        (None, Stop::End | Stop::Length | Stop::Nothing) => format!("From end {from}"),
    }
}

/// The angles along each seam.
pub(crate) fn seams(evidence: &Evidence, measures: &Measures) -> Vec<Block> {
    if measures.seams.is_empty() {
        return Vec::new();
    }
    let unit = evidence.unit;
    let row = |seam: &SeamAngles| {
        let largest = match &seam.largest_deg {
            Some(f) => format!("{} deg ({})", Sense::AtMost.digits(f.value), standing(f, "deg")),
            None => "not to be told: a triangle there has no area".to_owned(),
        };
        vec![
            Cell::from(format!("{}, {}", seam.end, seam.seam)),
            format!("{} {unit}", digits(seam.length)).into(),
            largest.into(),
            seam.where_.map(place).unwrap_or_default().into(),
            format!("{} deg", digits(seam.mean_deg)).into(),
        ]
    };
    let head = ["Seam", "Length", "Largest angle", "Where", "Mean angle"];
    vec![
        heading("Seams"),
        Block::Table(Table {
            caption: "Angles between the two triangles at each edge of a seam".to_owned(),
            head: head.map(|name| (name.to_owned(), Align::Left)).to_vec(),
            rows: measures.seams.iter().map(row).collect(),
        }),
        Block::Note(plain(
            "The mean is weighted by length. At a plain end the angle is that of its ring's edge, near 90 degrees.",
        )),
    ]
}

/// Volume, area, mass, and what a printer may ask.
pub(crate) fn material(evidence: &Evidence, measures: &Measures) -> Vec<Block> {
    let unit = evidence.unit;
    let bulk = &measures.bulk;
    let (square, cube) = (format!("{unit}\u{b2}"), format!("{unit}\u{b3}"));
    let mut facts: Vec<(String, Text)> = Vec::new();
    let mut fact = |name: &str, text: String| facts.push((name.to_owned(), plain(text)));
    if let Some(volume) = &bulk.volume {
        fact("Volume", told(volume, &cube, digits));
    }
    fact("Area", told(&bulk.area, &square, digits));
    if let (Some(mass), Some(density)) = (&bulk.mass_g, bulk.density_g_cm3) {
        let of = format!(
            "{} of solid material at {} g/cm\u{b3}",
            told(mass, "g", digits),
            digits(density)
        );
        fact("Mass", of);
    }
    if let Some(overhang) = &measures.overhang {
        let [x, y, z] = overhang.build_direction.map(digits);
        fact("Way up when printed", format!("{x}, {y}, {z}"));
        let near =
            overhang.where_.map_or_else(String::new, |at| format!(", lowest near {}", place(at)));
        fact("Area that overhangs", format!("{}{near}", told(&overhang.area, &square, digits)));
        fact("Area on the plate", format!("{} {square}", digits(overhang.on_plate)));
    }
    for pockets in &measures.pockets {
        let name = match pockets.opens {
            Opens::Up => "Stays in pockets that open upward",
            Opens::Down => "Stays in pockets that open downward",
        };
        fact(name, pockets_told(pockets, unit));
    }
    for void in &measures.voids {
        let text = format!("{} {cube}, near {}", digits(void.volume), place(void.where_));
        fact("Hollow without a way out", text);
    }
    let mut blocks = vec![heading("Material and printing"), Block::Facts(facts)];
    let mut note = String::from("Sums over all triangles of the file.");
    if bulk.mass_g.is_some() {
        note.push_str(" The mass is as right as the density that was given.");
    }
    if measures.overhang.is_some() {
        note.push_str(
            " Overhangs are area that faces down and leans less than 45 degrees from the plate, common practice \
             and no standard: a hint for printing, as hollows are.",
        );
    }
    if let Some(pockets) = measures.pockets.first() {
        note.push_str(&format!(
            " Pockets have a way out, but no way that leads down all along: one that opens upward keeps resin or \
             powder while the part stands on its plate and is a suction cup where it hangs from it; one that \
             opens downward is the other way about. The plate is no floor here; what is narrower or shallower \
             than {} {unit} is not seen.",
            Sense::AtMost.digits(pockets.cell)
        ));
    }
    blocks.push(Block::Note(plain(note)));
    blocks
}

/// How much stays in pockets, and where the largest of them is.
fn pockets_told(pockets: &Pockets, unit: &str) -> String {
    let all = told(&pockets.volume, &format!("{unit}\u{b3}"), digits);
    match pockets.largest.first() {
        None => "nothing found".to_owned(),
        Some(largest) => format!(
            "{all}; the largest is {} {unit} deep near {}",
            digits(largest.depth),
            place(largest.where_)
        ),
    }
}

/// What could not be told, so that measures may be mistaken.
pub(crate) fn doubts(measures: &Measures) -> Vec<Block> {
    if measures.doubts.is_empty() {
        return Vec::new();
    }
    let mut blocks = vec![
        heading("Doubts about the measures"),
        Block::Paragraph(plain(
            "What follows could not be told of scan and part. Bore and outside may be mistaken for each other \
             in the maps and figures below; the limits are judged apart from that.",
        )),
    ];
    let doubt = |text: &String| crate::document::with_names(text);
    blocks.push(Block::List(measures.doubts.iter().map(doubt).collect()));
    blocks
}
