//! What laminar flow loses of its pressure along a line, as an estimate.
//!
//! Hagen and Poiseuille, slice by slice: per length a round bore loses
//! 8 mu Q / (pi r^4). A section that is not round counts as the round one that loses as
//! much at its area and hydraulic diameter, 32 mu Q / (A D^2) per length, which for a
//! circle is the same. Between two stations that radius is taken to run straight, where
//! the loss is (8 mu Q L / 3 pi) (a^2 + a b + b^2) / (a^3 b^3).
//!
//! Assumed: laminar, steady, developed flow that does not part from the wall, of a
//! fluid with one viscosity. Bends, branches, steps and the way in cost more.

use std::f64::consts::PI;

use serde::Serialize;
use spile_case::Flow;

use super::figure::Figure;
use super::section::Section;

/// Up to here a pipe's flow is taken to be laminar (check-values, section 4.4).
pub(super) const LAMINAR_MOST: f64 = 2000.0;
/// A laminar profile is developed after this times the Reynolds number times the diameter.
const ENTRY_LENGTH_SHARE: f64 = 0.06;

/// Pressure loss over a stretch of a line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PressureLoss {
    /// Length of the stretch that has sections.
    pub length: f64,
    /// Loss per flow rate and viscosity, in 1/m^3: it is of the shape alone. Times Pa s and
    /// m^3/s it is the loss in Pa.
    pub resistance_per_m3: Figure,
    /// Loss in Pa for the case's fluid and flow.
    pub loss_pa: Option<Figure>,
    /// Least and greatest Reynolds number, by hydraulic diameter.
    pub reynolds: Option<[f64; 2]>,
    /// What speaks against the estimate, as sentences.
    pub warnings: Vec<String>,
}

/// The loss over sections with their place along the line; none for fewer than two.
/// `metres` is how many metres the case's unit has.
pub(super) fn pressure_loss(
    sections: &[(f64, &Section)],
    flow: Option<&Flow>,
    metres: f64,
) -> Option<PressureLoss> {
    let (first, last) = (sections.first()?, sections.last()?);
    let length = (last.0 - first.0).abs();
    let fine = resistance(sections.iter().copied())?;
    // Every other station, the last one kept, tells how much the spacing matters.
    let is_kept = |i: usize| i.is_multiple_of(2) || i + 1 == sections.len();
    let coarse = resistance((0..sections.len()).filter(|&i| is_kept(i)).map(|i| sections[i]))
        .unwrap_or(fine);
    let per_m3 = |x: f64| x / metres.powi(3);
    let spread = (fine - coarse).abs();
    let how = "Hagen-Poiseuille per slice, as of a round bore of the same area and hydraulic \
               diameter; laminar, developed flow; the accuracy is that of the spacing alone";
    let pascal = |flow: &Flow, x: f64| flow.viscosity_pa_s * rate_m3_s(flow) * per_m3(x);
    let reynolds = flow.map(|flow| {
        let all = sections.iter().map(|(_, section)| reynolds(flow, section, metres));
        all.fold([f64::INFINITY, 0.0], |[lo, hi]: [f64; 2], re| [lo.min(re), hi.max(re)])
    });
    Some(PressureLoss {
        length,
        resistance_per_m3: Figure::estimated(per_m3(fine), Some(per_m3(spread)), how),
        loss_pa: flow.map(|f| Figure::estimated(pascal(f, fine), Some(pascal(f, spread)), how)),
        reynolds,
        warnings: reynolds.map_or_else(Vec::new, |re| warnings(re, first.1, length)),
    })
}

/// Flow rate in m^3/s.
fn rate_m3_s(flow: &Flow) -> f64 {
    flow.rate_l_min / 60_000.0
}

/// Reynolds number by hydraulic diameter.
fn reynolds(flow: &Flow, section: &Section, metres: f64) -> f64 {
    let velocity = rate_m3_s(flow) / (section.area * metres * metres);
    flow.density_kg_m3 * velocity * section.hydraulic_diameter * metres / flow.viscosity_pa_s
}

/// Loss over viscosity and flow rate, in one over the case's unit cubed; none for one
/// section or none.
fn resistance<'a>(sections: impl Iterator<Item = (f64, &'a Section)>) -> Option<f64> {
    let mut last: Option<(f64, f64)> = None;
    let mut sum = None;
    for (s, section) in sections {
        // 8 / (pi r^4) is 32 / (A D^2).
        let radius = (section.area * section.hydraulic_diameter.powi(2) / (4.0 * PI)).sqrt().sqrt();
        if let Some((before, other)) = last {
            let taper =
                (other * other + other * radius + radius * radius) / (other * radius).powi(3);
            *sum.get_or_insert(0.0) += 8.0 * (s - before).abs() / (3.0 * PI) * taper;
        }
        last = Some((s, radius));
    }
    sum.filter(|x: &f64| x.is_finite())
}

fn warnings([_, most]: [f64; 2], inlet: &Section, length: f64) -> Vec<String> {
    let mut said = Vec::new();
    if most > LAMINAR_MOST {
        said.push(format!(
            "the Reynolds number is up to {most:.0}: above {LAMINAR_MOST:.0} flow need not be \
             laminar, and the loss may be several times this"
        ));
    }
    let entry = ENTRY_LENGTH_SHARE * most.min(LAMINAR_MOST) * inlet.hydraulic_diameter;
    if entry > length {
        said.push(format!(
            "the profile is developed only after about {entry:.1} (0.06 Re D), and this stretch is \
             {length:.1} long: unless what lies before it has developed it, the loss is higher"
        ));
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    fn round(radius: f64) -> Section {
        Section {
            area: PI * radius * radius,
            perimeter: 2.0 * PI * radius,
            hydraulic_diameter: 2.0 * radius,
            circumscribed_diameter: 2.0 * radius,
            inscribed_diameter: [2.0 * radius; 2],
            wall: None,
            inscribed_centre: [0.0; 3],
        }
    }

    const AIR: Flow = Flow { rate_l_min: 15.0, density_kg_m3: 1.204, viscosity_pa_s: 1.825e-5 };

    #[test]
    fn straight_tubes_lose_what_hagen_and_poiseuille_say() {
        // check-values, section 4.4: air at 15 L/min, D 18 mm: Re 1166.65, 1.77081 Pa/m;
        // D 15 mm: Re 1399.98, 3.67196 Pa/m.
        for (diameter, re, pascal) in [(18.0, 1166.65, 1.77081), (15.0, 1399.98, 3.67196)] {
            let tube = round(0.5 * diameter);
            let all: Vec<(f64, &Section)> =
                (0..=10).map(|i| (100.0 * f64::from(i), &tube)).collect();
            let found = pressure_loss(&all, Some(&AIR), 1e-3).unwrap();
            assert!((found.loss_pa.unwrap().value / pascal - 1.0).abs() < 3e-6);
            assert!((found.reynolds.unwrap()[1] / re - 1.0).abs() < 5e-6);
            assert_eq!(found.length, 1000.0);
        }
    }

    #[test]
    fn a_tapering_tube_loses_the_closed_form() {
        // check-values, section 4.4: r 9 to 11 mm over 20 mm, 0.0240277 Pa; in any steps.
        for steps in [1_u32, 2, 7] {
            let at = |i: u32| f64::from(i) / f64::from(steps);
            let rings: Vec<(f64, Section)> =
                (0..=steps).map(|i| (20.0 * at(i), round(9.0 + 2.0 * at(i)))).collect();
            let all: Vec<(f64, &Section)> = rings.iter().map(|(s, ring)| (*s, ring)).collect();
            let found = pressure_loss(&all, Some(&AIR), 1e-3).unwrap();
            assert!((found.loss_pa.unwrap().value / 0.0240277 - 1.0).abs() < 3e-6);
        }
    }

    #[test]
    fn a_needle_loses_what_the_handbook_says() {
        // check-values W6 (OpenStax College Physics 12.4): r 0.150 mm, L 25.0 mm, 0.120 cm^3/s,
        // 1.00e-3 Pa s: 15090.2 Pa.
        let needle = round(0.15);
        let fluid = Flow { rate_l_min: 0.0072, density_kg_m3: 1000.0, viscosity_pa_s: 1e-3 };
        let found = pressure_loss(&[(0.0, &needle), (25.0, &needle)], Some(&fluid), 1e-3).unwrap();
        assert!((found.loss_pa.unwrap().value - 15090.2).abs() < 0.1);
        // In another unit it is the same needle.
        let inches = round(0.15 / 25.4);
        let all = [(0.0, &inches), (25.0 / 25.4, &inches)];
        let other = pressure_loss(&all, Some(&fluid), 0.0254).unwrap();
        let ratio = other.resistance_per_m3.value / found.resistance_per_m3.value;
        assert!((ratio - 1.0).abs() < 1e-12);
    }

    #[test]
    fn fast_flow_and_short_ways_are_warned_of() {
        let tube = round(9.0);
        let all = [(0.0, &tube), (50.0, &tube)];
        let fast = Flow { rate_l_min: 60.0, ..AIR };
        let said = pressure_loss(&all, Some(&fast), 1e-3).unwrap().warnings.join("\n");
        assert!(said.contains("up to 4667") && said.contains("0.06 Re D"), "{said}");
        // Re 1166.65 needs 0.06 x 1166.65 x 18 mm = 1260 mm.
        let long = [(0.0, &tube), (1300.0, &tube)];
        assert!(pressure_loss(&long, Some(&AIR), 1e-3).unwrap().warnings.is_empty());
        assert_eq!(pressure_loss(&all[..1], None, 1e-3), None);
    }
}
