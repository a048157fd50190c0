//! The planes beside the seam: square to the scan's centreline, above the last
//! one whose section lies wholly on scan, up to the middle of the seam.
//!
//! An oblique cut or rim leaves a wedge of them that cut scan and joint both.
//! There is no scan left to compare with all round, and the joint's own stations
//! begin only at the seam's middle; so each plane is held against the lesser of
//! what the joint is measured against and the section of the scan as given, what
//! was given up included: in the same plane, or where teeth or the seam keep it
//! from closing there, in the last plane below in which it closes.

use super::band::{least_in_band, loss_in_band};
use super::profile::Band;
use super::{BoreLoss, EndBore, plane_cut, worsen};
use crate::flow_section::{Frame, Walker};
use rayon::prelude::*;
use spile_mesh::DVec3;

/// Judges these planes at an end whose joint has been judged.
pub(super) fn judge(end: &EndBore, centre: DVec3, found: &mut BoreLoss) {
    let Some(reference) = found.reference else { return };
    let (bands, mut own) = bands(end, centre, found);
    let scans: Vec<Option<f64>> = (bands.par_iter())
        .map(|band| least_in_band(end.scan, band).ok().map(|found| found.value))
        .collect();
    // Where the scan does not close, its own last section below counts.
    let limits: Vec<f64> = (scans.iter())
        .map(|scan| {
            own = scan.unwrap_or(own);
            reference.area().min(if scan.is_some() { f64::INFINITY } else { own })
        })
        .collect();
    let losses: Vec<_> = (bands.par_iter().zip(&scans).zip(&limits))
        .map(|((band, scan), &limit)| loss(end, band, limit, scan.is_some()))
        .collect();
    for (band, loss) in bands.iter().zip(losses) {
        match loss {
            Ok((share, height)) => {
                let at = band.frame.moved_to(band.station(height));
                worsen(&mut found.beside_seam, end, &at, share);
            }
            Err(height) => {
                found.not_closed.get_or_insert(band.station(height));
            }
        }
    }
}

/// From the last station whose section lies wholly on scan to the seam's middle;
/// and the area of that section.
fn bands(end: &EndBore, centre: DVec3, found: &BoreLoss) -> (Vec<Band>, f64) {
    let points = &found.line.points;
    let is_on_scan = |at: DVec3, tangent: DVec3| {
        let frame = Frame::new(at, tangent);
        let among = plane_cut(end.scan, &frame);
        let section = end.scan.section(&frame, 0.0, at, &among, &mut Walker::default());
        section.is_some_and(|s| s.outer.cut.iter().all(|&t| (end.is_on_scan)(end.scan.id(t))))
    };
    let Some(last) = points.iter().position(|p| is_on_scan(p.at, p.tangent)) else {
        return (Vec::new(), f64::INFINITY);
    };
    // Points come from the end inward; those beyond the seam's middle are the joint's.
    let mut stops: Vec<(DVec3, DVec3)> = (points[..=last].iter().rev())
        .filter(|p| (centre - p.at).dot(p.tangent) > 0.0)
        .map(|p| (p.at, p.tangent))
        .collect();
    stops.push((centre, end.facing));
    let bands = (stops.windows(2))
        .map(|pair| Band { frame: Frame::new(pair[0].0, pair[0].1), to: pair[1].0 })
        .filter(|band| band.thickness() > 0.0)
        .collect();
    (bands, points[last].area)
}

/// The greatest loss in one band, never less than it is, and its plane's height:
/// the lesser of the greatest losses against either.
fn loss(end: &EndBore, band: &Band, limit: f64, closes: bool) -> Result<(f64, f64), f64> {
    let least = least_in_band(end.part, band)?;
    let against_limit = (1.0 - least.value / limit, least.height);
    if !closes {
        return Ok(against_limit);
    }
    let against_scan = loss_in_band(end.scan, end.part, band, &|_| true)?;
    Ok(match against_scan {
        Some(found) if found.value < against_limit.0 => (found.value, found.height),
        _ => against_limit,
    })
}
