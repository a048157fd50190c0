//! Whether a settled cut lies at the station that was asked for.
//!
//! The settled plane is a claim. The proof follows the scan's centreline its own
//! way, from the rim or place that was asked for, and measures where on that line
//! the plane is, how square to it, and what the bore is like there.

use std::f64::consts::PI;

use spile_case::{Case, Cut, Form, Site, Station, StationCut};
use spile_mesh::{DVec3, Mesh};

use crate::centreline::{CentrePoint, Centreline, March, centreline};
use crate::flow_section::{BoreSurface, Frame, Walker, perimeter};
use crate::identity::weld;
use crate::polyline::{Polyline, area_vector, best_plane};
use crate::scan_view::ScanView;
use crate::stations::{loop_centre, outlines};

/// Two centrelines of one bore, found in different ways, agree along and across
/// within this share of its radius.
const SAME_PLACE_SHARE: f64 = 0.1;
/// Their directions agree within this angle, in degrees.
const SAME_DIRECTION_DEG: f64 = 5.0;
/// Of stations in a span whose areas, or roundnesses, are this near, in shares of
/// them, either may be taken.
const SAME_FIGURE_SHARE: f64 = 0.02;
/// Stations of the line a radius.
const STATIONS_A_RADIUS: f64 = 12.0;

/// Each cut of `settled` that is not at the station that `asked` names, as parts of
/// a sentence.
pub(crate) fn stations_differ(scans: &[Mesh], settled: &Case, asked: &Case) -> Vec<String> {
    let pairs = settled.ends.iter().zip(&asked.ends);
    let claims: Vec<(&str, Cut, StationCut)> = pairs
        .filter_map(|(settled, asked)| match (settled.site, asked.site) {
            (Site::Cut(cut), Site::Station(station)) => Some((asked.name.as_str(), cut, station)),
            _ => None,
        })
        .collect();
    if claims.is_empty() {
        return Vec::new();
    }
    let welded: Vec<Mesh> = scans.iter().map(weld).collect();
    let inner = scans.first().map_or(0, |m| m.triangles().len());
    let whole = Mesh::joined(&welded).unwrap_or_default();
    let bare = Case { ends: Vec::new(), ..settled.clone() };
    let view = ScanView::of(whole, inner, &bare);
    let all: Vec<u32> = (0..view.mesh.triangles().len() as u32).collect();
    let bore = BoreSurface::of(&view.mesh, &all);
    let check = |(name, cut, asked): (&str, Cut, StationCut)| {
        let claim = Claim { cut, asked, room: settled.limits.deviation };
        let what = claim.check(&view, &bore, settled, inner).err()?;
        Some(format!("the cut of end {name} is not at the station asked for: {what}"))
    };
    claims.into_iter().filter_map(check).collect()
}

struct Claim {
    cut: Cut,
    asked: StationCut,
    /// What a seam may lie off its plane.
    room: f64,
}

impl Claim {
    fn check(
        &self,
        view: &ScanView,
        bore: &BoreSurface,
        case: &Case,
        inner: usize,
    ) -> Result<(), String> {
        let start = self.beginning(view, case, inner)?;
        let (from, to) = match self.asked.station {
            Station::Along(s) => (s, s),
            Station::Narrowest([from, to]) | Station::Roundest([from, to]) => (from, to),
        };
        let spacing = start.radius / STATIONS_A_RADIUS;
        let length = to + 2.0 * start.radius;
        let march = March {
            from: start.centre,
            facing: start.facing,
            length,
            spacing,
            radius: start.radius,
        };
        let line = centreline(bore, &march);
        let found = self.on_line(&line, start.radius)?;
        let room = SAME_PLACE_SHARE * start.radius + self.room;
        let s = -found.s;
        if s < from - room || s > to + room {
            return Err(format!("it is {s:.3} along the centreline"));
        }
        let figure = |point: &CentrePoint| match self.asked.station {
            Station::Roundest(_) => -roundness(bore, point, start.radius),
            _ => point.area,
        };
        if matches!(self.asked.station, Station::Along(_)) {
            return Ok(());
        }
        let within = line.points.iter().filter(|p| (from..=to).contains(&-p.s));
        let least = within.map(&figure).fold(f64::INFINITY, f64::min);
        let here = figure(&found);
        if here > least + SAME_FIGURE_SHARE * least.abs() {
            return Err(format!(
                "the bore there measures {:.4}, and {:.4} elsewhere in the span",
                here.abs(),
                least.abs()
            ));
        }
        Ok(())
    }

    /// Where the line begins, told by the scan alone.
    fn beginning(&self, view: &ScanView, case: &Case, inner: usize) -> Result<Start, String> {
        let form = case.scan.form;
        let guess = self.asked.facing.unwrap_or(self.cut.facing);
        let facing = DVec3::from_array(guess).try_normalize().ok_or("it has no direction")?;
        let points = match self.asked.facing {
            Some(facing) => {
                let cut = Cut { through: self.asked.from, facing };
                view.end_at_cut(cut, form, inner)?.bore.points
            }
            None => self.rim(view, case, inner).ok_or("the scan has no such open rim")?,
        };
        let centre = loop_centre(&points).ok_or("the line begins at a loop without area")?;
        let own = best_plane(&points, facing).map(|plane| plane.normal);
        let far = points.iter().map(|p| p.distance(centre)).sum::<f64>();
        Ok(Start {
            centre,
            facing: self.asked.facing.map(|_| facing).or(own).unwrap_or(facing),
            radius: far / points.len() as f64,
        })
    }

    /// The bore's rim nearest to where the line is to begin. With two walls that rim
    /// and the one that runs beside it are the two edges of one wall, of which the
    /// bore's bounds the lesser area.
    fn rim(&self, view: &ScanView, case: &Case, inner: usize) -> Option<Vec<DVec3>> {
        let from = DVec3::from_array(self.asked.from);
        let rims = view.rims(view.hole_max);
        let far = |points: &[DVec3], of: &[DVec3]| {
            let line = Polyline::closed(points);
            of.iter().map(|&p| line.distance(p)).sum::<f64>() / of.len() as f64
        };
        let nearest = |but: Option<usize>, of: &[DVec3]| {
            (0..rims.len())
                .filter(|&i| Some(i) != but)
                .min_by(|&i, &j| far(&rims[i].points, of).total_cmp(&far(&rims[j].points, of)))
        };
        let first = nearest(None, &[from])?;
        let is_inner = |i: usize| (rims[i].triangles[0] as usize) < inner;
        let partner = nearest(Some(first), &rims[first].points);
        let chosen = match (case.scan.form, partner) {
            (Form::Bore | Form::Cavity, _) => first,
            (Form::Sheets, Some(other)) if is_inner(other) && !is_inner(first) => other,
            (Form::Sheets, _) => first,
            (Form::Shell, other) => {
                let area = |i: usize| area_vector(&rims[i].points).length();
                let other = other?;
                if area(other) < area(first) { other } else { first }
            }
        };
        Some(rims[chosen].points.clone())
    }

    /// The place of the line where the settled plane cuts it.
    fn on_line(&self, line: &Centreline, radius: f64) -> Result<CentrePoint, String> {
        let (through, normal) =
            (DVec3::from_array(self.cut.through), DVec3::from_array(self.cut.facing));
        let height = |p: &CentrePoint| (p.at - through).dot(normal);
        let crossings = line.points.windows(2).filter_map(|pair| {
            let (a, b) = (height(&pair[0]), height(&pair[1]));
            let share = a / (a - b);
            ((a >= 0.0) != (b >= 0.0)).then(|| CentrePoint {
                s: pair[0].s + share * (pair[1].s - pair[0].s),
                at: pair[0].at.lerp(pair[1].at, share),
                tangent: pair[0].tangent.lerp(pair[1].tangent, share).normalize_or_zero(),
                area: pair[0].area + share * (pair[1].area - pair[0].area),
            })
        });
        let nearest =
            crossings.min_by(|a, b| a.at.distance(through).total_cmp(&b.at.distance(through)));
        let found = nearest
            .ok_or_else(|| "its plane does not cross the centreline from there".to_owned())?;
        let aside = found.at.distance(through);
        if aside > SAME_PLACE_SHARE * radius + self.room {
            return Err(format!("its point is {aside:.3} off the centreline"));
        }
        let turned = found.tangent.dot(normal).clamp(-1.0, 1.0).acos().to_degrees();
        if turned > SAME_DIRECTION_DEG {
            return Err(format!("its plane is {turned:.2} degrees off square to the centreline"));
        }
        Ok(found)
    }
}

struct Start {
    centre: DVec3,
    facing: DVec3,
    radius: f64,
}

/// 4 pi area / perimeter^2 of the bore square to the line; 0 where it does not
/// close. 1 for a circle, less for any other outline (isoperimetric inequality).
fn roundness(bore: &BoreSurface, point: &CentrePoint, radius: f64) -> f64 {
    let frame = Frame::new(point.at, point.tangent);
    let among = bore.crossing(&frame, 2.5 * radius);
    let Some(section) = bore.section(&frame, 0.0, point.at, &among, &mut Walker::default()) else {
        return 0.0;
    };
    let round = outlines(bore, &section, &frame).first().map_or(f64::INFINITY, |o| perimeter(o));
    4.0 * PI * section.area / (round * round)
}
