//! `place = "auto"` and `reach = "auto"`: found by making part after part and
//! judging each as a run judges its own.
//!
//! Ends are sought in the case's order; those that are still to be sought are plain
//! ends meanwhile. At each the place comes first, with the scan free within a bore's
//! width of the cut if the reach is to be found too; then the least reach that holds
//! there. A try holds if nothing is broken over the whole part, at this end, or at an
//! end that was sought before: what is broken at an end whose place and reach the
//! case gives is no fault of the try.

mod least;

use spile_case::{Case, End, EndLimits, Onward, Place};
use spile_joint::{BoreAt, Watch as _, bores_at};
use spile_mesh::Mesh;
use spile_proof::Verdict;

use crate::commands::tried::judged;
use crate::failure::Failure;
use crate::progress::Progress;
use least::{Least, Sought, Tried};

/// Gaps that are tried, in diameters of the scan's bore at the cut. The longest is the
/// most that the proof lets pass as found.
const GAPS: [f64; 11] = [0.05, 0.1, 0.2, 0.3, 0.45, 0.7, 1.0, 1.5, 2.2, 3.3, 5.0];

/// Reaches that are tried, in the same. The longest is the most that the proof lets
/// pass as found.
const REACHES: [f64; 9] = [0.05, 0.1, 0.2, 0.3, 0.45, 0.7, 1.0, 1.4, 2.0];

/// The reach while the place is sought, in the same: a bore's width, less where the
/// scan is too short for that.
const WHILE_PLACED: [f64; 3] = [1.0, 0.5, 0.25];

/// A case with all that was `auto` found.
pub(crate) struct Found {
    /// The case; its places that were `auto` go by a gap.
    pub case: Case,
    /// What was chosen, one sentence each.
    pub notes: Vec<String>,
}

/// Finds what is `auto` in the case; a case without comes back as it is.
///
/// Where nothing holds, the value stands at which the fewest limits are broken, and
/// its note says so.
///
/// # Errors
/// An end is not to be found on the scan, or `progress` stopped it.
pub(crate) fn find_auto(
    asked: &Case,
    scans: &[Mesh],
    progress: &Progress,
) -> Result<Found, Failure> {
    let mut case = asked.clone();
    let mut notes = Vec::new();
    let open: Vec<usize> = (0..case.ends.len()).filter(|&k| is_auto(&case.ends[k])).collect();
    if open.is_empty() {
        return Ok(Found { case, notes });
    }
    let bores = bores_at(&case, scans)?;
    for &k in &open {
        case.ends[k] = as_plain(&case.ends[k]);
    }
    let mut counted = Vec::new();
    for k in open {
        case.ends[k] = asked.ends[k].clone();
        counted.push(case.ends[k].name.clone());
        let seeker = Seeker { scans, progress, case: &case, k, bore: bores[k], counted: &counted };
        let (end, holds) = seeker.seek(&mut notes);
        progress.go_on()?;
        case.ends[k] = end;
        if !holds {
            counted.pop();
        }
    }
    Ok(Found { case, notes })
}

fn is_auto(end: &End) -> bool {
    end.reach_is_auto || end.place == Some(Place::Auto)
}

/// The end without its fitting, and without the limits that go with one.
fn as_plain(end: &End) -> End {
    let limits = EndLimits { kink_deg: None, ball_min: None, chord: None, ..end.limits };
    let (reach, reach_is_auto) = (None, false);
    End { reach, reach_is_auto, fitting: None, place: None, limits, ..end.clone() }
}

/// The search at one end.
struct Seeker<'a> {
    scans: &'a [Mesh],
    progress: &'a Progress,
    /// The case, with the ends before this one found and those after it plain.
    case: &'a Case,
    k: usize,
    bore: BoreAt,
    /// Names of the ends whose rows count.
    counted: &'a [String],
}

impl Seeker<'_> {
    /// The end with its values found, and whether they hold.
    fn seek(&self, notes: &mut Vec<String>) -> (End, bool) {
        let mut end = self.case.ends[self.k].clone();
        let (seeks_place, seeks_reach) = (end.place == Some(Place::Auto), end.reach_is_auto);
        end.reach_is_auto = false;
        let mut most = None;
        if seeks_place {
            let found = if seeks_reach {
                let (found, reach) = self.place_with_some_reach(&end);
                (end.reach, most) = (Some(reach), Some(reach));
                found
            } else {
                self.place(&end)
            };
            notes.push(self.place_note(&found, most));
            end.place = Some(Place::Onward(found.value.into()));
            if !found.holds {
                return (end, false);
            }
        }
        if !seeks_reach {
            return (end, true);
        }
        let found = self.reach(&end, most);
        notes.push(self.note("reach", "reach", &found));
        end.reach = Some(found.value);
        (end, found.holds)
    }

    /// The place, and the reach that was used while it was sought.
    fn place_with_some_reach(&self, end: &End) -> (Least, f64) {
        let sought = self.sought(&GAPS);
        let mut found = None;
        for share in WHILE_PLACED {
            let reach = sought.tidy(share * self.bore.across);
            let least = self.place(&End { reach: Some(reach), ..end.clone() });
            let is_made = least.is_made;
            found = Some((least, reach));
            if is_made {
                break;
            }
        }
        found.expect("there is a reach to seek with")
    }

    fn place(&self, end: &End) -> Least {
        self.sought(&GAPS).least(None, &mut |gap| {
            let place = Some(Place::Onward(Onward::from(gap)));
            self.tried(End { place, ..end.clone() })
        })
    }

    /// The reach; `holds` is one that is known to.
    fn reach(&self, end: &End, holds: Option<f64>) -> Least {
        self.sought(&REACHES)
            .least(holds, &mut |reach| self.tried(End { reach: Some(reach), ..end.clone() }))
    }

    fn sought(&self, shares: &[f64]) -> Sought {
        Sought::new(shares, self.bore.across)
    }

    fn tried(&self, end: End) -> Tried {
        // What is found once it is stopped is nothing to go by: `find_auto` gives the error.
        if self.progress.cancelled() {
            return Tried::Unmade;
        }
        self.progress.step("seek", Some(&end.name));
        let mut case = self.case.clone();
        case.ends[self.k] = end;
        let Ok(Some(proof)) = judged(&case, self.scans, self.progress) else {
            return Tried::Unmade;
        };
        let counts = |end: &Option<String>| end.as_ref().is_none_or(|e| self.counted.contains(e));
        let is_bad = |v: Verdict| matches!(v, Verdict::Broken | Verdict::NotJudged);
        let mut broken: Vec<String> = Vec::new();
        for row in proof.limits.iter().filter(|row| counts(&row.end) && is_bad(row.verdict)) {
            if !broken.contains(&row.name) {
                broken.push(row.name.clone());
            }
        }
        if broken.is_empty() { Tried::Holds } else { Tried::Broken(broken) }
    }

    fn place_note(&self, found: &Least, reach: Option<f64>) -> String {
        // Rounded here, so that no zero is negative.
        let [x, y, z] = self.bore.direction.to_array().map(|c| (1e4 * c).round() / 1e4 + 0.0);
        let reach = reach.map_or_else(String::new, |r| format!(", sought with a reach of {r}"));
        let note = self.note("place", "gap", found);
        format!("{note}; straight on is ({x:.4}, {y:.4}, {z:.4}){reach}")
    }

    fn note(&self, key: &str, what: &str, found: &Least) -> String {
        let Least { value, holds, is_made, short, tried: [from, to], .. } = found;
        let end = &self.case.ends[self.k].name;
        let chosen = match (holds, short) {
            (true, Some((short, broken))) => {
                let why = match &broken[..] {
                    [] => "no part can be made".to_owned(),
                    names => format!("{} would be broken", names.join(", ")),
                };
                format!("{what} {value} is the least found that holds all limits; at {short} {why}")
            }
            (true, None) => format!("{what} {value} holds all limits, and no less was tried"),
            (false, _) if *is_made => format!(
                "no {what} from {from} to {to} was found that holds all limits; {value}, where \
                 the fewest are broken, is taken"
            ),
            (false, _) => {
                format!("no part can be made with a {what} from {from} to {to}; {value} is taken")
            }
        };
        format!("end `{end}`: `{key} = \"auto\"`: {chosen}")
    }
}
