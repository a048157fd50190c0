//! Stations: places along the bore with their sections and figures.

use crate::flow_section::{BoreSurface, FlowSection, Frame, Walker, perimeter, signed_area};
use crate::inscribed::inscribed_circle;
use spile_mesh::DVec3;

/// What is shown of one station. Lengths in the case's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct StationFigures {
    /// Distance along the line from the centre of the scan's seam: negative in
    /// the scan, positive in the joint.
    pub s: f64,
    /// The station.
    pub at: DVec3,
    /// Unit normal of its plane, toward the fitting.
    pub normal: DVec3,
    /// Open area of the scan's bore in that plane, where it has one.
    pub area_scan: Option<f64>,
    /// Open area of the part's bore in that plane, where it closes.
    pub area_part: Option<f64>,
    /// 4 x area / wetted length, of the part.
    pub hydraulic_diameter: Option<f64>,
    /// Diameter of the largest circle inside the part's section; the lower bound.
    pub inscribed_diameter: Option<f64>,
    /// The same from above: no ball wider than this passes the plane.
    pub inscribed_most: Option<f64>,
    /// Centre of that circle.
    pub inscribed_centre: Option<DVec3>,
}

/// Share of the section's size to which the inscribed circle is found.
const INSCRIBED_GAP_SHARE: f64 = 2e-4;

/// The figures of the plane of `frame` through its origin.
///
/// `scan` and `part` each come with the triangles among which loops are sought.
pub fn figures(
    s: f64,
    frame: &Frame,
    scan: Option<(&BoreSurface, &[u32])>,
    part: (&BoreSurface, &[u32]),
) -> StationFigures {
    let mut walker = Walker::default();
    let area_scan = scan.and_then(|(bore, among)| {
        bore.section(frame, 0.0, frame.origin, among, &mut walker).map(|found| found.area)
    });
    let mut walker = Walker::default();
    let section = part.0.section(frame, 0.0, frame.origin, part.1, &mut walker);
    let outlines: Vec<Vec<[f64; 2]>> =
        section.iter().flat_map(|found| outlines(part.0, found, frame)).collect();
    let wetted: f64 = outlines.iter().map(|o| perimeter(o)).sum();
    let area_part = section.map(|found| found.area);
    let gap = INSCRIBED_GAP_SHARE * area_part.unwrap_or(0.0).max(0.0).sqrt();
    let circle = inscribed_circle(&outlines, gap);
    StationFigures {
        s,
        at: frame.origin,
        normal: frame.normal,
        area_scan,
        area_part,
        hydraulic_diameter: area_part.map(|area| 4.0 * area / wetted),
        inscribed_diameter: circle.map(|found| 2.0 * found.lo),
        inscribed_most: circle.map(|found| 2.0 * found.hi),
        inscribed_centre: circle.map(|found| frame.in_space(found.centre)),
    }
}

/// The section's loops, outer first, in the plane's directions.
pub fn outlines(bore: &BoreSurface, section: &FlowSection, frame: &Frame) -> Vec<Vec<[f64; 2]>> {
    std::iter::once(&section.outer)
        .chain(&section.islands)
        .map(|flow| bore.outline(flow, frame, 0.0))
        .collect()
}

/// Centre of a closed loop of points: the centroid of the area it bounds, seen
/// along its area vector, at the mean height of its sides' middles.
///
/// A jagged loop's teeth thus weigh by their area, not by their length. None for
/// a loop that bounds no area.
pub fn loop_centre(points: &[DVec3]) -> Option<DVec3> {
    let middle = points.iter().fold(DVec3::ZERO, |sum, p| sum + *p) / points.len().max(1) as f64;
    let sides = || (0..points.len()).map(|i| (points[i], points[(i + 1) % points.len()]));
    let vector = sides().fold(DVec3::ZERO, |v, (a, b)| v + (a - middle).cross(b - middle));
    let frame = Frame::new(middle, vector.try_normalize()?);
    let length: f64 = sides().map(|(a, b)| a.distance(b)).sum();
    let height: f64 =
        sides().map(|(a, b)| a.distance(b) * frame.height(0.5 * (a + b))).sum::<f64>() / length;
    let centre = centroid(&points.iter().map(|&p| frame.flat(p)).collect::<Vec<_>>())?;
    Some(frame.in_space(centre) + height * frame.normal)
}

/// Centroid of the area that a closed outline bounds.
pub fn centroid(outline: &[[f64; 2]]) -> Option<[f64; 2]> {
    let area = signed_area(outline);
    let n = outline.len();
    let mut sum = [0.0, 0.0];
    for i in 0..n {
        let (a, b) = (outline[i], outline[(i + 1) % n]);
        let cross = a[0] * b[1] - a[1] * b[0];
        sum[0] += cross * (a[0] + b[0]);
        sum[1] += cross * (a[1] + b[1]);
    }
    let centre = sum.map(|x| x / (6.0 * area));
    centre.iter().all(|x| x.is_finite()).then_some(centre)
}

/// A Hermite curve from the scan's seam to the fitting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hermite {
    from: DVec3,
    leaving: DVec3,
    to: DVec3,
    arriving: DVec3,
}

impl Hermite {
    /// From `from` in unit direction `facing` to `to` in unit direction `along`,
    /// both tangents as long as the points' distance.
    pub fn new(from: DVec3, facing: DVec3, to: DVec3, along: DVec3) -> Self {
        let length = from.distance(to);
        Self { from, leaving: length * facing, to, arriving: length * along }
    }

    /// The point at `t`, 0 to 1.
    pub fn point(&self, t: f64) -> DVec3 {
        let (t2, t3) = (t * t, t * t * t);
        (2.0 * t3 - 3.0 * t2 + 1.0) * self.from
            + (t3 - 2.0 * t2 + t) * self.leaving
            + (3.0 * t2 - 2.0 * t3) * self.to
            + (t3 - t2) * self.arriving
    }

    /// The derivative at `t`.
    pub fn tangent(&self, t: f64) -> DVec3 {
        let t2 = t * t;
        (6.0 * t2 - 6.0 * t) * (self.from - self.to)
            + (3.0 * t2 - 4.0 * t + 1.0) * self.leaving
            + (3.0 * t2 - 2.0 * t) * self.arriving
    }

    /// Stations at most `spacing` apart, ends included: distance along the curve
    /// and the plane square to it, normals toward the fitting.
    pub fn stations(&self, spacing: f64) -> Vec<(f64, Frame)> {
        const FINE: usize = 1024;
        let points: Vec<DVec3> = (0..=FINE).map(|i| self.point(i as f64 / FINE as f64)).collect();
        let mut lengths = vec![0.0];
        let mut total = 0.0;
        for pair in points.windows(2) {
            total += pair[0].distance(pair[1]);
            lengths.push(total);
        }
        let count = (total / spacing).ceil().clamp(4.0, STATIONS_MOST) as usize;
        (0..=count)
            .map(|k| {
                let s = total * k as f64 / count as f64;
                let i = lengths.partition_point(|&l| l < s).clamp(1, FINE);
                let step = lengths[i] - lengths[i - 1];
                let share = if step > 0.0 { (s - lengths[i - 1]) / step } else { 0.0 };
                let t = ((i - 1) as f64 + share) / FINE as f64;
                (s, Frame::new(self.point(t), self.tangent(t)))
            })
            .collect()
    }
}

/// Stations along one stretch at most.
const STATIONS_MOST: f64 = 400.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_hermite_is_a_line() {
        let curve = Hermite::new(DVec3::ZERO, DVec3::Z, 12.0 * DVec3::Z, DVec3::Z);
        let stations = curve.stations(1.0);
        assert_eq!(stations.len(), 13);
        for (s, frame) in stations {
            assert!(frame.origin.distance(s * DVec3::Z) < 1e-9);
            assert!(frame.normal.distance(DVec3::Z) < 1e-12);
        }
    }

    #[test]
    fn hermite_leaves_and_arrives_as_told() {
        let (facing, along) = (DVec3::new(0.0, 0.6, 0.8), DVec3::new(0.6, 0.0, 0.8));
        let curve = Hermite::new(DVec3::ZERO, facing, DVec3::new(1.5, 2.0, 12.0), along);
        let stations = curve.stations(0.5);
        assert!(stations[0].1.normal.distance(facing) < 1e-9);
        assert!(stations.last().unwrap().1.normal.distance(along) < 1e-9);
        assert!(stations.windows(2).all(|p| p[1].0 - p[0].0 <= 0.5 + 1e-9));
    }

    #[test]
    fn centre_of_a_loop_with_teeth_is_its_areas() {
        // A square with corners at 0 and 2; one side cut into many points.
        let mut points = vec![DVec3::ZERO, DVec3::new(2.0, 0.0, 0.0), DVec3::new(2.0, 2.0, 0.0)];
        points.extend((1..20).map(|i| DVec3::new(2.0 - 0.1 * f64::from(i), 2.0, 0.0)));
        points.push(DVec3::new(0.0, 2.0, 0.0));
        let centre = loop_centre(&points).unwrap();
        assert!(centre.distance(DVec3::new(1.0, 1.0, 0.0)) < 1e-12);
        assert_eq!(loop_centre(&points[..2]), None);
    }
}
