//! All ends cut, their reaches shared out where they meet.

use spile_case::{End, Limits};

use super::{Job, MakeError, Note};
use crate::ends::{cut_and_lift, place};
use crate::fitting::Placed;
use crate::locate::{Located, locate};
use crate::span::stretch;
use crate::work::{Work, apart, share_out};

impl<'a> Job<'a> {
    /// What must hold at this end.
    pub(crate) fn limits(&self, end: &End) -> Limits {
        self.case.limits_at(end)
    }

    /// Finds, cuts and lifts every end.
    pub(crate) fn cut_ends(
        &self,
        two_walls: bool,
        notes: &mut Vec<Note>,
    ) -> Result<Vec<Work<'a>>, MakeError> {
        let mut works = Vec::new();
        for end in &self.case.ends {
            self.begin("cut", end)?;
            let located = locate(self.scan, end, two_walls)?;
            self.watch.go_on()?;
            let placed = place(self.scan, self.case, end, &located)?;
            if let Some(placed) = &placed {
                stretch(end, &located, placed.along)?;
            }
            let reach = placed.as_ref().and(end.reach);
            works.push(self.cut_end(end, (located, placed), two_walls, reach)?);
        }
        let mut shared = Vec::new();
        while let Some(meeting) = apart(self.scan, &works)? {
            let shares = share_out(self.scan, &works, &meeting)?;
            for (k, reach) in shares {
                let Work { end, located, placed, .. } = works.swap_remove(k);
                works.push(self.cut_end(end, (located, placed), two_walls, Some(reach))?);
                let last = works.len() - 1;
                works.swap(k, last);
                shared.push(k);
            }
        }
        shared.sort_unstable();
        shared.dedup();
        for k in shared {
            let Work { end, reach: Some(reach), .. } = &works[k] else { continue };
            let asked = end.reach.unwrap_or(0.0);
            notes.push(Note::Said(format!(
                "end `{}`: its reach meets another's; {reach:.2} of {asked:.2} is used",
                end.name
            )));
        }
        Ok(works)
    }

    /// One end cut, its bands lifted as far as `reach`.
    fn cut_end(
        &self,
        end: &'a End,
        (located, placed): (Located, Option<Placed>),
        two_walls: bool,
        reach: Option<f64>,
    ) -> Result<Work<'a>, MakeError> {
        let radius = placed.as_ref().map_or(0.0, |placed| placed.bore);
        let lifted = reach.map(|reach| self.lifted(end, reach, radius));
        let side = |bore| cut_and_lift(self.scan, self.case, end, &located, bore, lifted);
        let bore = side(true)?;
        self.watch.go_on()?;
        let outside = if two_walls { Some(side(false)?) } else { None };
        Ok(Work { end, located, placed, reach, bore, outside, joint: None, outside_grid: None })
    }
}
