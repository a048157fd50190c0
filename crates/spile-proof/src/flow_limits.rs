//! The limits `bore_loss` and `ball_min` of one end, and its stations.

use spile_mesh::{Bvh, DVec3};

use crate::ball::{Gate, PassingBall, passing_ball};
use crate::bore_loss::{BoreLoss, EndBore, FittingBore, bore_loss, line_remark};
use crate::centreline::LineEnd;
use crate::flow_section::{BoreSurface, Frame, Walker};
use crate::labels::{Fate, FittingFrame, Labelled, LabelledEnd, Plane, Side, trimmed_beyond};
use crate::proof::{EndStations, LimitResult, Station, Verdict};
use crate::stations::{StationFigures, loop_centre};

/// What was found of the flow at one end.
pub(crate) struct Flow {
    pub(crate) bore_loss: LimitResult,
    /// None at a plain end.
    pub(crate) ball_min: Option<LimitResult>,
    pub(crate) stations: EndStations,
}

/// Rounding of sums of areas, far above what a thousand terms can do.
const AREA_ROUNDING_SHARE: f64 = 1e-10;
/// Centres of the ball's line lie no further apart than this share of the
/// fitting's radius.
const GATES_APART_SHARE: f64 = 0.1;
/// A corner this share of the radius beyond a cut still counts as at it.
const SLACK_SHARE: f64 = 1e-6;
/// The bore near an end is followed this many radii beyond reach and joint.
const RADII_AROUND: f64 = 6.0;

/// Judges both limits at one end.
pub(crate) fn judge_flow(l: &Labelled, end: &LabelledEnd) -> Flow {
    let seam: Vec<DVec3> = end.seam_bore.iter().map(|&v| l.part.points()[v as usize]).collect();
    let Some(centre) = loop_centre(&seam) else {
        return unjudged(l, end, "the seam on the bore bounds no area");
    };
    let radius = seam.iter().map(|p| p.distance(centre)).fold(0.0, f64::max);
    let around = 1.5 * end.reach + RADII_AROUND * radius;
    let scan_bore = l.scan_where(|t| l.scan_side[t] == Side::Bore);
    let scan = BoreSurface::near(&l.scan, &scan_bore, centre, around);
    let part_bore = l.part_where(|t| l.side[t] == Side::Bore);
    let beyond = end.fitting.map_or(0.0, |f| f.at.distance(centre) + f.length);
    let part = BoreSurface::near(l.part, &part_bore, centre, around + beyond);
    let cuts: Vec<Plane> = (l.ends.iter())
        .map(|end| trimmed_beyond(l.part, end, Side::Bore).unwrap_or(end.plane))
        .collect();
    let slack = SLACK_SHARE * radius;
    let is_on_scan = |t: u32| match l.fate[t as usize] {
        Fate::Kept => true,
        // A triangle that a cut goes through is on the scan only in part.
        Fate::Replaced(by) => {
            let Plane { point, normal } = cuts[by];
            l.scan.corners(t as usize).iter().all(|p| (*p - point).dot(normal) <= slack)
        }
        Fate::Removed(_) | Fate::MendedAway | Fate::Lost => false,
    };
    let fitting = end.fitting.map(|f: FittingFrame| FittingBore {
        at: f.at,
        along: f.along,
        radius: f.bore.near,
        length: f.length,
    });
    let bore = EndBore {
        scan: &scan,
        part: &part,
        is_on_scan: &is_on_scan,
        is_untouched: &|t| l.fate[t as usize] == Fate::Kept,
        seam: &seam,
        facing: end.facing,
        is_rim: end.is_rim,
        reach: end.reach,
        fitting,
    };
    let Some(found) = bore_loss(&bore) else {
        return unjudged(l, end, "the seam on the bore bounds no area");
    };
    let ball_min = fitting.map(|fitting| {
        // Not the bore alone: whatever stands in its way stops a ball.
        let room = around + beyond;
        let near = l.part_where(|t| {
            spile_mesh::Bounds3::of(l.part.corners(t)).distance_sq(centre) <= room * room
        });
        judge_ball(l, end, &found, &bore, &fitting, &Bvh::build_of(l.part, &near))
    });
    Flow {
        bore_loss: judge_loss(l, end, &found),
        ball_min,
        stations: EndStations {
            name: end.name.clone(),
            stations: found.stations.iter().map(station).collect(),
        },
    }
}

fn station(figures: &StationFigures) -> Station {
    Station {
        s: figures.s,
        at: figures.at.to_array(),
        normal: figures.normal.to_array(),
        area_scan: figures.area_scan,
        area_part: figures.area_part,
        hydraulic_diameter: figures.hydraulic_diameter,
        inscribed_diameter: figures.inscribed_diameter,
    }
}

fn judge_loss(l: &Labelled, end: &LabelledEnd, found: &BoreLoss) -> LimitResult {
    let asked = l.limits(end).bore_loss;
    let how = loss_remarks(found).join("; ");
    let plain = |why: String, at: Option<DVec3>| LimitResult {
        asked,
        where_: at.map(|p| p.to_array()),
        ..LimitResult::plain("bore_loss", Some(&end.name), not_judged(asked), why)
    };
    if let Some(at) = found.not_closed {
        return plain(
            format!("the part's bore does not close in a plane that counts; {how}"),
            Some(at),
        );
    }
    let Some(worst) = found.worst() else {
        return plain(format!("no plane could be compared; {how}"), None);
    };
    if end.fitting.is_some() && end.reach > 0.0 && found.within_reach.is_none() {
        return plain(format!("no plane within reach could be compared; {how}"), None);
    }
    let share = worst.share.max(0.0);
    let bounds = [(share - AREA_ROUNDING_SHARE).max(0.0), share + AREA_ROUNDING_SHARE];
    let name = Some(end.name.as_str());
    let mut result = LimitResult::at_most("bore_loss", name, asked, bounds, worst.at, how);
    result.measured = Some(share);
    if asked == Some(0.0) {
        let rounding = worst.rounding_share;
        let is_held = share <= rounding;
        result.verdict = if is_held { Verdict::Held } else { Verdict::Broken };
        result.how.push_str(&format!(
            "; a limit of 0 is held by a loss of no more than perimeter x coordinate spacing / \
             area, {rounding:.3e} there"
        ));
    }
    result
}

/// What was compared with what, as parts of a sentence.
fn loss_remarks(found: &BoreLoss) -> Vec<String> {
    let mut how = Vec::new();
    match found.within_reach {
        Some(loss) => how.push(format!(
            "within reach the same planes cut scan and part, all planes between stations \
             included: {:.5} lost",
            loss.share
        )),
        None => how.push("within reach no plane was compared".to_owned()),
    }
    if let Some(loss) = found.beside_seam {
        how.push(format!(
            "in the planes beside the seam that cut scan and joint both: {:.5} lost, against the \
             scan's own section there or what the joint is measured against, whichever is less",
            loss.share
        ));
    }
    if let (Some(loss), Some(reference)) = (found.joint, found.reference) {
        let scan = match reference.scan {
            Some((s, area)) => format!("the scan's last own section {area:.4} at s = {s:.3}"),
            None => "no section of the scan closes wholly on scan near the seam".to_owned(),
        };
        let untouched = match reference.untouched {
            Some((s, area)) => format!(" (on untouched scan alone {area:.4} at s = {s:.3})"),
            None => String::new(),
        };
        how.push(format!(
            "joint: the least section over tilts up to 20 degrees (a search), exact over parallel \
             planes between stations, against the smaller of the fitting's circle {:.4} and {scan}{untouched}: \
             {:.5} lost",
            reference.fitting_area, loss.share
        ));
    }
    if found.searched_again > 0 {
        how.push(format!(
            "at {} stations the least lay at 20 degrees and was sought up to 40",
            found.searched_again
        ));
    }
    how.extend(line_remark(&found.line.end));
    how
}

fn judge_ball(
    l: &Labelled,
    end: &LabelledEnd,
    found: &BoreLoss,
    bore: &EndBore,
    fitting: &FittingBore,
    surface: &Bvh,
) -> LimitResult {
    let asked = l.limits(end).ball_min;
    let (travelled, is_whole) = to_far_border(found, bore);
    // A blind bore has no far border: its ball goes as far as there is room.
    if !is_whole && !matches!(found.line.end, LineEnd::Blind(_)) {
        let why = format!(
            "the line of centres ends before the far border of reach: {}",
            line_remark(&found.line.end).unwrap_or_else(|| "it is too short".to_owned())
        );
        return LimitResult {
            asked,
            ..LimitResult::plain("ball_min", Some(&end.name), not_judged(asked), why)
        };
    }
    let gates = gates(fitting, &travelled);
    let most = travelled.iter().filter_map(|f| f.inscribed_most.map(|d| (d, f.at)));
    let most = most.min_by(|a, b| a.0.total_cmp(&b.0));
    let Some((PassingBall { lo, at, .. }, (hi, _))) = passing_ball(surface, &gates).zip(most)
    else {
        let why = "no section closes that a ball could pass";
        return LimitResult {
            asked,
            ..LimitResult::plain("ball_min", Some(&end.name), not_judged(asked), why)
        };
    };
    let mut how = "a line of centres with certified clearance, from the fitting's far face to the \
                   far border of reach; the upper bound is the narrowest section's largest circle"
        .to_owned();
    if !is_whole {
        how.push_str("; the line ends before the far border: ");
        how.push_str(&line_remark(&found.line.end).unwrap_or_default());
    }
    LimitResult::at_least("ball_min", Some(&end.name), asked, [lo, hi.max(lo)], at, how)
}

/// From the fitting's far face along its axis, then the stations' circles; where
/// two stations lie far apart (between scan and joint), gates in between.
fn gates(fitting: &FittingBore, travelled: &[&StationFigures]) -> Vec<Gate> {
    let on_axis = [fitting.length, 0.0]
        .map(|along| Gate { at: fitting.at + along * fitting.along, along: DVec3::ZERO });
    let mut gates = on_axis.to_vec();
    let mut last: Option<Gate> = None;
    for figures in travelled {
        let at = figures.inscribed_centre.unwrap_or(figures.at);
        let gate = Gate { at, along: -figures.normal };
        if let Some(last) = last {
            let apart = last.at.distance(gate.at) / (GATES_APART_SHARE * fitting.radius);
            let count = apart.ceil().clamp(1.0, 100.0) as usize;
            gates.extend((1..count).map(|k| {
                let share = k as f64 / count as f64;
                let along = last.along.lerp(gate.along, share).normalize_or_zero();
                Gate { at: last.at.lerp(gate.at, share), along }
            }));
        }
        gates.push(gate);
        last = Some(gate);
    }
    gates
}

/// The stations from the fitting to the far border of reach, and whether they
/// get there: the border is passed where all of a section lies beyond reach.
fn to_far_border<'a>(found: &'a BoreLoss, bore: &EndBore) -> (Vec<&'a StationFigures>, bool) {
    let mut travelled = Vec::new();
    let mut walker = Walker::default();
    // Stations rise from the scan to the fitting; the ball goes the other way.
    for figures in found.stations.iter().rev() {
        travelled.push(figures);
        if figures.s >= 0.0 {
            continue;
        }
        let frame = Frame::new(figures.at, figures.normal);
        let among = bore.part.between(&frame, 0.0, 0.0);
        let section = bore.part.section(&frame, 0.0, figures.at, &among, &mut walker);
        let outline = section.map(|s| bore.part.outline_points(&s.outer, &frame, 0.0));
        let is_beyond = outline.is_some_and(|points| {
            points.iter().all(|p| bore.seam.iter().all(|q| p.distance(*q) >= bore.reach))
        });
        if is_beyond {
            return (travelled, true);
        }
    }
    // A blind bore's last stations have no room for any ball.
    if let LineEnd::Blind(tip) = found.line.end {
        let room = |f: &StationFigures| f.inscribed_diameter.unwrap_or(0.0);
        while let Some(last) = travelled.last() {
            if last.s >= 0.0 || last.at.distance(tip) >= 0.5 * room(travelled[0]) {
                break;
            }
            travelled.pop();
        }
    }
    (travelled, false)
}

fn not_judged(asked: Option<f64>) -> Verdict {
    if asked.is_some() { Verdict::NotJudged } else { Verdict::NotAsked }
}

fn unjudged(l: &Labelled, end: &LabelledEnd, why: &str) -> Flow {
    let of = |name: &str, asked: Option<f64>| LimitResult {
        asked,
        ..LimitResult::plain(name, Some(&end.name), not_judged(asked), why)
    };
    Flow {
        bore_loss: of("bore_loss", l.limits(end).bore_loss),
        ball_min: end.fitting.map(|_| of("ball_min", l.limits(end).ball_min)),
        stations: EndStations { name: end.name.clone(), stations: Vec::new() },
    }
}
